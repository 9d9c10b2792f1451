/* A result line's words and numbers, wherever it stands. Internal to results/page. */
#ifndef ES_PAGE_LINE_H
#define ES_PAGE_LINE_H

#include "results/page/flow.h"
#include "rig/base/text.h"

/* A column of a row, mm from its left edge; numbers in `align`. */
struct es_column {
    double x, width;
    enum es_align align;
};

/* A text in a column of a row whose upper left corner is (x, y). Gives its height. */
double es_line_cell(struct es_sheet *sheet, const struct es_column *column, struct es_type type, double x,
                    double y, const char *text);
/* The same for a number, which is never cut: what is too wide is set smaller, and broken at last. */
void es_line_number(struct es_sheet *sheet, const struct es_column *column, struct es_type type, double x,
                    double y, const char *text);

/* "≤ 3", "29.4 to 30.6", "none". */
void es_line_limits(const struct es_content_line *line, char *out, size_t size);
/* "<0.1 %"; "" when not known. */
void es_line_risk(double risk, char *out, size_t size);
/* Value, "± U" (or "+0.41 −0.30" where the interval is not symmetric) and unit, with the digits of JCGM 100
 * 7.2.6; "" when there is no value. */
struct es_line_text {
    char value[40], U[48], unit[64];
    char spread[140]; /* "± U unit" */
};
void es_line_value(const struct es_content_line *line, struct es_line_text *out);
/* What U's coverage rests on: k where it differs from most lines' (`unusual`) or from line to line, "MC"
 * where trials found the interval; else "". */
void es_line_coverage(const struct es_page_content *p, const struct es_content_line *line, bool unusual,
                      char *out, size_t size);
/* The measurand, and whether the line only informs. The caller frees *out. */
void es_line_name(const struct es_sheet *sheet, const struct es_content_line *line, struct es_text *out);

/* All lines in two columns (es_flow), with `below` mm kept free below them. */
enum es_status es_draw_table(struct es_sheet *sheet, double below, struct es_error *err) ES_MUST_CHECK;

/* How many lines from `from` on the same reason kept from being tested in the same procedure: 0 when this one
 * was tested. */
size_t es_line_untested(const struct es_content *content, size_t from);
/* Whether they are all that the procedure has. */
bool es_line_all_untested(const struct es_content *content, size_t from, size_t count);
/* Whether one of them decides: then they stand above the table too. */
bool es_line_untested_decides(const struct es_content *content, size_t from, size_t count);
/* Their names, with commas between. The caller frees *out. */
void es_line_names(const struct es_content *content, size_t from, size_t count, struct es_text *out);

#endif

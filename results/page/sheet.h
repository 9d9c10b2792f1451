/* A page under way: where the next thing goes, and what every page carries. Internal to results/page.
 * Everything is drawn twice: on a trial canvas to learn how many pages it takes, then for good. */
#ifndef ES_PAGE_SHEET_H
#define ES_PAGE_SHEET_H

#include "results/page/canvas.h"
#include "results/page/content.h"

/* The grid, mm on A4. */
#define ES_SHEET_PAGE_WIDTH  210.0
#define ES_SHEET_PAGE_HEIGHT 297.0
#define ES_SHEET_LEFT        17.0
#define ES_SHEET_WIDTH       176.0
#define ES_SHEET_RIGHT       (ES_SHEET_LEFT + ES_SHEET_WIDTH)
#define ES_SHEET_TOP         14.0
#define ES_SHEET_BOTTOM      280.0
#define ES_SHEET_LABEL       28.0 /* a section's label stands left of its content */
#define ES_SHEET_TEXT        (ES_SHEET_LEFT + ES_SHEET_LABEL)
#define ES_SHEET_TEXT_WIDTH  (ES_SHEET_WIDTH - ES_SHEET_LABEL)

#define ES_SHEET_MOST_PAGES 60

struct es_sheet {
    struct es_canvas *canvas;
    const struct es_page_content *content;
    double y;     /* where the next thing goes */
    double scale; /* of type and rows, 1 or less: so that much still fits on two pages */
    int page, pages;
    double label_end;  /* where the last section's label ends on this page; 0: nowhere */
    const char *label; /* of a section whose first content is still to come; NULL */
    bool end_alone;    /* told: the signatures began a page with nothing before them */
    bool too_long;     /* more than ES_SHEET_MOST_PAGES */
};

struct es_type es_sheet_type(const struct es_sheet *sheet, double size, enum es_weight weight,
                             enum es_ink ink);

/* Makes room for `height` mm: a new page when this one has not got it. True: a new page was begun. */
bool es_sheet_need(struct es_sheet *sheet, double height);
void es_sheet_new_page(struct es_sheet *sheet);
void es_sheet_gap(struct es_sheet *sheet, double height);
/* The foot of the current page: once for every page, before the next one begins and at the end. */
void es_sheet_foot(struct es_sheet *sheet);

/* A section: its label left and a hairline above, drawn together with its first content. */
void es_sheet_section(struct es_sheet *sheet, const char *label);
/* Room for content of `height` mm, after the label of a section that has just begun. */
void es_sheet_place(struct es_sheet *sheet, double height);
/* Paragraph in the text column, broken to the next page by paragraphs. */
void es_sheet_paragraph(struct es_sheet *sheet, const struct es_type *type, const char *text);

/* A table's row in the text column: `widths` in mm, cells wrapped; `head` in small second ink. */
struct es_cells {
    const char *const *texts;
    const double *widths;
    size_t count;
    bool head;
    unsigned mono; /* bit i: cell i in fixed pitch */
};
void es_sheet_row(struct es_sheet *sheet, const struct es_cells *cells);

/* The parts of the page, in their order. */
void es_draw_head(struct es_sheet *sheet);
void es_draw_lines(struct es_sheet *sheet);
void es_draw_causes(struct es_sheet *sheet);
void es_draw_curves(struct es_sheet *sheet);
void es_draw_back(struct es_sheet *sheet);
enum es_status es_draw_end(struct es_sheet *sheet, struct es_error *err) ES_MUST_CHECK;

/* A verdict's mark, by its shape alone, in a square of `size` mm. */
void es_draw_mark(struct es_canvas *canvas, enum es_page_verdict verdict, bool record, double x, double y,
                  double size);
/* A value against its limits. */
void es_draw_bar(struct es_canvas *canvas, const struct es_content_line *line, double x, double y,
                 double width, double height);

#endif

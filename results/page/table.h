/* The narrow rows of a certificate with many lines: their columns and their words. Internal to results/page.
 */
#ifndef ES_PAGE_TABLE_H
#define ES_PAGE_TABLE_H

#include "results/page/line.h"

#define ES_TABLE_SIZE        7.4  /* points */
#define ES_TABLE_SMALL       5.8  /* k beside U */
#define ES_TABLE_LIMITS_MOST 16.0 /* mm; longer limits are set smaller */
#define ES_TABLE_GAP         0.7  /* mm between two columns */
#define ES_TABLE_VALUE_OVER  2.0  /* mm; by so much more a value is set smaller */
#define ES_TABLE_LIMITS_GAP  1.3  /* mm before them at least */

/* A value that is a little wider than its column pushes its U to the right. U with k, and the limits, share
 * their room: one from its left edge, the other from its right one. */
enum { ES_TABLE_NAME, ES_TABLE_BAR, ES_TABLE_VALUE, ES_TABLE_SPREAD, ES_TABLE_LIMITS, ES_TABLE_COLUMNS };

/* Columns for all lines of the certificate in a column of the page that is `width` mm wide, in the sheet's
 * scale. False: no memory. */
bool es_table_columns(struct es_sheet *sheet, double width,
                      struct es_column columns[static ES_TABLE_COLUMNS]) ES_MUST_CHECK;

struct es_table_texts {
    struct es_line_text value;
    char limits[84], coverage[24]; /* "": none; coverage where it is not the usual one */
};
void es_table_texts(const struct es_sheet *sheet, const struct es_content_line *line,
                    struct es_table_texts *out);

struct es_type es_table_name_type(const struct es_sheet *sheet, const struct es_content_line *line);

/* Room that the limits and k (with a gap before it) take, mm; 0 for no text. */
double es_table_limits_width(struct es_sheet *sheet, const struct es_table_texts *texts, double most);
double es_table_coverage_width(struct es_sheet *sheet, const struct es_table_texts *texts);

#endif

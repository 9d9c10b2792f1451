/* Small print: what its parts share. Internal to results/page. */
#ifndef ES_PAGE_BACK_H
#define ES_PAGE_BACK_H

#include "results/page/flow.h"
#include "rig/base/text.h"

typedef double es_back_put(struct es_sheet *sheet, const struct es_block *block, double x, double y,
                           double width);

void es_back_heading(struct es_blocks *out, const char *text);
void es_back_add(struct es_blocks *out, es_back_put *put, size_t index);

/* Sets a paragraph and empties the text. Gives its height, 0 for no text. */
double es_back_paragraph(struct es_sheet *sheet, double x, double y, double width, struct es_text *text);

/* A table's row: `widths` in mm, cells wrapped; `head` in second ink; bit i of `mono`: cell i in fixed pitch.
 * Gives its height. */
struct es_back_cells {
    const char *const *texts;
    const double *widths;
    size_t count;
    bool head;
    unsigned mono;
};
double es_back_row(struct es_sheet *sheet, const struct es_back_cells *cells, double x, double y);

/* Plan, type sheet and procedures. */
void es_back_method(const struct es_content *content, struct es_blocks *out);
/* The signatures and the digests. */
void es_back_signatures(const struct es_page_content *p, struct es_blocks *out);

#endif

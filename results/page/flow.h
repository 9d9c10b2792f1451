/* Blocks that run down two columns, from page to page. Internal to results/page. On the last page the columns
 * end at about the same height. */
#ifndef ES_PAGE_FLOW_H
#define ES_PAGE_FLOW_H

#include "results/page/sheet.h"

struct es_block {
    /* Sets the block with its upper left corner at (x, y) and gives its height, mm. Called once to measure
     * and once to draw, with the same width; in between nothing changes. */
    double (*put)(struct es_sheet *sheet, const struct es_block *block, double x, double y, double width);
    size_t index;     /* for put */
    size_t count;     /* for put: of items from `index` on */
    const char *text; /* for put, borrowed; of a heading its words */
    bool heading;     /* never the last thing in a column; repeated at the top of the next one */
    bool keep;        /* never the last thing in a column either: a table's head */
    bool alone;       /* belongs to no heading before it */
    bool again;       /* told to put: a heading repeated at the top of a column */
    double height;    /* the flow's own */
};

#define ES_FLOW_GAP 4.6 /* mm between the columns */

/* Width of one column. */
double es_flow_width(const struct es_sheet *sheet);

/* Sets all of them from sheet->y on and leaves sheet->y below. `head` (NULL: none) stands on top of every
 * column; below the last block `below` mm are kept free on its page. A block that is taller than a page is
 * set at the top of one and cut off. */
void es_flow(struct es_sheet *sheet, struct es_block *blocks, size_t count,
             double (*head)(struct es_sheet *sheet, double x, double y, double width), double below);

/* A list that grows. */
struct es_blocks {
    struct es_block *items;
    size_t count, room;
    bool out_of_memory;
};
void es_blocks_add(struct es_blocks *blocks, struct es_block block);
void es_blocks_free(struct es_blocks *blocks);

#endif

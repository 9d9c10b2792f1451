#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "results/page/flow.h"

enum { COLUMNS = 2 };

double es_flow_width(const struct es_sheet *s)
{
    return (s->width - (COLUMNS - 1) * ES_FLOW_GAP) / COLUMNS;
}

void es_blocks_add(struct es_blocks *b, struct es_block block)
{
    if (b->count == b->room) {
        size_t room = b->room > 0 ? 2 * b->room : 64;
        struct es_block *items =
            room <= SIZE_MAX / sizeof *items ? realloc(b->items, room * sizeof *items) : NULL;
        if (items == NULL) {
            b->out_of_memory = true;
            return;
        }
        b->items = items;
        b->room = room;
    }
    b->items[b->count++] = block;
}

void es_blocks_free(struct es_blocks *b)
{
    free(b->items);
    *b = (struct es_blocks){0};
}

struct flow {
    struct es_block *blocks;
    size_t count;
};

/* The heading that is repeated above block `from`; NULL: none. */
static const struct es_block *heading_of(const struct flow *f, size_t from)
{
    if (from >= f->count || f->blocks[from].heading || f->blocks[from].alone)
        return NULL;
    while (from > 0)
        if (f->blocks[--from].heading)
            return &f->blocks[from];
    return NULL;
}

/* Where a column ends that begins with block `from` and has `room` mm. */
static size_t fill(const struct flow *f, size_t from, double room)
{
    const struct es_block *again = heading_of(f, from);
    double y = again != NULL ? again->height : 0;
    size_t to = from;
    while (to < f->count && y + f->blocks[to].height <= room + 1e-9)
        y += f->blocks[to++].height;
    while (to < f->count && to > from && (f->blocks[to - 1].heading || f->blocks[to - 1].keep))
        to--;
    return to;
}

static size_t fill_all(const struct flow *f, size_t from, double room, size_t ends[static COLUMNS])
{
    for (int i = 0; i < COLUMNS; i++)
        from = ends[i] = fill(f, from, room);
    return from;
}

/* The least height at which the rest still fits. */
static double balance(const struct flow *f, size_t from, double room)
{
    size_t ends[COLUMNS];
    double low = 0, high = room;
    while (high - low > 0.2) {
        double middle = (low + high) / 2;
        if (fill_all(f, from, middle, ends) == f->count)
            high = middle;
        else
            low = middle;
    }
    return high;
}

/* Sets one column; gives its height. */
static double draw_column(struct es_sheet *s, const struct flow *f, size_t from, size_t to, double x)
{
    const struct es_block *again = to > from ? heading_of(f, from) : NULL;
    double y = s->y, width = es_flow_width(s);
    if (again != NULL) {
        struct es_block heading = *again;
        heading.again = true;
        if (es_canvas_draws(s->canvas))
            heading.put(s, &heading, x, y, width);
        y += heading.height;
    }
    for (size_t i = from; i < to; i++) {
        if (es_canvas_draws(s->canvas))
            f->blocks[i].put(s, &f->blocks[i], x, y, width);
        y += f->blocks[i].height;
    }
    return y - s->y;
}

static void measure(struct es_sheet *s, struct flow *f)
{
    es_canvas_hold(s->canvas, true);
    for (size_t i = 0; i < f->count; i++)
        f->blocks[i].height = f->blocks[i].put(s, &f->blocks[i], s->left, s->y, es_flow_width(s));
    es_canvas_hold(s->canvas, false);
}

static double heads(struct es_sheet *s, double (*head)(struct es_sheet *s, double x, double y, double width),
                    bool both)
{
    double width = es_flow_width(s), height = 0;
    for (int i = 0; head != NULL && i < (both ? COLUMNS : 1); i++)
        height = head(s, s->left + i * (width + ES_FLOW_GAP), s->y, width);
    return height;
}

void es_flow(struct es_sheet *s, struct es_block *blocks, size_t count,
             double (*head)(struct es_sheet *s, double x, double y, double width), double below)
{
    struct flow f = {blocks, count};
    size_t ends[COLUMNS], from = 0;
    measure(s, &f);
    es_canvas_hold(s->canvas, true);
    double above = heads(s, head, false);
    es_canvas_hold(s->canvas, false);
    for (bool fresh = false; from < count && !s->too_long;) {
        double room = s->bottom - s->y - above;
        size_t to = fill_all(&f, from, room, ends);
        if (to == count && below > 0) /* else something goes to the next page with what stands below */
            to = fill_all(&f, from, room -= below, ends);
        if (to == from && !fresh) {
            es_sheet_new_page(s);
            fresh = true;
            continue;
        }
        if (to == from) { /* taller than a page */
            ends[0] = ends[1] = to = from + 1;
        } else if (to == count) {
            room = balance(&f, from, room);
            fill_all(&f, from, room, ends);
        }
        s->y += heads(s, head, ends[1] > ends[0]);
        double tallest = 0, width = es_flow_width(s);
        for (int i = 0; i < COLUMNS; i++)
            tallest = fmax(tallest, draw_column(s, &f, i > 0 ? ends[i - 1] : from, ends[i],
                                                s->left + i * (width + ES_FLOW_GAP)));
        s->y += tallest;
        from = to;
        fresh = false;
        if (from < count) {
            es_sheet_new_page(s);
            fresh = true;
        }
    }
}

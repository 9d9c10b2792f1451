#include <math.h>
#include <stdio.h>

#include "results/page/sheet.h"

#define FOOT 284.0

struct es_type es_sheet_type(const struct es_sheet *sheet, double size, enum es_weight weight,
                             enum es_ink ink)
{
    return (struct es_type){.size = size * sheet->scale, .weight = weight, .ink = ink};
}

void es_sheet_foot(struct es_sheet *s)
{
    const struct es_page_content *c = s->content;
    struct es_type type = {.size = 6.6, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 1};
    struct es_type number = {.size = 6.6, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 1};
    struct es_type right = type;
    char text[160];
    right.align = ES_RIGHT;
    es_canvas_line(s->canvas, ES_INK_HAIR, 0.15, ES_SHEET_LEFT, FOOT, ES_SHEET_RIGHT, FOOT);
    es_canvas_text_on(s->canvas, &number, ES_SHEET_LEFT, FOOT + 4, 52, c->c.number);
    snprintf(text, sizeof text, "%scontent SHA-256 %.16s…", c->c.virtual_bench ? "VIRTUAL BENCH  ·  " : "",
             c->digest);
    type.align = ES_CENTRE;
    es_canvas_text_on(s->canvas, &type, ES_SHEET_LEFT + 52, FOOT + 4, ES_SHEET_WIDTH - 104, text);
    snprintf(text, sizeof text, "page %d of %d", s->page, s->pages);
    es_canvas_text_on(s->canvas, &right, ES_SHEET_RIGHT - 52, FOOT + 4, 52, text);
}

/* What a page after the first begins with. */
static void running_head(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_type left = {.size = 8, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 1};
    struct es_type right = {
        .size = 8, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .align = ES_RIGHT, .lines = 1};
    char text[300];
    snprintf(text, sizeof text, "serial %.120s  ·  %s", c->serial, c->record ? "not completed" : c->verdict);
    es_canvas_text_on(s->canvas, &left, ES_SHEET_LEFT, ES_SHEET_TOP + 3, 70, c->number);
    es_canvas_text_on(s->canvas, &right, ES_SHEET_LEFT + 72, ES_SHEET_TOP + 3, ES_SHEET_WIDTH - 72, text);
    es_canvas_line(s->canvas, ES_INK, 0.35, ES_SHEET_LEFT, ES_SHEET_TOP + 5.5, ES_SHEET_RIGHT,
                   ES_SHEET_TOP + 5.5);
    s->y = ES_SHEET_TOP + 9;
}

bool es_sheet_need(struct es_sheet *s, double height)
{
    int page = s->page;
    if (s->y + height > ES_SHEET_BOTTOM && !s->too_long)
        es_sheet_new_page(s);
    return s->page != page;
}

void es_sheet_new_page(struct es_sheet *s)
{
    if (s->page == ES_SHEET_MOST_PAGES) {
        s->too_long = true;
        return;
    }
    es_sheet_foot(s);
    es_canvas_next_page(s->canvas);
    s->page++;
    s->label_end = 0;
    running_head(s);
}

void es_sheet_gap(struct es_sheet *s, double height)
{
    s->y += height * s->scale;
}

void es_sheet_section(struct es_sheet *s, const char *label)
{
    s->y = fmax(s->y, s->label_end); /* a label may be taller than its content */
    s->label_end = 0;
    s->label = label;
}

void es_sheet_place(struct es_sheet *s, double height)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_SEMIBOLD, ES_INK);
    if (s->label == NULL) {
        es_sheet_need(s, height);
        return;
    }
    double label = es_canvas_text_height(s->canvas, &type, ES_SHEET_LABEL - 3, s->label);
    es_sheet_gap(s, 1.7);
    if (!es_sheet_need(s, fmax(height, label) + 1.3 * s->scale))
        es_canvas_line(s->canvas, ES_INK_HAIR, 0.15, ES_SHEET_LEFT, s->y, ES_SHEET_RIGHT, s->y);
    es_sheet_gap(s, 1.3);
    es_canvas_text(s->canvas, &type, ES_SHEET_LEFT, s->y - 0.25 * s->scale, ES_SHEET_LABEL - 3, s->label);
    s->label_end = s->y + label;
    s->label = NULL;
}

void es_sheet_paragraph(struct es_sheet *s, const struct es_type *type, const char *text)
{
    double height = es_canvas_text_height(s->canvas, type, ES_SHEET_TEXT_WIDTH, text);
    es_sheet_place(s, height);
    es_canvas_text(s->canvas, type, ES_SHEET_TEXT, s->y, ES_SHEET_TEXT_WIDTH, text);
    s->y += height;
    es_sheet_gap(s, 0.5);
}

static struct es_type cell_type(const struct es_sheet *s, const struct es_cells *cells, size_t i)
{
    bool mono = (cells->mono >> i & 1) != 0 && !cells->head;
    struct es_type type = es_sheet_type(s,
                                        cells->head ? 6.2
                                        : mono      ? 6.0
                                                    : 7.0,
                                        ES_REGULAR, cells->head ? ES_INK_SECOND : ES_INK);
    type.mono = mono;
    type.lines = 3;
    return type;
}

void es_sheet_row(struct es_sheet *s, const struct es_cells *cells)
{
    const double between = 2;
    double height = 0, x = ES_SHEET_TEXT;
    for (size_t i = 0; i < cells->count; i++) {
        struct es_type type = cell_type(s, cells, i);
        height = fmax(height,
                      es_canvas_text_height(s->canvas, &type, cells->widths[i] - between, cells->texts[i]));
    }
    es_sheet_place(s, height + (cells->head ? height : 0)); /* no head without a row */
    for (size_t i = 0; i < cells->count; i++) {
        struct es_type type = cell_type(s, cells, i);
        es_canvas_text_on(s->canvas, &type, x, s->y + 2.75 * s->scale, cells->widths[i] - between,
                          cells->texts[i]);
        x += cells->widths[i];
    }
    s->y += fmax(height, 3.2 * s->scale);
    es_sheet_gap(s, 0.25);
}

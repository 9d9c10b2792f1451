#include <math.h>
#include <stdio.h>

#include "results/page/sheet.h"

void es_sheet_paper_size(enum es_page_paper paper, double *width, double *height)
{
    *width = paper == ES_PAPER_LETTER ? 215.9 : 210; /* ANSI/ASME Y14.1 size A; ISO 216 A4 */
    *height = paper == ES_PAPER_LETTER ? 279.4 : 297;
}

void es_sheet_init(struct es_sheet *s, enum es_page_paper paper)
{
    double width, height;
    es_sheet_paper_size(paper, &width, &height);
    s->left = ES_SHEET_MARGIN;
    s->right = width - ES_SHEET_MARGIN;
    s->width = s->right - s->left;
    s->foot = height - ES_SHEET_FOOT;
    s->bottom = s->foot - 2;
}

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
    es_canvas_line(s->canvas, ES_INK_HAIR, 0.15, s->left, s->foot, s->right, s->foot);
    es_canvas_text_on(s->canvas, &number, s->left, s->foot + 4, 52, c->c.number);
    snprintf(text, sizeof text, "%scontent SHA-256 %.16s…", c->c.virtual_bench ? "VIRTUAL BENCH  ·  " : "",
             c->digest);
    type.align = ES_CENTRE;
    es_canvas_text_on(s->canvas, &type, s->left + 52, s->foot + 4, s->width - 104, text);
    snprintf(text, sizeof text, "page %d of %d", s->page, s->pages);
    es_canvas_text_on(s->canvas, &right, s->right - 52, s->foot + 4, 52, text);
}

/* What a page after the first begins with. */
static void running_head(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_type left = {.size = 8, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 1};
    struct es_type right = {
        .size = 8, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .align = ES_RIGHT, .lines = 1};
    char text[300];
    snprintf(text, sizeof text, "serial %.120s  ·  %s%s", c->serial, c->record ? "not completed" : c->verdict,
             s->content->void_by != NULL ? "  ·  VOID" : "");
    es_canvas_text_on(s->canvas, &left, s->left, ES_SHEET_TOP + 3, 70, c->number);
    es_canvas_text_on(s->canvas, &right, s->left + 72, ES_SHEET_TOP + 3, s->width - 72, text);
    es_canvas_line(s->canvas, ES_INK, 0.35, s->left, ES_SHEET_TOP + 5, s->right, ES_SHEET_TOP + 5);
    s->y = ES_SHEET_TOP + 7.5;
}

bool es_sheet_need(struct es_sheet *s, double height)
{
    int page = s->page;
    if (s->y + height > s->bottom && !s->too_long)
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
    running_head(s);
}

void es_sheet_gap(struct es_sheet *s, double height)
{
    s->y += height * s->scale;
}

void es_sheet_title(struct es_sheet *s, const char *title, double content)
{
    struct es_type type = es_sheet_type(s, 10, ES_SEMIBOLD, ES_INK);
    es_sheet_gap(s, 2);
    es_sheet_need(s, 5 * s->scale + content);
    es_canvas_text_on(s->canvas, &type, s->left, s->y + 3.2 * s->scale, s->width, title);
    es_sheet_gap(s, 4.8);
}

void es_sheet_text(struct es_sheet *s, const struct es_type *type, double left, const char *text)
{
    double width = s->right - left, height = es_canvas_text_height(s->canvas, type, width, text);
    es_sheet_need(s, height);
    s->y += es_canvas_text(s->canvas, type, left, s->y, width, text);
}

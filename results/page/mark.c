#include <math.h>

#include "results/page/sheet.h"

static void stroke(cairo_t *cr, double x1, double y1, double x2, double y2)
{
    cairo_move_to(cr, x1, y1);
    cairo_line_to(cr, x2, y2);
    cairo_stroke(cr);
}

static void tick(cairo_t *cr, double x, double y, double size)
{
    cairo_move_to(cr, x + 0.24 * size, y + 0.54 * size);
    cairo_line_to(cr, x + 0.43 * size, y + 0.72 * size);
    cairo_line_to(cr, x + 0.78 * size, y + 0.30 * size);
    cairo_stroke(cr);
}

static void triangle(cairo_t *cr, double x, double y, double size)
{
    cairo_move_to(cr, x + 0.50 * size, y + 0.06 * size);
    cairo_line_to(cr, x + 0.98 * size, y + 0.92 * size);
    cairo_line_to(cr, x + 0.02 * size, y + 0.92 * size);
    cairo_close_path(cr);
}

static void exclamation(cairo_t *cr, double x, double y, double size)
{
    stroke(cr, x + 0.5 * size, y + 0.36 * size, x + 0.5 * size, y + 0.62 * size);
    stroke(cr, x + 0.5 * size, y + 0.76 * size, x + 0.5 * size, y + 0.77 * size);
}

static void circle(cairo_t *cr, double x, double y, double size)
{
    cairo_new_sub_path(cr);
    cairo_arc(cr, x + size / 2, y + size / 2, 0.46 * size, 0, 2 * M_PI);
}

/* Full square, white cross. */
static void draw_fail(struct es_canvas *canvas, double x, double y, double size)
{
    cairo_t *cr = es_canvas_cairo(canvas);
    es_canvas_ink(canvas, ES_INK_ALERT);
    cairo_rectangle(cr, x + 0.04 * size, y + 0.04 * size, 0.92 * size, 0.92 * size);
    cairo_fill(cr);
    es_canvas_ink(canvas, ES_INK_PAPER);
    stroke(cr, x + 0.28 * size, y + 0.28 * size, x + 0.72 * size, y + 0.72 * size);
    stroke(cr, x + 0.72 * size, y + 0.28 * size, x + 0.28 * size, y + 0.72 * size);
}

/* Triangle with an exclamation mark: outlined for a pass, full for a fail. */
static void draw_conditional(struct es_canvas *canvas, bool fail, double x, double y, double size)
{
    cairo_t *cr = es_canvas_cairo(canvas);
    es_canvas_ink(canvas, ES_INK_ALERT);
    triangle(cr, x, y, size);
    if (fail)
        cairo_fill_preserve(cr);
    cairo_stroke(cr);
    if (fail)
        es_canvas_ink(canvas, ES_INK_PAPER);
    exclamation(cr, x, y, size);
}

void es_draw_mark(struct es_canvas *canvas, enum es_page_verdict verdict, bool record, double x, double y,
                  double size)
{
    cairo_t *cr = es_canvas_cairo(canvas);
    if (!es_canvas_draws(canvas))
        return;
    cairo_save(cr);
    cairo_set_line_width(cr, 0.10 * size);
    cairo_set_line_cap(cr, CAIRO_LINE_CAP_ROUND);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    es_canvas_ink(canvas, ES_INK);
    if (verdict == ES_PAGE_PASS) {
        tick(cr, x, y, size);
        if (size > 4) {
            cairo_set_line_width(cr, 0.06 * size);
            circle(cr, x, y, size);
            cairo_stroke(cr);
        }
    } else if (verdict == ES_PAGE_FAIL) {
        draw_fail(canvas, x, y, size);
    } else if (verdict == ES_PAGE_CONDITIONAL_PASS || verdict == ES_PAGE_CONDITIONAL_FAIL) {
        draw_conditional(canvas, verdict == ES_PAGE_CONDITIONAL_FAIL, x, y, size);
    } else if (verdict == ES_PAGE_NOT_TESTED || record) {
        cairo_set_line_width(cr, 0.08 * size);
        circle(cr, x, y, size);
        cairo_stroke(cr);
        stroke(cr, x + 0.3 * size, y + 0.5 * size, x + 0.7 * size, y + 0.5 * size);
    }
    cairo_restore(cr);
}

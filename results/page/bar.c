/* A value with its uncertainty against its limits. Grey: within the limits; a dotted line inside: where
 * acceptance begins when a guard band is taken off (JCGM 106 8.3.2). The scale is the limits' own, so that a
 * near miss looks like one: with two limits they stand at fixed places; with one the scale begins at zero
 * where that is on the good side of things, and an arrow says that the value lies outside the picture. */
#include <math.h>

#include "results/page/sheet.h"

struct scale {
    double from, to; /* values at the bar's ends */
    double x, width; /* of the bar, mm */
};

static struct scale scale_of(const struct es_content_line *l, double x, double width)
{
    struct scale s = {.x = x, .width = width};
    double U = l->v.U > 0 ? l->v.U : 0, y = isnan(l->v.value) ? 0 : l->v.value;
    bool low = isfinite(l->lower), high = isfinite(l->upper);
    if (low && high) {
        double span = l->upper - l->lower;
        if (!(span > 0))
            span = fmax(fabs(l->upper), 1);
        s.from = l->lower - span / 4;
        s.to = l->upper + span / 4;
    } else if (high) {
        bool from_zero = l->upper > 0 && y + U >= 0;
        s.from = from_zero ? fmin(0, fmax(y - U, -l->upper))
                           : l->upper - 1.5 * fmax(fabs(l->upper), fmax(2 * U, l->upper == 0 ? 1 : 0));
        s.to = s.from + (l->upper - s.from) / 0.72;
    } else if (low) {
        double reach = fmax(fabs(l->lower), fmax(2 * U, l->lower == 0 ? 1 : 0));
        s.from = l->lower > 0 ? 0 : l->lower - reach;
        s.to = fmin(fmax(y + U, l->lower + 0.6 * reach), l->lower + 3 * reach);
        s.to += 0.08 * (s.to - s.from);
    }
    return s;
}

static double place(const struct scale *s, double value)
{
    double part = (value - s->from) / (s->to - s->from);
    return s->x + s->width * fmin(fmax(part, 0), 1);
}

static bool inside(const struct scale *s, double value)
{
    return value >= s->from && value <= s->to;
}

static void draw_limit(struct es_canvas *c, const struct scale *s, double limit, double acceptance, double y,
                       double h)
{
    if (!isfinite(limit))
        return;
    double x = place(s, limit), at = place(s, acceptance);
    es_canvas_line(c, ES_INK, 0.3, x, y, x, y + h);
    if (isnan(acceptance) || fabs(at - x) < 0.4 || !inside(s, acceptance))
        return;
    cairo_t *cr = es_canvas_cairo(c);
    cairo_save(cr);
    const double dots[] = {0.3, 0.45};
    cairo_set_dash(cr, dots, 2, 0);
    es_canvas_line(c, ES_INK, 0.25, at, y, at, y + h);
    cairo_restore(cr);
}

/* An arrow at the end where the value has left the picture. */
static void draw_beyond(struct es_canvas *c, const struct scale *s, bool right, double middle,
                        enum es_ink ink)
{
    cairo_t *cr = es_canvas_cairo(c);
    double tip = right ? s->x + s->width : s->x, back = right ? -1.6 : 1.6;
    es_canvas_ink(c, ink);
    cairo_move_to(cr, tip, middle);
    cairo_line_to(cr, tip + back, middle - 0.9);
    cairo_line_to(cr, tip + back, middle + 0.9);
    cairo_close_path(cr);
    cairo_fill(cr);
}

static void draw_value(struct es_canvas *c, const struct scale *s, const struct es_content_line *l,
                       double middle)
{
    cairo_t *cr = es_canvas_cairo(c);
    enum es_page_verdict verdict = es_page_verdict_of(l->verdict);
    bool good = verdict == ES_PAGE_PASS || verdict == ES_PAGE_NO_VERDICT;
    enum es_ink ink = good ? ES_INK : ES_INK_ALERT;
    double at = place(s, l->v.value), r = good ? 0.62 : 0.85;
    if (l->v.U > 0 && isfinite(l->v.low) && isfinite(l->v.high)) {
        double from = place(s, l->v.low), to = place(s, l->v.high);
        if (to - from > 2 * r) {
            es_canvas_line(c, ink, 0.3, from, middle, to, middle);
            if (inside(s, l->v.low))
                es_canvas_line(c, ink, 0.3, from, middle - 0.7, from, middle + 0.7);
            if (inside(s, l->v.high))
                es_canvas_line(c, ink, 0.3, to, middle - 0.7, to, middle + 0.7);
        }
    }
    if (!inside(s, l->v.value)) {
        draw_beyond(c, s, l->v.value > s->to, middle, ink);
        return;
    }
    es_canvas_ink(c, ink);
    if (good) {
        cairo_new_sub_path(cr);
        cairo_arc(cr, at, middle, r, 0, 2 * M_PI);
    } else {
        cairo_move_to(cr, at - r, middle);
        cairo_line_to(cr, at, middle - r);
        cairo_line_to(cr, at + r, middle);
        cairo_line_to(cr, at, middle + r);
        cairo_close_path(cr);
    }
    cairo_fill(cr);
}

void es_draw_bar(struct es_canvas *c, const struct es_content_line *l, double x, double y, double width,
                 double height)
{
    struct scale s = scale_of(l, x, width);
    if (!es_canvas_draws(c))
        return;
    if (!isfinite(s.from) || !isfinite(s.to) || !(s.to > s.from))
        return; /* no limit, or one that no picture can hold */
    double guard = l->guard_band > 0 ? l->guard_band : NAN, track = 0.56 * height;
    double low = isfinite(l->lower) ? place(&s, l->lower) : x;
    double high = isfinite(l->upper) ? place(&s, l->upper) : x + width;
    es_canvas_fill(c, ES_INK_FILL, low, y + (height - track) / 2, high - low, track);
    es_canvas_line(c, ES_INK_HAIR, 0.12, x, y + height / 2, x + width, y + height / 2);
    draw_limit(c, &s, l->lower, l->lower + guard, y, height);
    draw_limit(c, &s, l->upper, l->upper - guard, y, height);
    if (isfinite(l->v.value))
        draw_value(c, &s, l, y + height / 2);
}

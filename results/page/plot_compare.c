/* Plots with one row a thing (shares, pairs), and the operating characteristic of a sampling plan. */
#include <math.h>
#include <stdio.h>

#include "results/page/plot.h"
#include "results/page/plot_parts.h"

#define ROWS_MOST 40
#define ROW       5.0  /* mm */
#define TOP       19.0 /* of the first row */
#define NAMES     52.0 /* width of the names */

static const struct es_type name_type = {
    .size = 7, .weight = ES_REGULAR, .ink = ES_INK, .align = ES_RIGHT, .lines = 1};

struct row_plot {
    struct es_canvas *canvas;
    struct es_plot_area area;
    size_t drawn;
};

static enum es_status open_rows(const char *title, size_t count, double right, struct row_plot *p,
                                struct es_error *err)
{
    char text[300];
    p->drawn = count < ROWS_MOST ? count : ROWS_MOST;
    p->area.x = NAMES + 4;
    p->area.y = TOP;
    p->area.width = right - p->area.x;
    p->area.height = ROW * (double)p->drawn;
    if (count == 0)
        return es_fail(err, ES_RANGE, "there is nothing to plot");
    if (count > p->drawn)
        snprintf(text, sizeof text, "%.200s (the first %zu of %zu)", title, p->drawn, count);
    else
        snprintf(text, sizeof text, "%.280s", title);
    enum es_status s = es_plot_open(TOP + p->area.height + 13, title, &p->canvas, err);
    if (s == ES_OK)
        es_canvas_text(p->canvas, &es_plot_title_type, 6, 4, ES_PLOT_WIDTH - 12, text);
    return s;
}

/* Lines up the rows, with the scale's numbers below. */
static void draw_scale(const struct row_plot *p, const char *unit)
{
    struct es_type number = es_plot_small_type;
    const struct es_axis *axis = &p->area.across;
    double bottom = p->area.y + p->area.height;
    number.align = ES_CENTRE;
    long steps = lround((axis->to - axis->from) / axis->step);
    for (long i = 0; i <= steps && i < 40; i++) {
        double value = axis->from + (double)i * axis->step, x = es_plot_x(&p->area, value);
        char text[40];
        snprintf(text, sizeof text, "%.*f", axis->decimals, fabs(value) < 1e-9 * axis->step ? 0 : value);
        es_canvas_line(p->canvas, ES_INK_FILL, 0.12, x, p->area.y - 1, x, bottom);
        es_canvas_text_on(p->canvas, &number, x - 10, bottom + 4, 20, text);
    }
    es_canvas_line(p->canvas, ES_INK_SECOND, 0.15, p->area.x, bottom, p->area.x + p->area.width, bottom);
    es_canvas_text_on(p->canvas, &number, p->area.x, bottom + 8.5, p->area.width, unit);
}

static double row_y(const struct row_plot *p, size_t i)
{
    return p->area.y + ROW * ((double)i + 0.5);
}

static void draw_name(const struct row_plot *p, size_t i, const char *name)
{
    es_canvas_text_on(p->canvas, &name_type, 2, row_y(p, i) + 0.9, NAMES, name);
}

static enum es_status close_rows(struct row_plot *p, char **svg, size_t *length, struct es_error *err)
{
    enum es_status s = es_canvas_finish(p->canvas, svg, length, err);
    es_canvas_free(p->canvas);
    return s;
}

static void dot(struct es_canvas *c, double x, double y, bool full)
{
    cairo_t *cr = es_canvas_cairo(c);
    es_canvas_ink(c, full ? ES_INK : ES_INK_PAPER);
    cairo_new_sub_path(cr);
    cairo_arc(cr, x, y, 0.9, 0, 2 * M_PI);
    cairo_fill_preserve(cr);
    es_canvas_ink(c, ES_INK);
    cairo_set_line_width(cr, 0.3);
    cairo_stroke(cr);
}

enum es_status es_plot_shares(const char *title, const struct es_plot_share *rows, size_t count, char **svg,
                              size_t *length, struct es_error *err)
{
    struct row_plot p = {.canvas = NULL};
    enum es_status s = open_rows(title, count, 150, &p, err);
    if (s != ES_OK)
        return s;
    p.area.across = (struct es_axis){.from = 0, .to = 100, .step = 20};
    draw_scale(&p, "share in %, with its 95 % interval");
    for (size_t i = 0; i < p.drawn; i++) {
        char text[64];
        double y = row_y(&p, i), share = rows[i].n > 0 ? (double)rows[i].k / (double)rows[i].n : NAN;
        draw_name(&p, i, rows[i].name);
        es_canvas_line(p.canvas, ES_INK, 0.25, es_plot_x(&p.area, 100 * rows[i].low), y,
                       es_plot_x(&p.area, 100 * rows[i].high), y);
        if (isfinite(share))
            dot(p.canvas, es_plot_x(&p.area, 100 * share), y, true);
        snprintf(text, sizeof text, "%zu of %zu", rows[i].k, rows[i].n);
        es_canvas_text_on(p.canvas, &es_plot_small_type, 153, y + 0.9, 25, text);
    }
    return close_rows(&p, svg, length, err);
}

static void draw_value(const struct row_plot *p, size_t i, double value, double U, double shift, bool full)
{
    double y = row_y(p, i) + shift;
    if (!isfinite(value))
        return;
    if (U > 0)
        es_canvas_line(p->canvas, ES_INK_SECOND, 0.2, es_plot_x(&p->area, value - U), y,
                       es_plot_x(&p->area, value + U), y);
    dot(p->canvas, es_plot_x(&p->area, value), y, full);
}

static void draw_limit(const struct row_plot *p, double value)
{
    const double dash = 0.8;
    cairo_t *cr = es_canvas_cairo(p->canvas);
    if (!isfinite(value))
        return;
    double x = es_plot_x(&p->area, value);
    cairo_save(cr);
    cairo_set_dash(cr, &dash, 1, 0);
    es_canvas_line(p->canvas, ES_INK, 0.3, x, p->area.y - 2, x, p->area.y + p->area.height);
    cairo_restore(cr);
}

static struct es_axis pair_axis(const struct es_plot_pair *rows, size_t count, double lower, double upper)
{
    double low = INFINITY, high = -INFINITY;
    es_plot_widen(lower, &low, &high);
    es_plot_widen(upper, &low, &high);
    for (size_t i = 0; i < count; i++) {
        double found_U = rows[i].found_U > 0 ? rows[i].found_U : 0;
        double left_U = rows[i].left_U > 0 ? rows[i].left_U : 0;
        es_plot_widen(rows[i].found - found_U, &low, &high);
        es_plot_widen(rows[i].found + found_U, &low, &high);
        es_plot_widen(rows[i].left - left_U, &low, &high);
        es_plot_widen(rows[i].left + left_U, &low, &high);
    }
    return low <= high ? es_axis_around(low, high, 8) : es_axis_around(0, 1, 8);
}

enum es_status es_plot_pairs(const char *title, const char *unit, double lower, double upper,
                             const struct es_plot_pair *rows, size_t count, char **svg, size_t *length,
                             struct es_error *err)
{
    struct row_plot p = {.canvas = NULL};
    char text[160];
    enum es_status s = open_rows(title, count, 172, &p, err);
    if (s != ES_OK)
        return s;
    p.area.across = pair_axis(rows, p.drawn, lower, upper);
    es_canvas_text(
        p.canvas, &es_plot_small_type, p.area.x, 11.5, 120,
        "circle: as found; dot: as left; bars: expanded uncertainty; dashed: limit of the type sheet");
    snprintf(text, sizeof text, "%.60s", unit);
    draw_scale(&p, text);
    draw_limit(&p, lower);
    draw_limit(&p, upper);
    for (size_t i = 0; i < p.drawn; i++) {
        draw_name(&p, i, rows[i].name);
        draw_value(&p, i, rows[i].found, rows[i].found_U, -0.9, false);
        draw_value(&p, i, rows[i].left, rows[i].left_U, 0.9, true);
    }
    return close_rows(&p, svg, length, err);
}

static double across_of(const struct es_plot_area *a, double bad)
{
    return es_plot_x(a, 100 * bad);
}

enum es_status es_plot_operating(const char *title, const double *bad, const double *accepted, size_t count,
                                 const struct es_plot_mark *marks, size_t mark_count, char **svg,
                                 size_t *length, struct es_error *err)
{
    struct es_canvas *c = NULL;
    struct es_plot_area area = {.x = 22, .y = 18, .width = 138, .height = 70};
    struct es_type below = es_plot_small_type;
    if (count < 2)
        return es_fail(err, ES_RANGE, "there is nothing to plot");
    enum es_status s = es_plot_open(104, title, &c, err);
    if (s != ES_OK)
        return s;
    below.align = ES_CENTRE;
    area.across = es_axis_around(0, 100 * bad[count - 1], 8);
    area.up = (struct es_axis){.from = 0, .to = 100, .step = 20};
    es_canvas_text(c, &es_plot_title_type, 6, 4, ES_PLOT_WIDTH - 12, title);
    es_canvas_text(c, &es_plot_small_type, 6, 12, 100, "lots accepted, %");
    es_plot_frame(c, &area, 7, true);
    es_canvas_text_on(c, &below, area.x, area.y + area.height + 9, area.width, "bad units in the lot, %");
    cairo_t *cr = es_canvas_cairo(c);
    es_canvas_ink(c, ES_INK);
    cairo_set_line_width(cr, 0.35);
    for (size_t i = 0; i < count; i++)
        (i > 0 ? cairo_line_to : cairo_move_to)(cr, across_of(&area, bad[i]),
                                                es_plot_y(&area, 100 * accepted[i]));
    cairo_stroke(cr);
    for (size_t i = 0; i < mark_count; i++) {
        double x = across_of(&area, marks[i].bad), y = es_plot_y(&area, 100 * marks[i].accepted);
        dot(c, x, y, true);
        es_canvas_text_on(c, &es_plot_small_type, x + 2, y - 0.8, ES_PLOT_WIDTH - x - 4, marks[i].text);
    }
    s = es_canvas_finish(c, svg, length, err);
    es_canvas_free(c);
    return s;
}

#include <math.h>
#include <stdio.h>

#include "results/page/axis.h"
#include "rig/base/number.h"

struct es_axis es_axis_around(double low, double high, int most)
{
    struct es_axis axis = {.from = low, .to = high, .step = 1};
    double size = fmax(fabs(low), fabs(high));
    if (!(high - low > 1e-9 * size)) { /* a constant */
        double room = size > 0 ? 0.1 * size : 1;
        low -= room;
        high += room;
    }
    double rough = high / most - low / most, power = pow(10, floor(log10(rough)));
    double times = rough / power;
    axis.step = power * (times <= 1 ? 1 : times <= 2 ? 2 : times <= 5 ? 5 : 10);
    axis.from = floor(low / axis.step + 1e-9) * axis.step;
    axis.to = ceil(high / axis.step - 1e-9) * axis.step;
    if (!isfinite(axis.step) || !isfinite(axis.from) || !isfinite(axis.to) || !(axis.to > axis.from))
        axis = (struct es_axis){.from = -1, .to = 1, .step = 1}; /* beyond what can be drawn */
    double place = -floor(log10(axis.step) + 1e-9);
    axis.decimals = place > 0 && place < 15 ? (int)place : 0;
    return axis;
}

double es_plot_x(const struct es_plot_area *a, double value)
{
    return a->x + a->width * fmin(fmax((value - a->across.from) / (a->across.to - a->across.from), 0), 1);
}

double es_plot_y(const struct es_plot_area *a, double value)
{
    return a->y + a->height * (1 - fmin(fmax((value - a->up.from) / (a->up.to - a->up.from), 0), 1));
}

static int ticks(const struct es_axis *axis)
{
    double count = (axis->to - axis->from) / axis->step;
    return count < 40 ? (int)lround(count) : 0;
}

static void tick_text(const struct es_axis *axis, int i, char out[static ES_NUMBER_SIZE])
{
    double value = axis->from + i * axis->step, size = fmax(fabs(axis->from), fabs(axis->to));
    if (size >= 1e7 || size < 1e-5)
        snprintf(out, ES_NUMBER_SIZE, "%.3g", fabs(value) < 1e-9 * size ? 0 : value);
    else
        es_number_round(value, axis->decimals, out);
}

void es_plot_frame(struct es_canvas *c, const struct es_plot_area *a, double size, bool across)
{
    struct es_type type = {
        .size = size, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .align = ES_RIGHT, .lines = 1};
    const double left = 11; /* room for numbers */
    char text[ES_NUMBER_SIZE];
    for (int i = 0; i <= ticks(&a->up); i++) {
        double y = es_plot_y(a, a->up.from + i * a->up.step);
        es_canvas_line(c, ES_INK_FILL, 0.12, a->x, y, a->x + a->width, y);
        tick_text(&a->up, i, text);
        es_canvas_text_on(c, &type, a->x - left - 0.9, y + 0.13 * size, left, text);
    }
    type.align = ES_CENTRE;
    for (int i = 0; across && i <= ticks(&a->across); i++) {
        double x = es_plot_x(a, a->across.from + i * a->across.step);
        es_canvas_line(c, ES_INK_SECOND, 0.12, x, a->y + a->height, x, a->y + a->height + 0.7);
        tick_text(&a->across, i, text);
        es_canvas_text_on(c, &type, x - left, a->y + a->height + 0.9 + 0.36 * size, 2 * left, text);
    }
    es_canvas_line(c, ES_INK_SECOND, 0.15, a->x, a->y, a->x, a->y + a->height);
    es_canvas_line(c, ES_INK_SECOND, 0.15, a->x, a->y + a->height, a->x + a->width, a->y + a->height);
}

void es_plot_line(struct es_canvas *c, const struct es_plot_area *a, const double *x, const double *y,
                  size_t count, int dash)
{
    static const double dashes[3][2] = {{1.4, 0.7}, {0.4, 0.6}, {2.6, 0.6}};
    cairo_t *cr = es_canvas_cairo(c);
    bool on = false;
    cairo_save(cr);
    cairo_set_line_width(cr, 0.28);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    if (dash > 0)
        cairo_set_dash(cr, dashes[(dash - 1) % 3], 2, 0);
    es_canvas_ink(c, ES_INK);
    for (size_t i = 0; i < count; i++) {
        bool there = isfinite(x[i]) && isfinite(y[i]);
        if (there && on)
            cairo_line_to(cr, es_plot_x(a, x[i]), es_plot_y(a, y[i]));
        else if (there)
            cairo_move_to(cr, es_plot_x(a, x[i]), es_plot_y(a, y[i]));
        on = there;
    }
    cairo_stroke(cr);
    cairo_restore(cr);
}

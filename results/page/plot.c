#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "results/page/axis.h"
#include "results/page/plot.h"
#include "results/page/plot_parts.h"
#include "rig/base/text.h"

#define WIDTH     ES_PLOT_WIDTH
#define LEFT      ES_PLOT_LEFT
#define RIGHT     ES_PLOT_RIGHT
#define ROWS_MOST 20
#define SIGNAL    4.0 /* mm a line about a rule */

const struct es_type es_plot_title_type = {.size = 10, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 2};
const struct es_type es_plot_small_type = {.size = 7, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 1};

enum es_status es_plot_open(double height, const char *title, struct es_canvas **out, struct es_error *err)
{
    const struct es_canvas_about about = {.title = title};
    return es_canvas_new(ES_CANVAS_SVG, WIDTH, height, 1, false, &about, out, err);
}

void es_plot_widen(double value, double *low, double *high)
{
    if (!isfinite(value))
        return;
    *low = fmin(*low, value);
    *high = fmax(*high, value);
}

static double spread(const struct es_plot_point *p)
{
    return p->U > 0 && isfinite(p->U) ? p->U : 0;
}

/* Room for every point with its uncertainty and for every line. False: nothing to draw. */
static bool find_axis(const struct es_plot_chart *chart, struct es_axis *up)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < chart->count; i++) {
        es_plot_widen(chart->points[i].value - spread(&chart->points[i]), &low, &high);
        es_plot_widen(chart->points[i].value + spread(&chart->points[i]), &low, &high);
    }
    if (!(low <= high))
        return false;
    if (chart->limits != NULL) {
        es_plot_widen(chart->limits->lower, &low, &high);
        es_plot_widen(chart->limits->upper, &low, &high);
    }
    es_plot_widen(chart->lower, &low, &high);
    es_plot_widen(chart->upper, &low, &high);
    *up = es_axis_around(low, high, 6);
    return true;
}

/* A line across with its name at the right end. */
void es_plot_level(struct es_canvas *c, const struct es_plot_area *a, double value, const char *name,
                   double dash)
{
    cairo_t *cr = es_canvas_cairo(c);
    double y = es_plot_y(a, value);
    if (!isfinite(value))
        return;
    cairo_save(cr);
    if (dash > 0)
        cairo_set_dash(cr, &dash, 1, 0);
    es_canvas_line(c, ES_INK_SECOND, 0.25, a->x, y, a->x + a->width, y);
    cairo_restore(cr);
    es_canvas_text_on(c, &es_plot_small_type, a->x + a->width + 1, y + 0.9, WIDTH - a->x - a->width - 1,
                      name);
}

/* A full dot; a point that carries a rule: a square in a ring, so that it stands out without colour. `size`
 * 1: as drawn where there is room. */
static void draw_point(struct es_canvas *c, const struct es_plot_area *a, double x,
                       const struct es_plot_point *p, double size)
{
    cairo_t *cr = es_canvas_cairo(c);
    double y = es_plot_y(a, p->value), U = spread(p);
    enum es_ink ink = p->signals != 0 ? ES_INK_ALERT : ES_INK;
    if (U > 0)
        es_canvas_line(c, ink, 0.2 * size, x, es_plot_y(a, p->value - U), x, es_plot_y(a, p->value + U));
    if (p->signals == 0) {
        es_canvas_ink(c, ink);
        cairo_new_sub_path(cr);
        cairo_arc(cr, x, y, 0.75 * size, 0, 2 * M_PI);
        cairo_fill(cr);
        return;
    }
    es_canvas_fill(c, ink, x - 0.8 * size, y - 0.8 * size, 1.6 * size, 1.6 * size);
    cairo_set_line_width(cr, 0.25 * size);
    cairo_new_sub_path(cr);
    cairo_arc(cr, x, y, 1.8 * size, 0, 2 * M_PI);
    cairo_stroke(cr);
}

static double place(const struct es_plot_area *a, size_t i, size_t count)
{
    return count > 1 ? a->x + 3 + (a->width - 6) * (double)i / (double)(count - 1) : a->x + a->width / 2;
}

/* Points joined in their order; a gap where one is missing. */
static void draw_points(struct es_canvas *c, const struct es_plot_area *a, const struct es_plot_point *points,
                        size_t count)
{
    for (size_t i = 1; i < count; i++)
        if (isfinite(points[i].value) && isfinite(points[i - 1].value))
            es_canvas_line(c, ES_INK_HAIR, 0.25, place(a, i - 1, count), es_plot_y(a, points[i - 1].value),
                           place(a, i, count), es_plot_y(a, points[i].value));
    double size = fmin(1, fmax(0.35, 60 / (double)count)); /* many points: smaller ones */
    for (size_t i = 0; i < count; i++)
        if (isfinite(points[i].value))
            draw_point(c, a, place(a, i, count), &points[i], size);
}

/* As many labels as have room beside one another: the first, and every so manyth after it. */
static void draw_labels(struct es_canvas *c, const struct es_plot_area *a, const struct es_plot_point *points,
                        size_t count)
{
    struct es_type type = es_plot_small_type;
    double widest = 1;
    type.align = ES_CENTRE;
    for (size_t i = 0; i < count; i++)
        widest = fmax(widest, es_canvas_text_width(c, &type, points[i].label != NULL ? points[i].label : ""));
    widest = fmin(widest + 2, 30);
    size_t step = (size_t)ceil(widest * (double)count / a->width);
    for (size_t i = 0; i<count; i += step> 0 ? step : 1) {
        double middle = fmin(fmax(place(a, i, count), widest / 2), WIDTH - widest / 2);
        if (points[i].label != NULL)
            es_canvas_text_on(c, &type, middle - widest / 2, a->y + a->height + 4, widest, points[i].label);
    }
}

/* How many points carry a rule. */
static size_t marked(const struct es_plot_chart *chart, unsigned rule)
{
    size_t count = 0;
    for (size_t i = 0; i < chart->count; i++)
        count += (chart->points[i].signals >> rule & 1) != 0;
    return count;
}

/* Which rules spoke, and how often, below everything. */
static void draw_signals(struct es_canvas *c, const struct es_plot_chart *chart, double y)
{
    for (unsigned rule = 0; rule < ES_RUN_RULE_COUNT; rule++) {
        char text[160];
        size_t count = marked(chart, rule);
        if (count == 0)
            continue;
        snprintf(text, sizeof text, "%zu marked: %s", count,
                 es_run_rule_text((enum es_run_rule)(1u << rule)));
        es_canvas_text(c, &es_plot_small_type, LEFT, y, RIGHT - LEFT, text);
        y += SIGNAL;
    }
}

static double height_of(const struct es_plot_chart *chart, bool ranges)
{
    double height = ranges ? 112 : 78;
    for (unsigned rule = 0; rule < ES_RUN_RULE_COUNT; rule++)
        height += marked(chart, rule) > 0 ? SIGNAL : 0;
    return height + 3;
}

static void draw_ranges(struct es_canvas *c, const struct es_plot_chart *chart, struct es_plot_point *steps,
                        double y)
{
    struct es_plot_area area = {.x = LEFT, .y = y, .width = RIGHT - LEFT, .height = 24};
    double high = chart->limits->range_upper;
    for (size_t i = 0; i < chart->count; i++) {
        steps[i] = (struct es_plot_point){.value = NAN, .signals = chart->points[i].signals & ES_RUN_RANGE};
        if (i > 0)
            steps[i].value = fabs(chart->points[i].value - chart->points[i - 1].value);
        if (isfinite(steps[i].value))
            high = fmax(high, steps[i].value);
    }
    area.up = es_axis_around(0, high > 0 ? high : 1, 4);
    es_plot_frame(c, &area, 7, false);
    es_plot_level(c, &area, chart->limits->range_mean, "mean", 0);
    es_plot_level(c, &area, chart->limits->range_upper, "limit", 1);
    draw_points(c, &area, steps, chart->count);
    es_canvas_text(c, &es_plot_small_type, LEFT, y - 4, 100, "moving range: step from the point before");
}

static void draw_chart(struct es_canvas *c, const struct es_plot_chart *chart, struct es_plot_point *steps)
{
    struct es_plot_area area = {.x = LEFT, .y = 18, .width = RIGHT - LEFT, .height = 52};
    char unit[80];
    es_canvas_text(c, &es_plot_title_type, 6, 4, WIDTH - 12, chart->title);
    snprintf(unit, sizeof unit, "%.60s", chart->unit);
    es_canvas_text(c, &es_plot_small_type, 6, 11.5, 100, unit);
    if (!find_axis(chart, &area.up)) {
        es_canvas_text(c, &es_plot_small_type, LEFT, 40, 100, "no values to draw");
        return;
    }
    es_plot_frame(c, &area, 7, false);
    es_plot_level(c, &area, chart->lower, "limit", 0.4);
    es_plot_level(c, &area, chart->upper, "limit", 0.4);
    if (chart->limits != NULL) {
        es_plot_level(c, &area, chart->limits->centre, "mean", 0);
        es_plot_level(c, &area, chart->limits->lower, "− 3 sigma", 1);
        es_plot_level(c, &area, chart->limits->upper, "+ 3 sigma", 1);
    }
    draw_points(c, &area, chart->points, chart->count);
    draw_labels(c, &area, chart->points, chart->count);
    if (steps != NULL)
        draw_ranges(c, chart, steps, 84);
    draw_signals(c, chart, steps != NULL ? 112 : 78);
}

enum es_status es_plot_chart(const struct es_plot_chart *chart, char **svg, size_t *length,
                             struct es_error *err)
{
    struct es_canvas *c = NULL;
    struct es_plot_point *steps = NULL;
    if (chart->count == 0)
        return es_fail(err, ES_RANGE, "there is no value to plot");
    bool ranges = chart->ranges && chart->limits != NULL;
    if (ranges && (steps = calloc(chart->count, sizeof *steps)) == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to plot");
    enum es_status s = es_plot_open(height_of(chart, ranges), chart->title, &c, err);
    if (s == ES_OK) {
        draw_chart(c, chart, steps);
        s = es_canvas_finish(c, svg, length, err);
    }
    es_canvas_free(c);
    free(steps);
    return s;
}

/* What is beyond the most rows, in one. */
static size_t gather_others(const struct es_pareto_row *rows, size_t count, struct es_pareto_row *shown)
{
    size_t kept = count > ROWS_MOST ? ROWS_MOST - 1 : count;
    for (size_t i = 0; i < kept; i++)
        shown[i] = rows[i];
    if (kept == count)
        return kept;
    shown[kept] = (struct es_pareto_row){.name = "others", .cumulative = 1};
    for (size_t i = kept; i < count; i++) {
        shown[kept].count += rows[i].count;
        shown[kept].share += rows[i].share;
    }
    return kept + 1;
}

static void draw_bar_row(struct es_canvas *c, const struct es_plot_area *a, const struct es_pareto_row *row,
                         double y, double height)
{
    struct es_type name = es_plot_small_type, number = es_plot_small_type;
    char text[60];
    name.align = ES_RIGHT;
    name.ink = ES_INK;
    double end = es_plot_x(a, (double)row->count);
    es_canvas_text_on(c, &name, 4, y + 0.65 * height, a->x - 6, row->name != NULL ? row->name : "");
    es_canvas_fill(c, ES_INK_HAIR, a->x, y + 0.15 * height, end - a->x, 0.7 * height);
    snprintf(text, sizeof text, "%zu  (%.1f %%, together %.1f %%)", row->count, 100 * row->share,
             100 * row->cumulative);
    es_canvas_text_on(c, &number, end + 1.5, y + 0.65 * height, 60, text);
}

enum es_status es_plot_pareto(const char *title, const struct es_pareto_row *rows, size_t count, char **svg,
                              size_t *length, struct es_error *err)
{
    const double row_height = 6, top = 16;
    struct es_pareto_row shown[ROWS_MOST];
    struct es_canvas *c = NULL;
    size_t most = 1;
    if (count == 0)
        return es_fail(err, ES_RANGE, "there is nothing to plot");
    size_t kept = gather_others(rows, count, shown);
    for (size_t i = 0; i < kept; i++)
        most = shown[i].count > most ? shown[i].count : most;
    struct es_plot_area area = {.x = 62, .y = top, .width = 70, .height = row_height * (double)kept};
    area.across = (struct es_axis){.from = 0, .to = (double)most, .step = (double)most};
    enum es_status s = es_plot_open(top + row_height * (double)kept + 8, title, &c, err);
    if (s == ES_OK) {
        es_canvas_text(c, &es_plot_title_type, 6, 4, WIDTH - 12, title);
        for (size_t i = 0; i < kept; i++)
            draw_bar_row(c, &area, &shown[i], top + row_height * (double)i, row_height);
        es_canvas_line(c, ES_INK_SECOND, 0.2, area.x, top, area.x, top + area.height);
        s = es_canvas_finish(c, svg, length, err);
    }
    es_canvas_free(c);
    return s;
}

/* The certificate's small curves, three or four beside one another. Series of one recording in one unit share
 * a picture and are told apart by their strokes. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/axis.h"
#include "results/page/sheet.h"
#include "rig/base/text.h"

#define BETWEEN      4.0
#define HEIGHT       25.0        /* of one picture with its titles, mm, in full scale */
#define COMPACT      23.0        /* the same where space is short */
#define COMPACT_MOST ((size_t)9) /* in one row */
#define SERIES_MOST  4
#define ACROSS_LEAST ((size_t)3)

struct picture {
    const struct es_content_curve *series; /* one after another */
    size_t count;
};

static bool belongs(const struct picture *p, const struct es_content_curve *curve)
{
    return p->count < SERIES_MOST && strcmp(p->series->recording, curve->recording) == 0 &&
           strcmp(p->series->unit, curve->unit) == 0;
}

static void widen(double value, double *low, double *high)
{
    if (!isfinite(value))
        return;
    *low = fmin(*low, value);
    *high = fmax(*high, value);
}

/* False: nothing in it can be drawn. */
static bool find_axes(const struct picture *p, struct es_plot_area *area)
{
    double t_low = INFINITY, t_high = -INFINITY, low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < p->count; i++) {
        for (size_t k = 0; k < p->series[i].count; k++) {
            widen(p->series[i].t[k], &t_low, &t_high);
            widen(p->series[i].y[k], &low, &high);
        }
    }
    if (!(t_low <= t_high) || !(low <= high))
        return false;
    area->across = es_axis_around(t_low, t_high, 4);
    area->up = es_axis_around(low, high, 3);
    return true;
}

static void draw_titles(struct es_sheet *s, const struct picture *p, double x, double y, double width)
{
    struct es_type title = {.size = 7, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 1};
    struct es_type small = {.size = 6, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 1};
    static const char *const strokes[SERIES_MOST] = {"solid", "dashed", "dotted", "long dashes"};
    struct es_text text = {0};
    for (size_t i = 0; i < p->count; i++) {
        es_text_printf(&text, "%s%s", i > 0 ? ", " : "", p->series[i].series);
        if (p->count > 1)
            es_text_printf(&text, " (%s)", strokes[i]);
    }
    const char *unit = es_page_unit(p->series->unit);
    es_text_printf(&text, "%s%s", unit[0] != '\0' ? ", " : "", unit);
    es_canvas_text_on(s->canvas, &title, x, y + 2.5, width, p->series->recording);
    es_canvas_text_on(s->canvas, &small, x, y + 5.2, width, es_page_words(&text));
    es_text_free(&text);
}

static double height_of(const struct es_sheet *s)
{
    return s->compact ? COMPACT : HEIGHT;
}

static void draw_picture(struct es_sheet *s, const struct picture *p, double x, double y, double width)
{
    struct es_plot_area area = {
        .x = x + 7.5, .y = y + 7, .width = width - 8.5, .height = height_of(s) * s->scale - 7 - 5};
    struct es_type type = {.size = 6.6, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 1};
    draw_titles(s, p, x, y, width);
    if (!find_axes(p, &area)) {
        es_canvas_text_on(s->canvas, &type, x, y + 14, width, "no values to draw");
        return;
    }
    es_plot_frame(s->canvas, &area, 5.6, true);
    for (size_t i = 0; i < p->count; i++)
        es_plot_line(s->canvas, &area, p->series[i].t, p->series[i].y, p->series[i].count, (int)i);
}

/* The picture that begins with curve `from`. */
static struct picture picture_at(const struct es_content *c, size_t from)
{
    struct picture p = {.series = &c->curves[from]};
    do
        p.count++;
    while (from + p.count < c->curve_count && belongs(&p, &c->curves[from + p.count]));
    return p;
}

/* Five beside one another, or six where that saves a row; with as many in each row as that leaves. All in one
 * where space is short. */
static size_t find_across(const struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    size_t pictures = 0;
    for (size_t i = 0; i < c->curve_count; i += picture_at(c, i).count)
        pictures++;
    if (s->compact && pictures <= COMPACT_MOST)
        return pictures < ACROSS_LEAST ? ACROSS_LEAST : pictures;
    size_t five = (pictures + 4) / 5, six = (pictures + 5) / 6, rows = six < five ? six : five;
    size_t across = (pictures + rows - 1) / rows;
    return across < ACROSS_LEAST ? ACROSS_LEAST : across;
}

void es_draw_curves(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    if (c->curve_count == 0)
        return;
    size_t across = find_across(s), n = 0;
    double width = (s->width - ((double)across - 1) * BETWEEN) / (double)across;
    es_sheet_title(s, "Curves over time in seconds", height_of(s) * s->scale);
    for (size_t i = 0; i < c->curve_count && !s->too_long; n++) {
        struct picture p = picture_at(c, i);
        i += p.count;
        if (n % across == 0)
            es_sheet_need(s, height_of(s) * s->scale);
        draw_picture(s, &p, s->left + (double)(n % across) * (width + BETWEEN), s->y, width);
        if (n % across == across - 1 || i == c->curve_count)
            es_sheet_gap(s, height_of(s));
    }
}

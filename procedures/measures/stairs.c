#include "procedures/measures/stairs.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/measures.h"

#define BEYOND 0.001 /* of span */
#define SAME   0.25  /* of the smallest stair: demands nearer than this are one point */

void es_stairs_free(struct es_stairs *s)
{
    free(s->readings);
    free(s->points);
    memset(s, 0, sizeof *s);
}

/* Demand at a hold: read back where it was recorded, else as written. False with a reason. */
static enum es_status take_demand(const struct es_stairs_input *in, const struct es_hold *h,
                                  struct es_stair_reading *r, bool *good, char reason[static 160],
                                  struct es_error *err)
{
    struct es_rest level;
    *good = true;
    r->current = h->demand;
    if (!es_trace_series(in->trace, in->read_back))
        return ES_OK;
    enum es_status status = es_rest_take(in->trace, in->read_back, h->from + in->settle, h->to, &level, err);
    if (status != ES_OK)
        return status;
    if (!level.valid) {
        snprintf(reason, 160, "%.30s: %.120s", es_role_info(in->read_back)->name, level.reason);
        *good = false;
        return ES_OK;
    }
    r->current = level.p.mean;
    es_rest_noise(&r->noise, &level, 1 / in->demand_span.size);
    return ES_OK;
}

static enum es_status take_reading(const struct es_stairs_input *in, const struct es_hold *h,
                                   struct es_stair_reading *r, bool *good, bool *moves,
                                   char reason[static 160], struct es_error *err)
{
    struct es_rest level;
    memset(r, 0, sizeof *r);
    r->way = h->way;
    *moves = false;
    enum es_status status = take_demand(in, h, r, good, reason, err);
    if (status != ES_OK || !*good)
        return status;
    status = es_rest_take(in->trace, in->response, h->from + in->settle, h->to, &level, err);
    if (status != ES_OK)
        return status;
    double moved = level.valid ? level.surely / fabs(in->span.size) : 0;
    *good = level.valid && moved <= in->still;
    *moves = level.valid && !*good;
    r->demand = es_span_share(&in->demand_span, h->demand);
    if (!level.valid)
        snprintf(reason, 160, "at %.1f %%: %.120s", 100 * r->demand, level.reason);
    else if (!*good)
        snprintf(reason, 160, "not settled at %.1f %%: moving by %.2f %% of span in the last %.1f s",
                 100 * r->demand, 100 * moved, level.p.length);
    if (!*good)
        return ES_OK;
    es_rest_noise(&r->noise, &level, 1 / in->span.size);
    r->u_moved = es_rectangular(level.moved / 2) / fabs(in->span.size);
    r->u_step = es_resolution_u(level.series->u.resolution, level.p.s) / fabs(in->span.size);
    double all = r->noise.square[ES_TERM_REPEAT] + r->noise.square[ES_TERM_COMMON];
    r->u = sqrt(fmax(0, all - r->u_moved * r->u_moved));
    r->response = level.p.mean;
    r->error = es_span_share(&in->span, level.p.mean) - es_span_share(&in->demand_span, r->current);
    r->t = 0.5 * (level.series->t[level.first] + level.series->t[level.last]);
    r->drift = level.p.drift / in->span.size;
    r->first = level.first;
    r->last = level.last;
    return ES_OK;
}

static int by_demand(const void *a, const void *b)
{
    const struct es_stair_reading *const *x = a, *const *y = b;
    return ((*x)->demand > (*y)->demand) - ((*x)->demand < (*y)->demand);
}

/* Smallest difference between two holds that follow each other. */
static double smallest_stair(const struct es_stairs *s)
{
    double least = INFINITY;
    for (size_t i = 1; i < s->count; i++) {
        double step = fabs(s->readings[i].demand - s->readings[i - 1].demand);
        if (step > 1e-9)
            least = fmin(least, step);
    }
    return isfinite(least) ? least : 1;
}

/* Noise of the mean of n readings: steps of the reading and movement do not average out. */
static double mean_u(double u, double step, size_t n, double moved)
{
    if (n == 0)
        return 0;
    double random = sqrt(fmax(0, u * u - step * step) / (double)n);
    return hypot(hypot(random, step), moved / (double)n);
}

/* Means of the readings first .. end - 1 of the sorted list; `u` noise of one. */
static void make_point(struct es_stair_reading *const *sorted, size_t first, size_t end, size_t index,
                       double u, struct es_stair_point *p)
{
    double step = 0, sum[2] = {0, 0}, moved[2] = {0, 0}, least[2] = {INFINITY, INFINITY},
           most[2] = {-INFINITY, -INFINITY};
    size_t n[2] = {0, 0};
    memset(p, 0, sizeof *p);
    for (size_t i = first; i < end; i++) {
        struct es_stair_reading *r = sorted[i];
        int k = r->way < 0;
        r->point = index;
        p->demand += r->demand / (double)(end - first);
        sum[k] += r->error;
        moved[k] += r->u_moved;
        step = fmax(step, r->u_step);
        least[k] = fmin(least[k], r->error);
        most[k] = fmax(most[k], r->error);
        p->u_range = fmax(p->u_range, hypot(u, r->u_moved));
        n[k]++;
    }
    p->ups = n[0];
    p->downs = n[1];
    p->up = n[0] ? sum[0] / (double)n[0] : NAN;
    p->down = n[1] ? sum[1] / (double)n[1] : NAN;
    p->u_up = mean_u(u, step, n[0], moved[0]);
    p->u_down = mean_u(u, step, n[1], moved[1]);
    bool both = n[0] && n[1];
    p->error = both ? 0.5 * (p->up + p->down) : n[0] ? p->up : p->down;
    p->u = both ? 0.5 * hypot(p->u_up, p->u_down) : fmax(p->u_up, p->u_down);
    for (int k = 0; k < 2; k++)
        if (n[k] > 1)
            p->range = fmax(p->range, most[k] - least[k]);
}

static enum es_status make_points(struct es_stairs *s, struct es_error *err)
{
    struct es_stair_reading **sorted = calloc(s->count + 1, sizeof(struct es_stair_reading *));
    s->points = calloc(s->count + 1, sizeof *s->points);
    if (!sorted || !s->points) {
        free(sorted);
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->count);
    }
    for (size_t i = 0; i < s->count; i++) {
        sorted[i] = &s->readings[i];
        s->u += s->readings[i].u * s->readings[i].u / (double)s->count;
    }
    s->u = sqrt(s->u);
    qsort(sorted, s->count, sizeof(struct es_stair_reading *), by_demand);
    double same = SAME * smallest_stair(s);
    size_t first = 0;
    for (size_t i = 1; i <= s->count; i++) {
        if (i < s->count && sorted[i]->demand - sorted[i - 1]->demand < same)
            continue;
        make_point(sorted, first, i, s->point_count, s->u, &s->points[s->point_count]);
        s->point_count++;
        first = i;
    }
    free(sorted);
    return ES_OK;
}

/* Holds beyond the span only serve to reach its ends from both sides. */
static bool within(const struct es_stairs_input *in, const struct es_hold *h)
{
    double share = es_span_share(&in->demand_span, h->demand);
    return share > -BEYOND && share < 1 + BEYOND;
}

enum es_status es_stairs_find(const struct es_stairs_input *in, struct es_stairs *out, struct es_error *err)
{
    struct es_stairs s = {.read_back = es_trace_series(in->trace, in->read_back) != NULL};
    struct es_holds holds;
    bool good = true, unsettled = false;
    double end = es_series_end(es_trace_series(in->trace, in->response));
    memset(out, 0, sizeof *out);
    enum es_status status = es_holds_find(in->trace, in->demand, in->settle, end, &holds, err);
    if (status != ES_OK)
        return status;
    s.readings = calloc(holds.count + 1, sizeof *s.readings);
    if (!s.readings)
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu holds.", holds.count);
    for (size_t i = 0; status == ES_OK && good && i < holds.count; i++) {
        const struct es_hold *h = &holds.items[i];
        if (!in->all && (h->way == 0 || !within(in, h))) /* whence it was reached is not known; beyond */
            continue;
        bool moves;
        status = take_reading(in, h, &s.readings[s.count], &good, &moves, s.reason, err);
        if (moves && in->pass_over) {
            s.unsettled++;
            unsettled = good = true;
            continue;
        }
        s.readings[s.count].unsettled_before = unsettled;
        unsettled = false;
        s.count += good;
    }
    if (status == ES_OK && good && s.count > 0)
        status = make_points(&s, err);
    if (status == ES_OK && good && s.count == 0 && s.unsettled == 0)
        snprintf(s.reason, sizeof s.reason, "no hold of the %s longer than %.1f s",
                 es_role_info(in->demand)->name, in->settle);
    es_holds_free(&holds);
    if (status != ES_OK) {
        es_stairs_free(&s);
        return status;
    }
    if (!good)
        s.count = 0;
    if (s.count > 0) /* of a hold that was passed over */
        s.reason[0] = '\0';
    *out = s;
    return ES_OK;
}

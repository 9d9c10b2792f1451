#include "procedures/measures/sweep_legs.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/summary.h"

#define TURN_SHARE   0.05 /* of the range that the angle must come back to count as turned */
#define COVER_SHARE  0.8
#define LEAST_IN_LEG 40

void es_sweep_free(struct es_sweep *s)
{
    free(s->points);
    free(s->bounds);
    memset(s, 0, sizeof *s);
}

/* End of the points from i on that need no look: their block lies outside. */
static size_t skip_outside(const struct es_sweep *s, size_t i, double from, double to)
{
    while (i < s->n) {
        const struct es_sweep_bounds *b = &s->bounds[i / ES_SWEEP_BLOCK];
        if (b->low <= to && b->high >= from)
            break;
        i = (i / ES_SWEEP_BLOCK + 1) * ES_SWEEP_BLOCK;
    }
    return i;
}

size_t es_sweep_gather(const struct es_sweep *s, const struct es_sweep_leg *leg, double from, double to,
                       bool odd_too, double *angle, double *ratio)
{
    size_t i = leg ? leg->first : 0, end = leg ? leg->last + 1 : s->n, n = 0;
    while ((i = skip_outside(s, i, from, to)) < end) {
        size_t block_end = (i / ES_SWEEP_BLOCK + 1) * ES_SWEEP_BLOCK;
        for (; i < end && i < block_end; i++) {
            const struct es_sweep_point *p = &s->points[i];
            if (!p->paired || !p->good || (p->odd && !odd_too) || p->angle < from || p->angle > to)
                continue;
            if (angle)
                angle[n] = p->angle;
            ratio[n++] = p->ratio;
        }
    }
    return n;
}

/* Reference angle at time t by straight line between good samples; NAN across a gap. */
static double angle_at(const struct es_samples *a, double t, size_t *from)
{
    size_t i = *from;
    while (i + 1 < a->n && a->t[i + 1] <= t)
        i++;
    *from = i;
    if (i + 1 >= a->n || t < a->t[i])
        return i < a->n && t == a->t[i] ? a->y[i] : NAN;
    double step = a->t[i + 1] - a->t[i];
    if (!(step > 0) || step > 3.5 * a->interval)
        return NAN;
    return a->y[i] + (t - a->t[i]) / step * (a->y[i + 1] - a->y[i]);
}

static double median_speed(const struct es_sweep *s, const struct es_sweep_leg *leg, double *work)
{
    size_t n = 0;
    double edge = 0.1 * (leg->high - leg->low);
    size_t stride = 1 + (leg->last - leg->first) / 200;
    const struct es_sweep_point *before = NULL;
    for (size_t i = leg->first; i <= leg->last; i += stride) {
        const struct es_sweep_point *p = &s->points[i];
        if (!p->paired || p->angle < leg->low + edge || p->angle > leg->high - edge)
            continue;
        if (before && p->t > before->t)
            work[n++] = fabs(p->angle - before->angle) / (p->t - before->t);
        before = p;
    }
    return es_median(work, n);
}

static void add_leg(struct es_sweep *s, size_t first, size_t last, int direction, double least, double *work)
{
    if (last <= first + LEAST_IN_LEG || s->leg_count == ES_SWEEP_MAX_LEGS)
        return;
    struct es_sweep_leg leg = {
        .first = first, .last = last, .direction = direction, .low = INFINITY, .high = -INFINITY};
    for (size_t i = first; i <= last; i++)
        if (s->points[i].paired) {
            leg.low = s->points[i].angle < leg.low ? s->points[i].angle : leg.low;
            leg.high = s->points[i].angle > leg.high ? s->points[i].angle : leg.high;
        }
    if (leg.high - leg.low < least)
        return;
    leg.speed = median_speed(s, &leg, work);
    if (leg.speed > 0)
        s->legs[s->leg_count++] = leg;
}

/* Splits at the turning points: a new leg begins where the angle has come back by TURN_SHARE of the range. */
static void find_legs(struct es_sweep *s, double range, double *work)
{
    double turn = TURN_SHARE * range;
    size_t start = 0, extreme = 0;
    int direction = 0;
    bool any = false;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < s->n; i++) {
        if (!s->points[i].paired)
            continue;
        double a = s->points[i].angle;
        if (!any) {
            start = extreme = i;
            any = true;
        }
        low = a < low ? a : low;
        high = a > high ? a : high;
        double reached = s->points[extreme].angle;
        if (direction == 0 && high - low > turn) {
            direction = a > 0.5 * (low + high) ? 1 : -1;
            extreme = i;
        } else if (direction != 0 && direction * (a - reached) >= 0) {
            extreme = i;
        } else if (direction != 0 && direction * (reached - a) > turn) {
            add_leg(s, start, extreme, direction, COVER_SHARE * range, work);
            start = extreme;
            extreme = i;
            direction = -direction;
        }
    }
    if (direction != 0)
        add_leg(s, start, extreme, direction, COVER_SHARE * range, work);
}

enum es_status es_sweep_bound(struct es_sweep *s, struct es_error *err)
{
    free(s->bounds);
    s->bounds = malloc((s->n / ES_SWEEP_BLOCK + 1) * sizeof *s->bounds);
    if (!s->bounds)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", s->n);
    for (size_t i = 0; i < s->n; i++) {
        const struct es_sweep_point *p = &s->points[i];
        struct es_sweep_bounds *b = &s->bounds[i / ES_SWEEP_BLOCK];
        if (i % ES_SWEEP_BLOCK == 0)
            *b = (struct es_sweep_bounds){INFINITY, -INFINITY};
        if (p->paired && p->angle < b->low)
            b->low = p->angle;
        if (p->paired && p->angle > b->high)
            b->high = p->angle;
    }
    return ES_OK;
}

static enum es_status pair_points(const struct es_samples *a, const struct es_series *sensor, double delay,
                                  struct es_sweep *s, struct es_error *err)
{
    s->points = calloc(sensor->count + 1, sizeof *s->points);
    if (!s->points)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", sensor->count);
    size_t from = 0;
    for (size_t i = 0; i < sensor->count; i++) {
        struct es_sweep_point *p = &s->points[s->n++];
        p->t = sensor->t[i] - delay;
        p->angle = angle_at(a, p->t, &from);
        p->sample = i;
        p->paired = isfinite(p->angle);
        p->good = sensor->quality[i] == ES_GOOD && isfinite(sensor->y[i]);
        p->ratio = p->good ? sensor->y[i] : NAN;
    }
    return es_sweep_bound(s, err);
}

/* Least that the legs reached on one side. Where the recording begins or ends the shaft was cut off on its
 * way: that end of the first or last leg counts only where no turn was seen on that side. */
static double reached(const struct es_sweep *s, int side)
{
    double inner = side ? INFINITY : -INFINITY, cut = inner;
    for (size_t k = 0; k < s->leg_count; k++) {
        const struct es_sweep_leg *leg = &s->legs[k];
        bool begins = (leg->direction < 0) == (side == 1), open = begins ? k == 0 : k + 1 == s->leg_count;
        double *which = open ? &cut : &inner, here = side ? leg->high : leg->low;
        *which = side ? fmin(*which, here) : fmax(*which, here);
    }
    return isfinite(inner) ? inner : cut;
}

static bool common_range(struct es_sweep *s, double *work)
{
    s->low = reached(s, 0);
    s->high = reached(s, 1);
    s->least = INFINITY;
    s->most = -INFINITY;
    double slowest = INFINITY;
    for (size_t k = 0; k < s->leg_count; k++) {
        s->least = fmin(s->least, s->legs[k].low);
        s->most = fmax(s->most, s->legs[k].high);
        slowest = fmin(slowest, s->legs[k].speed);
    }
    for (size_t i = 0; i < s->n; i++)
        work[i] = s->points[i].t;
    if (!es_median_of_differences(work, s->n, es_range_of_differences(work, s->n), &s->interval))
        return false;
    s->sample_angle = slowest * s->interval;
    return true;
}

enum es_status es_sweep_pair(const struct es_series *angle, const struct es_series *sensor, double delay,
                             struct es_sweep *out, char text[static 160], struct es_error *err)
{
    struct es_samples a;
    struct es_sweep s = {0};
    char why[160];
    text[0] = '\0';
    *out = s;
    enum es_status status = es_samples_take(angle, -INFINITY, INFINITY, &a, err);
    if (status != ES_OK)
        return status;
    double *work = malloc((sensor->count + 256) * sizeof *work);
    if (!work)
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", sensor->count);
    const char *unfit = es_samples_unfit(&a, LEAST_IN_LEG, why);
    const char *clipped = es_samples_clipped(sensor, -INFINITY, INFINITY, text);
    double range = es_largest(a.y, a.n) - es_least(a.y, a.n);
    if (unfit)
        snprintf(text, 160, "reference: %s", unfit);
    else if (clipped)
        ; /* `text` says it */
    else if (sensor->count < LEAST_IN_LEG)
        snprintf(text, 160, "too few samples of the sensor: %zu", sensor->count);
    else if (!(range > 20 * angle->u.resolution) || !(range > 0.02))
        snprintf(text, 160, "the shaft was hardly turned: %.2f deg", range * 57.29577951308232);
    else if (status == ES_OK && (status = pair_points(&a, sensor, delay, &s, err)) == ES_OK) {
        find_legs(&s, range, work);
        if (s.leg_count && !common_range(&s, work))
            status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", s.n);
        if (!s.leg_count)
            snprintf(text, 160, "no sweep from end to end was found");
    }
    free(work);
    es_samples_free(&a);
    if (status == ES_OK)
        *out = s;
    else
        es_sweep_free(&s);
    return status;
}

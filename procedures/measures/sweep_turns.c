#include "procedures/measures/sweep_turns.h"

#include <math.h>

#include "procedures/measures/budget.h"

#define NEAR_TURN 0.001 /* of what was swept */
#define SCATTER   6.0   /* noise: the furthest of many readings at one place to the nearest of them */
#define FEW       5     /* readings: fewer do not tell where the middle of them is ... */
#define ALIKE     3.0   /* noise: ... and one so far away may be on its way; two turns at one place */

struct turn {
    double at;
    size_t n; /* readings that it is the mean of */
};

static bool good(const struct es_series *a, size_t i)
{
    return a->quality[i] == ES_GOOD && isfinite(a->y[i]);
}

/* The furthest of the good readings next to this time, two on each side; of none the one at it. */
static size_t reading_at(const struct es_series *a, double time, double sign)
{
    size_t low = 0, high = a->count - 1, best;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (a->t[mid] < time)
            low = mid + 1;
        else
            high = mid;
    }
    best = low;
    for (size_t i = low > 2 ? low - 2 : 0; i < a->count && i <= low + 2; i++)
        if (good(a, i) && (!good(a, best) || sign * (a->y[i] - a->y[best]) > 0))
            best = i;
    return best;
}

/* Readings about the turn, those `near` the one that is taken for it: from *first to *last. */
static void neighbours(const struct es_series *a, size_t i, double near, size_t *first, size_t *last)
{
    double here = a->y[i];
    *first = *last = i;
    while (*first > 0 && (!good(a, *first - 1) || fabs(a->y[*first - 1] - here) < near))
        --*first;
    while (*last + 1 < a->count && (!good(a, *last + 1) || fabs(a->y[*last + 1] - here) < near))
        ++*last;
}

static size_t count_near(const struct es_series *a, size_t first, size_t last, double at, double within)
{
    size_t n = 0;
    for (size_t k = first; k <= last; k++)
        n += good(a, k) && fabs(a->y[k] - at) <= within;
    return n;
}

static struct turn turn_at(const struct es_sweep *s, const struct es_series *a, size_t point, int side,
                           double noise)
{
    struct turn t = {s->points[point].angle, 1};
    double sign = side ? 1 : -1, near = fmax(NEAR_TURN * (s->most - s->least), 2 * SCATTER * noise);
    size_t i = reading_at(a, s->points[point].t, sign), first, last;
    if (!good(a, i))
        return t;
    neighbours(a, i, near, &first, &last);
    double furthest = a->y[i], sum = 0;
    for (size_t k = first; k <= last; k++)
        if (good(a, k) && sign * (a->y[k] - furthest) > 0)
            furthest = a->y[k];
    double within = SCATTER * noise;
    if (count_near(a, first, last, furthest, within) < FEW)
        within = ALIKE * noise;
    t.n = count_near(a, first, last, furthest, within);
    for (size_t k = first; k <= last; k++)
        if (good(a, k) && fabs(a->y[k] - furthest) <= within)
            sum += a->y[k] - furthest;
    t.at = furthest + sum / (double)t.n;
    return t;
}

/* Of the turns on one side the one that `sign` puts last, together with those that are at the same place. */
static struct es_sweep_end end_of(const struct turn *turns, size_t n, double sign, double noise, double q)
{
    double last = turns[0].at, sum = 0;
    size_t readings = 0;
    for (size_t i = 1; i < n; i++)
        last = sign * (turns[i].at - last) > 0 ? turns[i].at : last;
    for (size_t i = 0; i < n; i++)
        if (fabs(turns[i].at - last) <= ALIKE * noise) {
            sum += (double)turns[i].n * (turns[i].at - last);
            readings += turns[i].n;
        }
    return (struct es_sweep_end){last + sum / (double)readings,
                                 hypot(noise / sqrt((double)readings), es_resolution_u(q, noise))};
}

void es_sweep_turns_of(const struct es_sweep *s, const struct es_series *angle, double noise,
                       struct es_sweep_turns *out)
{
    struct turn turns[2][ES_SWEEP_MAX_LEGS + 1];
    size_t count[2] = {0, 0};
    for (size_t k = 1; k < s->leg_count; k++) {
        int side = s->legs[k].direction < 0; /* a leg that falls begins at the high end */
        turns[side][count[side]++] = turn_at(s, angle, s->legs[k].first, side, noise);
    }
    const struct es_sweep_leg *begin = &s->legs[0], *end = &s->legs[s->leg_count - 1];
    for (int side = 0; side < 2; side++) {
        double sign = side ? 1 : -1;
        if (count[side] == 0 && (begin->direction < 0) == (side == 1))
            turns[side][count[side]++] = turn_at(s, angle, begin->first, side, noise);
        if (count[side] == 0)
            turns[side][count[side]++] = turn_at(s, angle, end->last, side, noise);
        out->common[side] = end_of(turns[side], count[side], -sign, noise, angle->u.resolution);
        out->most[side] = end_of(turns[side], count[side], sign, noise, angle->u.resolution);
    }
}

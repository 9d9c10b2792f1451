#include "procedures/measures/sweep_dense.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/sweep_faults.h"

#define BLOCKS 20000 /* of a series: 2,000 and more in a leg of two round trips at two speeds */

/* First reading of block b of n readings in `blocks`, as es_block_means has them. */
static size_t block_start(size_t n, size_t blocks, size_t b)
{
    return b * (n / blocks) + b * (n % blocks) / blocks;
}

static enum es_status series_new(const struct es_series *of, size_t count, struct es_series *out,
                                 struct es_error *err)
{
    *out = *of;
    out->low = out->high = 0; /* looked at in the readings themselves */
    out->count = count;
    out->t = malloc(count * sizeof *out->t);
    out->y = malloc(count * sizeof *out->y);
    out->quality = calloc(count, sizeof *out->quality);
    if (!out->t || !out->y || !out->quality)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", count);
    return ES_OK;
}

static enum es_status thin_angle(const struct es_series *angle, struct es_series *out, char text[static 160],
                                 struct es_error *err)
{
    struct es_samples all;
    char why[160];
    enum es_status status = es_samples_take(angle, -INFINITY, INFINITY, &all, err);
    if (status != ES_OK)
        return status;
    const char *unfit = es_samples_unfit(&all, 1, why);
    size_t blocks = all.n < BLOCKS ? all.n : BLOCKS;
    if (unfit)
        snprintf(text, 160, "reference: %s", unfit);
    else if ((status = series_new(angle, blocks, out, err)) == ES_OK) {
        es_block_means(all.t, all.n, blocks, out->t);
        es_block_means(all.y, all.n, blocks, out->y);
    }
    es_samples_free(&all);
    return status;
}

static enum es_status thin_sensor(const struct es_series *sensor, struct es_series *out, struct es_error *err)
{
    size_t n = sensor->count, blocks = BLOCKS;
    enum es_status status = series_new(sensor, blocks, out, err);
    if (status != ES_OK)
        return status;
    es_block_means(sensor->t, n, blocks, out->t);
    es_block_means(sensor->y, n, blocks, out->y);
    bool good = es_all_zero(sensor->quality, n);
    for (size_t b = 0; b < blocks; b++) {
        size_t first = block_start(n, blocks, b), end = block_start(n, blocks, b + 1);
        if (!isfinite(out->y[b]) || (!good && !es_all_zero(sensor->quality + first, end - first)))
            out->quality[b] = ES_FAILED;
    }
    return ES_OK;
}

enum es_status es_sweep_thin(const struct es_series *angle, const struct es_series *sensor,
                             struct es_sweep_dense *out, char text[static 160], struct es_error *err)
{
    memset(out, 0, sizeof *out);
    out->readings = sensor;
    out->per_block = (double)sensor->count / BLOCKS;
    text[0] = '\0';
    if (es_samples_clipped(sensor, -INFINITY, INFINITY, text))
        return ES_OK;
    enum es_status status = thin_angle(angle, &out->angle, text, err);
    return status == ES_OK && !text[0] ? thin_sensor(sensor, &out->sensor, err) : status;
}

static void series_free(struct es_series *s)
{
    free(s->t);
    free(s->y);
    free(s->quality);
}

void es_sweep_dense_free(struct es_sweep_dense *d)
{
    series_free(&d->angle);
    series_free(&d->sensor);
    memset(d, 0, sizeof *d);
}

/* ---- Single readings ---- */

struct look {
    const struct es_sweep *s;
    const struct es_series *readings;
    bool good;         /* all of them */
    double low, high;  /* rad */
    double *work;      /* one a block */
    unsigned char *in; /* blocks whose readings stand for themselves */
    double cut[ES_SWEEP_MAX_LEGS];
};

static bool inside(const struct look *l, size_t b)
{
    const struct es_sweep_point *p = &l->s->points[b];
    return p->paired && p->angle >= l->low && p->angle <= l->high;
}

static double course(const struct look *l, const struct es_sweep_leg *leg, double angle)
{
    return es_sweep_course_at(leg, l->low, l->high, angle);
}

/* The course where a block begins (side 0) or ends (1), half-way to its neighbour. */
static double at_edge(const struct look *l, const struct es_sweep_leg *leg, size_t b, int side)
{
    const struct es_sweep_point *p = &l->s->points[b];
    size_t next = side ? b + 1 : b - 1; /* beyond the first: very large */
    bool there = next < l->s->n && l->s->points[next].paired;
    return course(l, leg, there ? 0.5 * (p->angle + l->s->points[next].angle) : p->angle);
}

/* Readings off the line from c0 to c1 by more than `cut`, or no number. */
static size_t count_off(const double *y, size_t n, double c0, double c1, double cut)
{
    double step = (c1 - c0) / (double)n, from = c0 + 0.5 * step;
    size_t off = 0;
    for (size_t i = 0; i < n; i++)
        off += !(fabs(y[i] - from - step * (double)i) <= cut);
    return off;
}

/* Noise of one reading about the leg's course, from one reading of each block. */
static double noise_in(const struct look *l, const struct es_sweep_leg *leg)
{
    size_t n = 0, count = l->readings->count, blocks = l->s->n;
    for (size_t b = leg->first; b <= leg->last; b++) {
        size_t first = block_start(count, blocks, b), end = block_start(count, blocks, b + 1);
        if (!inside(l, b) || l->s->points[b].odd || !l->s->points[b].good)
            continue;
        double off = l->readings->y[first] - at_edge(l, leg, b, 0); /* half a reading's way from the edge */
        double way = (at_edge(l, leg, b, 1) - at_edge(l, leg, b, 0)) / (double)(end - first);
        l->work[n++] = fabs(off - 0.5 * way);
    }
    return n ? 1.4826 * es_median(l->work, n) : 0;
}

static bool is_broken(const struct look *l, const struct es_sweep_leg *leg, size_t b, double cut)
{
    size_t first = block_start(l->readings->count, l->s->n, b);
    size_t n = block_start(l->readings->count, l->s->n, b + 1) - first;
    if (!l->good && !es_all_zero(l->readings->quality + first, n))
        return true;
    return count_off(l->readings->y + first, n, at_edge(l, leg, b, 0), at_edge(l, leg, b, 1), cut) > 0;
}

/* Marks the blocks to be taken apart: those with an odd reading, and the neighbours that its run reaches half
 * way to. Returns the noise of a reading, the largest of the legs'. */
static double find_broken(struct look *l, double deviation)
{
    double most = 0;
    for (size_t k = 0; k < l->s->leg_count; k++) {
        const struct es_sweep_leg *leg = &l->s->legs[k];
        double noise = noise_in(l, leg);
        l->cut[k] = fmax(deviation, 6 * noise);
        most = fmax(most, noise);
        for (size_t b = leg->first; b <= leg->last; b++) {
            if (!inside(l, b) || !is_broken(l, leg, b, l->cut[k]))
                continue;
            for (size_t near = b > 0 ? b - 1 : 0; near <= b + 1 && near < l->s->n; near++)
                l->in[near] = 1;
        }
    }
    return most;
}

/* Angle at a time, from the blocks' own about b; paired only where they are. */
static void place(const struct es_sweep *s, size_t b, struct es_sweep_point *p)
{
    size_t other = p->t < s->points[b].t ? b - 1 : b + 1;
    const struct es_sweep_point *here = &s->points[b], *there = &s->points[other < s->n ? other : b];
    double step = there->t - here->t;
    p->paired = here->paired && there->paired;
    p->angle = here->angle + (step != 0 ? (p->t - here->t) / step * (there->angle - here->angle) : 0);
}

static size_t leg_of(const struct es_sweep *s, size_t b, size_t before)
{
    while (before + 1 < s->leg_count && b > s->legs[before].last)
        before++;
    return before;
}

/* The readings of block b as points; returns how many. */
static size_t take_apart(const struct look *l, size_t b, size_t k, double delay, struct es_sweep_point *out)
{
    const struct es_series *r = l->readings;
    size_t first = block_start(r->count, l->s->n, b), end = block_start(r->count, l->s->n, b + 1);
    for (size_t i = first; i < end; i++) {
        struct es_sweep_point *p = &out[i - first];
        *p = (struct es_sweep_point){.t = r->t[i] - delay, .sample = i};
        place(l->s, b, p);
        p->good = r->quality[i] == ES_GOOD && isfinite(r->y[i]);
        p->ratio = p->good ? r->y[i] : NAN;
        double off = p->good ? fabs(p->ratio - course(l, &l->s->legs[k], p->angle)) : INFINITY;
        p->odd = p->paired && p->angle >= l->low && p->angle <= l->high && off > l->cut[k];
    }
    return end - first;
}

/* The same sweep with the marked blocks taken apart. */
static enum es_status rebuild(struct es_sweep *s, const struct look *l, double delay, struct es_error *err)
{
    size_t blocks = s->n, room = blocks, k = 0, n = 0;
    struct es_sweep_leg legs[ES_SWEEP_MAX_LEGS];
    for (size_t b = 0; b < blocks; b++)
        room += l->in[b] ? block_start(l->readings->count, blocks, b + 1) -
                               block_start(l->readings->count, blocks, b)
                         : 0;
    struct es_sweep_point *points = malloc((room + 1) * sizeof *points);
    if (!points)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", room);
    memcpy(legs, s->legs, sizeof legs);
    for (size_t b = 0; b < blocks; b++) {
        size_t begin = n;
        k = leg_of(s, b, k);
        if (l->in[b]) {
            n += take_apart(l, b, k, delay, points + n);
        } else {
            points[n] = s->points[b];
            points[n].odd = false;
            points[n++].sample = block_start(l->readings->count, blocks, b);
        }
        for (size_t i = 0; i < s->leg_count; i++) {
            if (s->legs[i].first == b)
                legs[i].first = begin;
            if (s->legs[i].last == b)
                legs[i].last = n - 1;
        }
    }
    free(s->points);
    s->points = points;
    s->n = n;
    memcpy(s->legs, legs, sizeof legs);
    return es_sweep_bound(s, err);
}

enum es_status es_sweep_refine(struct es_sweep *s, const struct es_sweep_dense *d, double low, double high,
                               double deviation, double *noise, char text[static 160], struct es_error *err)
{
    struct look l = {.s = s, .readings = d->readings, .low = low, .high = high};
    l.good = es_all_zero(d->readings->quality, d->readings->count);
    l.work = malloc((s->n + 1) * sizeof *l.work);
    l.in = calloc(s->n + 1, 1);
    enum es_status status = ES_OK;
    if (!l.work || !l.in)
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
    if (status == ES_OK) {
        *noise = find_broken(&l, deviation);
        es_sweep_judge_noise(*noise, deviation, text);
        double delay = d->sensor.t[0] - s->points[0].t;
        status = rebuild(s, &l, delay, err);
        s->interval /= d->per_block;
        s->sample_angle /= d->per_block;
    }
    free(l.work);
    free(l.in);
    return status;
}

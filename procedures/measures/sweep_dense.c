#include "procedures/measures/sweep_dense.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/sweep_faults.h"

#define LEAST_BLOCKS 5000 /* of a series */
#define MOST_BLOCKS  20000
#define IN_FASTEST   500  /* blocks in the fastest leg: the shipped procedure's own readings there are 250 */
#define LOOKS        1000 /* readings that tell how fast that is */

/* In how many blocks. */
static size_t blocks_for(const struct es_series *angle)
{
    size_t stride = 1 + angle->count / LOOKS, looks = 0;
    double least = INFINITY, most = -INFINITY, before = NAN, fastest = 0;
    for (size_t i = 0; i < angle->count; i += stride) {
        bool good = angle->quality[i] == ES_GOOD && isfinite(angle->y[i]);
        double now = good ? angle->y[i] : NAN;
        least = now < least ? now : least;
        most = now > most ? now : most;
        fastest = fabs(now - before) > fastest ? fabs(now - before) : fastest;
        before = now;
        looks++;
    }
    double blocks = IN_FASTEST * (double)looks * fastest / (most - least);
    return (size_t)fmin(fmax(blocks, LEAST_BLOCKS), MOST_BLOCKS); /* of no number the least */
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

/* Mean times of the blocks; even ones need not be read for it. */
static void mean_times(const double *t, size_t n, bool even, size_t blocks, double *out)
{
    if (!even) {
        es_block_means(t, n, blocks, out);
        return;
    }
    double step = (t[n - 1] - t[0]) / (double)(n - 1);
    size_t first = 0;
    for (size_t b = 0; b < blocks; b++) {
        size_t end = es_block_start(n, blocks, b + 1);
        out[b] = t[0] + 0.5 * (double)(first + end - 1) * step;
        first = end;
    }
}

static enum es_status thin_angle(const struct es_series *angle, size_t blocks, struct es_series *out,
                                 char text[static 160], struct es_error *err)
{
    struct es_samples all = {0};
    char why[160];
    const char *unfit = NULL;
    enum es_status status = series_new(angle, blocks, out, err);
    if (status != ES_OK)
        return status;
    struct es_scan scan =
        es_scan_and_block_means(angle->t, angle->y, angle->quality, angle->count, blocks, out->y);
    if ((status = es_samples_take_scanned(angle, &scan, &all, err)) != ES_OK)
        return status;
    if ((unfit = es_samples_unfit(&all, 1, why)))
        snprintf(text, 160, "reference: %s", unfit);
    else if (!scan.good) {
        out->count = all.n < blocks ? all.n : blocks;
        es_block_means(all.y, all.n, out->count, out->y);
    }
    if (!unfit)
        mean_times(all.t, all.n, all.even, out->count, out->t);
    es_samples_free(&all);
    return ES_OK;
}

static enum es_status thin_sensor(const struct es_series *sensor, size_t blocks, struct es_sweep_dense *d,
                                  char text[static 160], struct es_error *err)
{
    size_t n = sensor->count;
    struct es_series *out = &d->sensor;
    enum es_status status = series_new(sensor, blocks, out, err);
    if (status != ES_OK)
        return status;
    struct es_scan scan = es_scan_and_block_means(sensor->t, sensor->y, sensor->quality, n, blocks, out->y);
    bool clear = scan.good && !es_at_end(sensor, scan.y.least) && !es_at_end(sensor, scan.y.most);
    if (!clear && es_samples_clipped(sensor, -INFINITY, INFINITY, text))
        return ES_OK;
    mean_times(sensor->t, n, es_are_even(sensor->t, n, scan.steps), blocks, out->t);
    d->good = scan.good;
    for (size_t b = 0; b < blocks && !scan.good; b++) {
        size_t first = es_block_start(n, blocks, b), end = es_block_start(n, blocks, b + 1);
        if (!isfinite(out->y[b]) || !es_all_zero(sensor->quality + first, end - first))
            out->quality[b] = ES_FAILED;
    }
    return ES_OK;
}

enum es_status es_sweep_thin(const struct es_series *angle, const struct es_series *sensor,
                             struct es_sweep_dense *out, char text[static 160], struct es_error *err)
{
    memset(out, 0, sizeof *out);
    text[0] = '\0';
    size_t blocks = blocks_for(angle);
    out->readings = sensor;
    out->per_block = (double)sensor->count / (double)blocks;
    enum es_status status = thin_sensor(sensor, blocks, out, text, err);
    if (status == ES_OK && !text[0] && angle->count == 0)
        snprintf(text, 160, "reference: too few good samples: 0");
    else if (status == ES_OK && !text[0])
        status = thin_angle(angle, angle->count < blocks ? angle->count : blocks, &out->angle, text, err);
    return status;
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

enum readings { CLEAN, SOME_ODD, ALL_ODD }; /* of a block */

struct look {
    const struct es_sweep *s;
    const struct es_sweep_dense *d;
    double low, high;    /* rad */
    double *work;        /* one a block, as all these: */
    double *begin, *end; /* the leg's course where the block begins and ends, half-way to its neighbours */
    size_t *off;         /* readings off it */
    unsigned char *has;  /* enum readings */
    unsigned char *in;   /* readings stand for themselves */
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

/* The course at the edges of a leg's blocks: each is where one ends and the next begins. */
static void find_edges(struct look *l, const struct es_sweep_leg *leg)
{
    const struct es_sweep_point *p = l->s->points;
    for (size_t b = leg->first; b <= leg->last + 1; b++) {
        bool before = b > 0 && p[b - 1].paired, here = b < l->s->n && p[b].paired;
        if (!before && !here)
            continue;
        double angle = before && here ? 0.5 * (p[b - 1].angle + p[b].angle)
                       : here         ? p[b].angle
                                      : p[b - 1].angle;
        double at = course(l, leg, angle);
        if (b > leg->first)
            l->end[b - 1] = at;
        if (b <= leg->last)
            l->begin[b] = at;
    }
}

/* Noise of one reading about the leg's course, from one reading of each block. */
static double noise_in(const struct look *l, const struct es_sweep_leg *leg)
{
    const struct es_series *r = l->d->readings;
    size_t n = 0, first = es_block_start(r->count, l->s->n, leg->first);
    for (size_t b = leg->first; b <= leg->last; b++) {
        size_t here = first;
        first = es_block_start(r->count, l->s->n, b + 1);
        if (!inside(l, b) || l->s->points[b].odd || !l->s->points[b].good)
            continue;
        double way = (l->end[b] - l->begin[b]) / (double)(first - here);
        l->work[n++] = fabs(r->y[here] - l->begin[b] - 0.5 * way); /* half a reading's way from the edge */
    }
    return n ? 1.4826 * es_median(l->work, n) : 0;
}

static enum readings readings_of(const struct look *l, size_t b)
{
    const struct es_series *r = l->d->readings;
    size_t first = es_block_start(r->count, l->s->n, b), n = es_block_start(r->count, l->s->n, b + 1) - first;
    if (!l->d->good && !es_all_zero(r->quality + first, n))
        return SOME_ODD; /* looked at one by one */
    return l->off[b] == 0 ? CLEAN : l->off[b] < n ? SOME_ODD : ALL_ODD;
}

/* Finds the blocks with odd readings. Returns the noise of a reading, the largest of the legs'. */
static double find_broken(struct look *l, double deviation)
{
    const struct es_series *r = l->d->readings;
    double most = 0;
    for (size_t k = 0; k < l->s->leg_count; k++) {
        const struct es_sweep_leg *leg = &l->s->legs[k];
        size_t first = leg->first;
        find_edges(l, leg);
        double noise = noise_in(l, leg);
        l->cut[k] = fmax(deviation, 6 * noise);
        most = fmax(most, noise);
        es_count_off(r->y, r->count, l->s->n, first, leg->last + 1, l->begin + first, l->end + first,
                     l->cut[k], l->off + first);
        for (size_t b = first; b <= leg->last; b++)
            if (inside(l, b))
                l->has[b] = (unsigned char)readings_of(l, b);
    }
    return most;
}

/* Marks the blocks to be taken apart: those with an odd reading, and the neighbours that its run reaches half
 * way to; but not those in the midst of a run. */
static void find_apart(struct look *l)
{
    for (size_t b = 0; b < l->s->n; b++) {
        size_t before = b > 0 ? b - 1 : b, after = b + 1 < l->s->n ? b + 1 : b;
        bool any = l->has[before] || l->has[b] || l->has[after];
        bool all = l->has[before] == ALL_ODD && l->has[b] == ALL_ODD && l->has[after] == ALL_ODD;
        l->in[b] = any && !all;
    }
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
    const struct es_series *r = l->d->readings;
    size_t first = es_block_start(r->count, l->s->n, b), end = es_block_start(r->count, l->s->n, b + 1);
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
    size_t blocks = s->n, room = blocks, k = 0, n = 0, readings = l->d->readings->count;
    struct es_sweep_leg legs[ES_SWEEP_MAX_LEGS];
    for (size_t b = 0; b < blocks; b++)
        room += l->in[b] ? readings / blocks + 1 : 0;
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
            points[n].odd = l->has[b] == ALL_ODD;
            points[n++].sample = es_block_start(readings, blocks, b);
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
    struct look l = {.s = s, .d = d, .low = low, .high = high};
    l.work = calloc(3 * s->n + 1, sizeof *l.work);
    l.off = calloc(s->n + 1, sizeof *l.off);
    l.has = calloc(2 * s->n + 1, 1);
    enum es_status status = ES_OK;
    if (!l.work || !l.off || !l.has)
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
    if (status == ES_OK) {
        l.begin = l.work + s->n;
        l.end = l.begin + s->n;
        l.in = l.has + s->n;
        *noise = find_broken(&l, deviation);
        find_apart(&l);
        es_sweep_judge_noise(*noise, deviation, text);
        double delay = d->sensor.t[0] - s->points[0].t;
        status = rebuild(s, &l, delay, err);
        s->interval /= d->per_block;
        s->sample_angle /= d->per_block;
    }
    free(l.work);
    free(l.off);
    free(l.has);
    return status;
}

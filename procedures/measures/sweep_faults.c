#include "procedures/measures/sweep_faults.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/sweep_curve.h"

#define BINS   ES_SWEEP_BINS
#define AROUND 3 /* bins on each side for the roughness */
#define EDGE                                                                                                 \
    3 /* bins at each end that do not tell roughness: there play is taken up after the turn, and the         \
       * readings at rest share one error of the reference */
#define DEGREE 4   /* of a leg's smooth course */
#define SURE   4.0 /* standard uncertainties for a reversal: one in 10^4 by chance */

static bool inside(const struct es_sweep_point *p, double low, double high)
{
    return p->paired && p->angle >= low && p->angle <= high;
}

/* A leg's smooth course, by least squares on what is not odd; returns false when too little is left. */
static bool smooth_course(const struct es_sweep *s, const struct es_sweep_leg *leg, double low, double high,
                          double *work, struct es_fit *f)
{
    size_t n = es_sweep_gather(s, leg, low, high, false, work, work + s->n);
    return n > 4 * (DEGREE + 1) &&
           es_polynomial_fit(work, work + s->n, n, DEGREE, 0.5 * (low + high), 0.5 * (high - low), f);
}

/* Marks again from a course; returns the robust noise of the rest. `changed`: a mark did. */
static double mark(struct es_sweep *s, const struct es_sweep_leg *leg, double low, double high,
                   const struct es_fit *f, double cut, double *work, bool *changed)
{
    double middle = 0.5 * (low + high), half = 0.5 * (high - low);
    size_t n = 0;
    *changed = false;
    for (size_t i = leg->first; i <= leg->last; i++) {
        struct es_sweep_point *p = &s->points[i];
        if (!inside(p, low, high))
            continue;
        double off = p->good ? fabs(p->ratio - es_polynomial_at(f, middle, half, p->angle)) : INFINITY;
        bool odd = off > cut;
        *changed |= odd != p->odd;
        p->odd = odd;
        if (p->good)
            work[n++] = off;
    }
    return 1.4826 * es_median(work, n);
}

/* Marks the odd ones of one leg; false when too little is left of it. */
static bool find_odd_in(struct es_sweep *s, struct es_sweep_leg *leg, double low, double high,
                        double deviation, double *work, double *spread)
{
    double cut = INFINITY;
    for (int pass = 0; pass < 8; pass++) { /* the worst go first, then the cut closes in */
        struct es_fit f;
        bool changed;
        if (!smooth_course(s, leg, low, high, work, &f))
            return false;
        *spread = mark(s, leg, low, high, &f, cut, work, &changed);
        memcpy(leg->course, f.b, sizeof leg->course);
        double next = fmax(deviation, 6 * *spread);
        if (!changed && next == cut) /* all further passes would be this one again */
            break;
        cut = next;
    }
    return true;
}

void es_sweep_judge_noise(double noise, double deviation, char text[static 160])
{
    if (6 * noise > 3 * deviation)
        snprintf(text, 160, "noise hides dropouts: %.3f %% against a deviation of %.3f %%", 100 * noise,
                 100 * deviation);
}

double es_sweep_course_at(const struct es_sweep_leg *leg, double low, double high, double angle)
{
    double u = (angle - 0.5 * (low + high)) / (0.5 * (high - low)), v = 0;
    for (size_t j = DEGREE + 1; j-- > 0;)
        v = v * u + leg->course[j];
    return v;
}

enum es_status es_sweep_find_odd(struct es_sweep *s, double low, double high, double deviation, double *noise,
                                 char text[static 160], struct es_error *err)
{
    double *work = malloc((2 * s->n + 1) * sizeof *work);
    if (!work)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", s->n);
    text[0] = '\0';
    *noise = 0;
    for (size_t k = 0; k < s->leg_count && !text[0]; k++) {
        double spread = 0;
        if (!find_odd_in(s, &s->legs[k], low, high, deviation, work, &spread))
            snprintf(text, 160, "leg %zu has too few good readings that agree", k + 1);
        *noise = fmax(*noise, spread);
    }
    if (!text[0])
        es_sweep_judge_noise(*noise, deviation, text);
    free(work);
    return ES_OK;
}

static void add_to(struct es_sweep_dropout *o, double from, double to, const struct es_sweep_leg *leg)
{
    int w = leg->direction > 0;
    double weight = 1 / (leg->speed * leg->speed), width = 0, all = 0;
    o->weight[w] += weight;
    o->sum_from[w] += weight * from;
    o->sum_to[w] += weight * to;
    o->legs++;
    o->from = INFINITY;
    o->to = -INFINITY;
    for (int d = 0; d < 2; d++) {
        if (o->weight[d] == 0)
            continue;
        o->from = fmin(o->from, o->sum_from[d] / o->weight[d]);
        o->to = fmax(o->to, o->sum_to[d] / o->weight[d]);
        width += o->sum_to[d] - o->sum_from[d];
        all += o->weight[d];
    }
    o->width = width / all;
}

static void add_dropout(struct es_sweep_faults *out, double from, double to, size_t point, double near,
                        const struct es_sweep_leg *leg)
{
    size_t d = 0;
    while (d < out->dropout_count && (to < out->dropouts[d].from - near || from > out->dropouts[d].to + near))
        d++;
    if (d == ES_SWEEP_MAX_DROPOUTS)
        return;
    if (d == out->dropout_count) {
        out->dropout_count++;
        out->dropouts[d] = (struct es_sweep_dropout){.point = point};
    }
    add_to(&out->dropouts[d], from, to, leg);
}

/* Runs of odd points in one leg; each reaches half-way to its good neighbours. */
static void dropouts_of_leg(const struct es_sweep *s, const struct es_sweep_leg *leg, double low, double high,
                            double near, struct es_sweep_faults *out)
{
    double before = NAN, from = NAN, last = NAN;
    size_t point = 0;
    for (size_t i = leg->first; i <= leg->last + 1; i++) {
        bool end = i > leg->last;
        const struct es_sweep_point *p = &s->points[end ? leg->last : i];
        if (!end && !inside(p, low, high))
            continue;
        bool odd = !end && (p->odd || !p->good);
        if (odd && isnan(from)) {
            from = isnan(before) ? p->angle : 0.5 * (before + p->angle);
            point = p->sample;
        }
        if (odd)
            last = p->angle;
        if (!odd && !isnan(from)) {
            double to = end ? last : 0.5 * (last + p->angle);
            add_dropout(out, fmin(from, to), fmax(from, to), point, near, leg);
            from = NAN;
        }
        before = p->angle;
    }
}

/* Mean reading in each bin, carried to its middle, both directions weighing the same. */
struct bins {
    double mean[BINS], u[BINS], width;
    double off[BINS]; /* of the readings' mean angle from the middle, in bins */
    bool known[BINS];
};

static void fill_bins(const struct es_sweep *s, double low, double high, double slope, double noise,
                      struct bins *b)
{
    double sum[2][BINS] = {{0}}, off[2][BINS] = {{0}};
    size_t n[2][BINS] = {{0}};
    b->width = (high - low) / BINS;
    for (size_t k = 0; k < s->leg_count; k++) {
        const struct es_sweep_leg *leg = &s->legs[k];
        int w = leg->direction > 0;
        for (size_t i = leg->first; i <= leg->last; i++) {
            const struct es_sweep_point *p = &s->points[i];
            if (!inside(p, low, high) || !p->good || p->odd)
                continue;
            size_t j = (size_t)fmin((p->angle - low) / b->width, BINS - 1);
            double away = p->angle - (low + ((double)j + 0.5) * b->width);
            sum[w][j] += p->ratio - slope * away;
            off[w][j] += away / b->width;
            n[w][j]++;
        }
    }
    for (size_t j = 0; j < BINS; j++) {
        b->known[j] = n[0][j] && n[1][j];
        if (!b->known[j])
            continue;
        double a = (double)n[0][j], c = (double)n[1][j];
        b->mean[j] = 0.5 * (sum[0][j] / a + sum[1][j] / c);
        b->off[j] = 0.5 * (off[0][j] / a + off[1][j] / c);
        b->u[j] = 0.5 * noise * sqrt(1 / a + 1 / c);
    }
}

/* Departure of a bin from the parabola through its surroundings, and its noise. A parabola, because the bend
 * of a smooth track is no roughness. NAN where too little is known. */
static double departure(const struct bins *b, double slope, size_t j, double *u)
{
    double x[2 * AROUND], y[2 * AROUND], noise[2 * AROUND], square;
    size_t n = 0;
    for (size_t i = j - AROUND; i <= j + AROUND; i++)
        if (i != j && b->known[i] && i >= EDGE && i + EDGE < BINS) {
            double bins = (double)i - (double)j;
            x[n] = (bins + b->off[i] - b->off[j]) / AROUND;
            noise[n] = b->u[i];
            y[n++] = b->mean[i] - slope * bins * b->width;
        }
    struct es_fit f;
    if (!b->known[j] || n < AROUND + 2 || !es_polynomial_fit(x, y, n, 2, 0, 1, &f))
        return NAN;
    square = b->u[j] * b->u[j];
    for (size_t i = 0; i < n; i++) { /* share of each in the parabola's value at j */
        double share = f.cov[0][0] + f.cov[0][1] * x[i] + f.cov[0][2] * x[i] * x[i];
        square += share * share * noise[i] * noise[i];
    }
    *u = sqrt(square);
    return fabs(b->mean[j] - f.b[0]);
}

static void judge_bins(const struct bins *b, double slope, double resolution, struct es_sweep_faults *out)
{
    bool backwards = false;
    for (size_t j = 1; j < BINS; j++) {
        if (!b->known[j] || !b->known[j - 1])
            continue;
        double step = (b->mean[j] - b->mean[j - 1]) * copysign(1, slope);
        bool now = step < -(SURE * hypot(b->u[j], b->u[j - 1]) + resolution);
        if (now && !backwards)
            out->reversals++;
        backwards = now;
    }
    for (size_t j = AROUND; j + AROUND < BINS; j++) {
        double u, off = departure(b, slope, j, &u);
        if (!isfinite(off))
            continue;
        out->u_rough[out->rough_count++] = u;
        if (off >= out->roughness) {
            out->roughness = off;
            out->u_roughness = u;
        }
    }
}

/* Where the reading passes its bounds near the two ends, by the slope from the last bin beyond them. */
static void bounded(const struct bins *b, double low, double high, double reading_low, double reading_high,
                    double slope, double *first, double *last)
{
    *first = low;
    *last = high;
    for (size_t j = 0; j < BINS; j++) {
        double over = b->mean[j] < reading_low ? reading_low : reading_high;
        if (!b->known[j] || (b->mean[j] >= reading_low && b->mean[j] <= reading_high) || slope == 0)
            continue;
        double centre = low + ((double)j + 0.5) * b->width;
        double edge = centre + (over - b->mean[j]) / slope;
        if (centre < 0.5 * (low + high))
            *first = fmax(*first, edge);
        else
            *last = fmin(*last, edge);
    }
}

/* Widest stretch between dropouts in which the reading keeps within its bounds. */
static void usable_stretch(double first, double last, struct es_sweep_faults *out)
{
    double from = first;
    out->usable_from = out->usable_to = first;
    while (from < last) {
        double to = last, next = last;
        for (size_t d = 0; d < out->dropout_count; d++) { /* the nearest dropout ahead ends the stretch */
            const struct es_sweep_dropout *o = &out->dropouts[d];
            if (o->to > from && o->from < to) {
                to = fmax(o->from, from);
                next = o->to;
            }
        }
        if (to - from > out->usable_to - out->usable_from) {
            out->usable_from = from;
            out->usable_to = to;
        }
        if (!(next > from))
            break;
        from = next;
    }
}

enum es_status es_sweep_faults_of(const struct es_sweep *s, double low, double high, double noise,
                                  double resolution, double reading_low, double reading_high,
                                  struct es_sweep_faults *out, struct es_error *err)
{
    double about_course = out->noise;
    memset(out, 0, sizeof *out);
    out->noise = about_course;
    struct bins *b = calloc(1, sizeof *b);
    double *work = malloc((2 * s->n + 1) * sizeof *work);
    if (!b || !work) {
        free(b);
        free(work);
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
    }
    for (size_t k = 0; k < s->leg_count; k++) {
        double near = fmax(0.005 * (high - low), 2 * s->legs[k].speed * s->interval);
        dropouts_of_leg(s, &s->legs[k], low, high, near, out);
    }
    double slope = es_sweep_slope(s, low, high, work);
    slope = isfinite(slope) ? slope : 0;
    fill_bins(s, low, high, slope, isfinite(noise) ? noise : about_course, b);
    judge_bins(b, slope, resolution, out);
    double first, last;
    bounded(b, low, high, reading_low, reading_high, slope, &first, &last);
    usable_stretch(first, last, out);
    free(b);
    free(work);
    return ES_OK;
}

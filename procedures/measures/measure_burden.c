/* Burden: the voltage that a unit takes from its current loop, over the loop's range, and the least current
 * at which it takes enough to work.
 * Two-wire loops: IEC 60381-1 (title read, content from memory); range 3.8 to 20.5 mA: NAMUR NE 43 (read).
 * Terms common practice, no published source:
 *   voltage low, voltage high   at the currents `low` and `high`, from a straight line through the readings
 *                               around them
 *   largest voltage             largest mean over 0.1 s anywhere
 *   resistance                  slope of voltage over current, from `slope from` to `high`
 *   lowest operating current    least current above which the voltage stays above `least voltage`; where it
 *                               does so from the first reading on, the least current that was tried: the
 *                               true one is not higher
 * A voltage that jumps does so anywhere between two readings; where it climbs steadily the crossing is read
 * off, and what the voltage is uncertain counts by the climb. Voltage and current of one time belong together
 * (paired.h). Refused: a sweep that does not reach `low` or `high`, too few readings there, a voltage that
 * never stays above. A unit that interrupts shows as a voltage that falls below again: the last such current
 * counts. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/largest.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/paired.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/propagate.h"

enum { VOLTAGE_LOW, VOLTAGE_HIGH, LARGEST, RESISTANCE, LOWEST, OUTPUTS };
#define LEAST  8    /* readings for a line */
#define NEAR   1e-3 /* A: readings this far from an end make its line */
#define MISSED 1e-4 /* A: a sweep may fall short of an end by this much */
#define OVER   0.1  /* s: of the largest voltage */
#define FILTER 5    /* readings of a running median: one odd reading is no voltage */
#define STEADY 3    /* intervals between readings on either side that tell a climb from a jump */

struct settings {
    int current, voltage;
    double low, high, slope_from, least;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("current channel", struct settings, current, false, "loop current", "the loop's current"),
    ES_ROLE_SETTING("voltage channel", struct settings, voltage, false, "loop voltage",
                    "the voltage at the unit's terminals"),
    ES_QUANTITY_SETTING("low", struct settings, low, ES_DIM_CURRENT, 0, 0.1, "3.8 mA",
                        "current of the output \"voltage low\""),
    ES_QUANTITY_SETTING("high", struct settings, high, ES_DIM_CURRENT, 0, 0.1, "20.5 mA",
                        "current of the output \"voltage high\""),
    ES_QUANTITY_SETTING("slope from", struct settings, slope_from, ES_DIM_CURRENT, 0, 0.1, "4 mA",
                        "current from which the resistance is taken"),
    ES_QUANTITY_SETTING("least voltage", struct settings, least, ES_DIM_VOLTAGE, 0, 100, "5 V",
                        "voltage that a working unit takes at least"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [VOLTAGE_LOW] = {"voltage low", ES_DIM_VOLTAGE, "at the low end of the current"},
    [VOLTAGE_HIGH] = {"voltage high", ES_DIM_VOLTAGE, "at the high end of the current"},
    [LARGEST] = {"largest voltage", ES_DIM_VOLTAGE, "largest mean over 0.1 s"},
    [RESISTANCE] = {"resistance", ES_DIM_RESISTANCE, "slope of voltage over current"},
    [LOWEST] = {"lowest operating current", ES_DIM_CURRENT,
                "above it the voltage stays above the least voltage"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->current;
    out[1] = (enum es_role)s->voltage;
    return 2;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct settings *s = settings;
    const struct es_channel_uncertainty *i = u[s->current], *v = u[s->voltage];
    if (output == LOWEST)
        return es_expected_level_u(i, 1, s->low);
    return output == RESISTANCE ? NAN : es_expected_level_u(v, 1, 0);
}

struct point {
    double i, v;
    size_t index;
};

struct job {
    const struct settings *s;
    const struct es_series *current, *voltage;
    struct point *points; /* by rising current */
    double *x, *y;        /* room for as many */
    size_t n;
    double inflation; /* of variances by repeated and correlated readings */
};

static int by_current(const void *a, const void *b)
{
    const struct point *p = a, *q = b;
    return p->i != q->i ? (p->i > q->i) - (p->i < q->i) : (p->index > q->index) - (p->index < q->index);
}

/* Straight line through the points with from <= i <= to about `at`; false when there are too few. */
static bool line(const struct job *j, double from, double to, double at, double scale, struct es_fit *fit)
{
    size_t n = 0;
    for (size_t k = 0; k < j->n; k++)
        if (j->points[k].i >= from && j->points[k].i <= to) {
            j->x[n] = j->points[k].i;
            j->y[n++] = j->points[k].v;
        }
    return n >= LEAST && es_polynomial_fit(j->x, j->y, n, 1, at, scale, fit);
}

/* Terms of a voltage read off at current `at`, slope dv/di. */
static void voltage_terms(const struct job *j, double v, double at, double slope, double noise, double s,
                          struct es_budget *b)
{
    const struct es_channel_uncertainty *ui = &j->current->u, *uv = &j->voltage->u;
    es_budget_add(b, ES_TERM_REPEAT, noise, INFINITY);
    es_budget_add(b, ES_TERM_REPEAT, es_resolution_u(uv->resolution, s), INFINITY);
    es_channel_terms(b, uv, 1, v, 1);
    es_channel_terms(b, ui, 1, at, slope);
}

static void at_end(const struct job *j, double at, bool high, struct es_measured *m)
{
    double from = high ? at - NEAR : at - MISSED, to = high ? at + MISSED : at + NEAR;
    double reached = high ? j->points[j->n - 1].i : j->points[0].i;
    struct es_fit fit;
    if (high ? reached < at - MISSED : reached > at + MISSED) {
        es_measured_refuse(m, "the current goes %s %.2f mA only, not to %.2f mA", high ? "up to" : "down to",
                           1e3 * reached, 1e3 * at);
        return;
    }
    if (!line(j, from, to, at, NEAR, &fit)) {
        es_measured_refuse(m, "fewer than %d readings near %.2f mA", LEAST, 1e3 * at);
        return;
    }
    struct es_budget b = {0};
    double noise = fit.s * sqrt(fit.cov[0][0] * j->inflation);
    voltage_terms(j, fit.b[0], at, fit.b[1] / NEAR, noise, fit.s, &b);
    es_measured_set(m, fit.b[0], &b);
}

static void resistance(const struct job *j, double from, struct es_measured *m)
{
    double to = j->s->high + MISSED, middle = 0.5 * (from + to), half = 0.5 * (to - from);
    struct es_fit fit;
    if (!(half > 0) || !line(j, from, to, middle, half, &fit)) {
        es_measured_refuse(m, "fewer than %d readings between %.2f and %.2f mA", LEAST, 1e3 * from, 1e3 * to);
        return;
    }
    double covered = (j->points[j->n - 1].i - fmax(from, j->points[0].i)) / (2 * half);
    if (covered < 0.5) {
        es_measured_refuse(m, "the current covers only %.0f %% of the range for the resistance",
                           100 * covered);
        return;
    }
    struct es_budget b = {0};
    double r = fit.b[1] / half;
    es_budget_add(&b, ES_TERM_REPEAT, fit.s * sqrt(fit.cov[1][1] * j->inflation) / half, (double)fit.n - 2);
    es_budget_add(&b, ES_TERM_COMMON, r * hypot(j->current->u.gain, j->voltage->u.gain), INFINITY);
    es_measured_set(m, r, &b);
}

/* Median of the surroundings of point k. */
static double steady(const struct job *j, size_t k)
{
    double around[FILTER];
    size_t n = 0, first = k > FILTER / 2 ? k - FILTER / 2 : 0;
    for (size_t i = first; i < j->n && i <= k + FILTER / 2; i++)
        around[n++] = j->points[i].v;
    return es_median(around, n);
}

static bool together(const struct job *j, size_t k)
{
    const size_t at = j->points[k].index;
    return at < j->voltage->count && j->voltage->t[at] == j->current->t[at];
}

/* Means of `each` points that follow each other, those of one current as one: j->x, j->y; returns how many.
 */
static size_t means_of(const struct job *j, size_t each)
{
    size_t n = 0, in = 0;
    for (size_t k = 0, same; k < j->n; k += same) {
        double v = 0;
        for (same = 0; k + same < j->n && j->points[k + same].i == j->points[k].i; same++)
            v += j->points[k + same].v;
        j->x[n] = (in ? j->x[n] : 0) + j->points[k].i / (double)each;
        j->y[n] = (in ? j->y[n] : 0) + v / (double)same / (double)each;
        in = in + 1 == each ? 0 : in + 1;
        n += in == 0;
    }
    return n;
}

/* The last two means on either side of the least voltage, where it is climbed through and not jumped past:
 * the rise is steady over STEADY intervals on either side. *noise: of one mean, with what the climb bends. */
static bool climbs(const struct job *j, size_t n, size_t *below, double *noise)
{
    double squares = 0, previous = 0, least = INFINITY, most = -INFINITY;
    size_t k = n;
    while (k > 0 && !(j->y[k - 1] < j->s->least))
        k--;
    if (k < STEADY + 1 || k + STEADY >= n)
        return false;
    *below = k - 1;
    for (size_t i = k - 1 - STEADY; i < k + STEADY; i++) {
        double rise = j->y[i + 1] - j->y[i], slope = rise / (j->x[i + 1] - j->x[i]);
        if (i > k - 1 - STEADY)
            squares += (rise - previous) * (rise - previous);
        previous = rise;
        least = fmin(least, slope);
        most = fmax(most, slope);
    }
    /* second differences have six times the variance of one */
    *noise = sqrt(squares / (2 * STEADY) / 6);
    return least > 0 && most < 3 * least;
}

/* By the chord. What the voltage is uncertain shifts the crossing along the climb. */
static void crossed(const struct job *j, size_t below, double noise, struct es_measured *m)
{
    const struct es_channel_uncertainty *uv = &j->voltage->u;
    double run = j->x[below + 1] - j->x[below], rise = j->y[below + 1] - j->y[below], per_volt = run / rise;
    double share = (j->s->least - j->y[below]) / rise, value = j->x[below] + share * run;
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, noise * hypot(share, 1 - share) * per_volt, 2 * STEADY);
    es_budget_add(&b, ES_TERM_REPEAT, es_resolution_u(uv->resolution, noise) * per_volt, INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, es_resolution_u(j->current->u.resolution, 0), INFINITY);
    es_channel_terms(&b, uv, 1, j->s->least, per_volt);
    es_channel_terms(&b, &j->current->u, 1, value, 1);
    es_measured_set(m, value, &b);
}

/* More readings to a mean where noise hides the climb between single ones. */
static bool climbed(const struct job *j, struct es_measured *m)
{
    double noise;
    for (size_t each = 1, below; each * (2 * STEADY + 2) <= j->n; each *= 2)
        if (climbs(j, means_of(j, each), &below, &noise)) {
            crossed(j, below, noise, m);
            return true;
        }
    return false;
}

static void lowest(const struct job *j, struct es_measured *m)
{
    size_t above = 0; /* first point from which the voltage stays */
    for (size_t k = 0; k < j->n; k++)
        if (steady(j, k) < j->s->least)
            above = k + 1;
    if (above == j->n) {
        es_measured_refuse(m, "the voltage does not stay above %.1f V up to %.2f mA", j->s->least,
                           1e3 * j->points[j->n - 1].i);
        return;
    }
    size_t below = above > 0 ? above - 1 : 0;
    if (above > 0 && climbed(j, m))
        return;
    /* A voltage that was not read together with the current is taken between two readings, which may lie on
     * both sides of the jump: then one more either way. */
    if (!together(j, above) && above > 0) {
        below = below > 0 ? below - 1 : 0;
        above = above + 1 < j->n ? above + 1 : above;
    }
    double high = j->points[above].i, low = j->points[below].i;
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, es_rectangular(0.5 * (high - low)), INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, es_resolution_u(j->current->u.resolution, 0), INFINITY);
    es_channel_terms(&b, &j->current->u, 1, high, 1);
    es_measured_set(m, 0.5 * (low + high), &b);
    es_model_sum(m, &b, ES_TERM_REPEAT, 0.5 * (high - low));
}

/* Largest mean of so many readings that follow each other as OVER holds; `s`: noise of one. */
static void largest(const struct job *j, const struct es_pairs *p, double s, struct es_measured *m)
{
    double interval = (p->t[p->n - 1] - p->t[0]) / (double)(p->n - 1), most = -INFINITY;
    size_t width = interval > 0 ? (size_t)fmin(OVER / interval + 0.5, (double)p->n / 2) : 3, at = 0,
           rivals = 0;
    width = width < 3 ? 3 : width;
    for (size_t k = 0; k + width <= p->n; k++) {
        double mean = es_mean(p->b + k, width);
        if (mean > most) {
            most = mean;
            at = k;
        }
    }
    double u = s * sqrt(fmin(j->inflation, (double)width) / (double)width), excess;
    for (size_t k = 0; k + width <= p->n; k += width)
        rivals += es_mean(p->b + k, width) > most - 3 * u;
    excess = u * es_excess(rivals);
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, excess / 2, INFINITY);
    voltage_terms(j, most - excess, 0, 0, u, s, &b);
    es_measured_set(m, most - excess, &b);
    m->role = j->voltage->role;
    es_outputs_from(m, 0, 1, p->index[at], p->index[at + width - 1]);
}

/* Noise of one reading and what correlation makes of it: residuals about a parabola over the working range,
 * in order of time. */
static double noise_of(struct job *j, const struct es_pairs *p, double from)
{
    struct es_fit fit;
    double middle = 0.5 * (from + j->s->high), half = fmax(0.5 * (j->s->high - from), NEAR);
    size_t n = 0;
    for (size_t k = 0; k < p->n; k++)
        if (p->a[k] > from) {
            j->x[n] = p->a[k];
            j->y[n++] = p->b[k];
        }
    j->inflation = 1;
    if (n < LEAST || !es_polynomial_fit(j->x, j->y, n, 2, middle, half, &fit))
        return es_noise_from_differences(p->b, p->n);
    for (size_t k = 0; k < n; k++)
        j->y[k] -= es_polynomial_at(&fit, middle, half, j->x[k]);
    j->inflation = es_correlation_of(j->y, n, 3).inflation;
    return fit.s;
}

static enum es_status work(struct job *j, struct es_measured *out, struct es_error *err)
{
    struct es_pairs pairs;
    char text[160];
    enum es_status status =
        es_pairs_take(j->current, j->voltage, -INFINITY, INFINITY, 0, 2 * LEAST, &pairs, text, err);
    if (status != ES_OK)
        return status;
    if (pairs.n == 0) {
        es_outputs_refuse(out, 0, OUTPUTS, "%s", text);
        return ES_OK;
    }
    j->n = pairs.n;
    j->points = calloc(j->n, sizeof *j->points);
    j->x = calloc(j->n, sizeof *j->x);
    j->y = calloc(j->n, sizeof *j->y);
    if (!j->points || !j->x || !j->y) {
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", j->n);
        goto free_all;
    }
    for (size_t k = 0; k < j->n; k++)
        j->points[k] = (struct point){pairs.a[k], pairs.b[k], pairs.index[k]};
    qsort(j->points, j->n, sizeof *j->points, by_current);
    es_outputs_from(out, 0, OUTPUTS, pairs.index[0], pairs.index[j->n - 1]);
    lowest(j, &out[LOWEST]);
    double from = fmax(j->s->slope_from, out[LOWEST].valid ? out[LOWEST].value : 0);
    double noise = noise_of(j, &pairs, from);
    at_end(j, j->s->low, false, &out[VOLTAGE_LOW]);
    at_end(j, j->s->high, true, &out[VOLTAGE_HIGH]);
    resistance(j, from, &out[RESISTANCE]);
    largest(j, &pairs, noise, &out[LARGEST]);
free_all:
    free(j->points);
    free(j->x);
    free(j->y);
    es_pairs_free(&pairs);
    return status;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    struct job j = {.s = s,
                    .current = es_trace_series(traces[0], (enum es_role)s->current),
                    .voltage = es_trace_series(traces[0], (enum es_role)s->voltage)};
    es_outputs_start(outputs, OUTPUTS, ES_DIM_NUMBER, (enum es_role)s->current, out);
    if (!j.current || !j.voltage) {
        es_outputs_refuse(out, 0, OUTPUTS, "the recording has no series of the %s",
                          es_role_info((enum es_role)(j.current ? s->voltage : s->current))->name);
        return ES_OK;
    }
    return work(&j, out, err);
}

const struct es_measure es_measure_burden = {
    .name = "burden",
    .meaning = "what a unit takes from its current loop, and the least current it works with",
    .source = "range: NAMUR NE 43; common practice, no published source",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .settings = rows,
    .setting_count = sizeof rows / sizeof rows[0],
    .setting_size = sizeof(struct settings),
    .outputs = outputs,
    .output_count = OUTPUTS,
    .roles = roles,
    .rate_needed = es_rate_any,
    .expected_u = expected_u,
    .evaluate = evaluate,
};

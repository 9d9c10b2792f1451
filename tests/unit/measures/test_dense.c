/* Long and dense recordings: the same numbers as by plain loops, and figures that do not depend on how many
 * samples there are. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/samples.h"
#include "tests/unit/measures/synthetic.h"

enum { MANY = 20011 }; /* no multiple of any chunk */

static double t[MANY], y[MANY], work[MANY];

static void fill(uint64_t seed)
{
    for (int i = 0; i < MANY; i++) {
        t[i] = 0.001 * (i + 0.5 * syn_uniform(&seed));
        y[i] = 100 + 0.3 * t[i] + syn_normal(&seed);
    }
}

Test(dense, line_and_products_as_by_plain_loops)
{
    fill(3);
    for (size_t n = 3; n < MANY; n = 2 * n + 1) {
        struct es_line l = es_line_through(t, y, n, NULL);
        es_line_products(t, y, 0, n, &l, NULL);
        double st = 0, sy = 0, sxx = 0, sxy = 0, square = 0, one = 0, two = 0;
        for (size_t i = 0; i < n; i++) {
            st += t[i] / (double)n;
            sy += y[i] / (double)n;
        }
        for (size_t i = 0; i < n; i++) {
            sxx += (t[i] - st) * (t[i] - st);
            sxy += (t[i] - st) * (y[i] - sy);
        }
        for (size_t i = 0; i < n; i++) {
            work[i] = y[i] - sy - sxy / sxx * (t[i] - st);
            square += work[i] * work[i];
            one += i > 0 ? work[i] * work[i - 1] : 0;
            two += i > 1 ? work[i] * work[i - 2] : 0;
        }
        double near = 1e-10 * (square + 1);
        cr_assert_float_eq(l.mean, sy, 1e-11, "%zu", n);
        cr_assert_float_eq(l.b1, sxy / sxx, 1e-9 * fabs(sxy / sxx), "%zu", n);
        cr_assert_float_eq(l.square, square, near, "%zu", n);
        cr_assert_float_eq(l.one, one, near, "%zu", n);
        cr_assert_float_eq(l.two, two, near, "%zu", n);
    }
}

Test(dense, moving_means_as_by_plain_loops)
{
    static const size_t widths[] = {1, 3, 64, 511, 512, 513, 4099};
    fill(4);
    for (size_t w = 0; w < sizeof widths / sizeof widths[0]; w++) {
        size_t width = widths[w], at = 0;
        double most = -INFINITY, sum = 0;
        for (size_t a = 0; a + width <= MANY; a++) {
            double mean = 0;
            for (size_t i = a; i < a + width; i++)
                mean += y[i] / (double)width;
            sum += mean - 100;
            if (mean > most) {
                most = mean;
                at = a;
            }
        }
        struct es_moving m = es_moving_means(y, MANY, width, 100);
        cr_assert_float_eq(m.largest, most, 1e-10, "%zu", width);
        cr_assert_eq(m.at_largest, at, "%zu: %zu, %zu", width, m.at_largest, at);
        cr_assert_float_eq(m.mean, sum / (double)(MANY - width + 1), 1e-9, "%zu", width);
        double noise = es_noise_from_differences(y, MANY);
        cr_assert_float_eq(sqrt(m.step_square / 2), noise, 1e-13 * noise, "%zu", width);
    }
}

Test(dense, median_of_uneven_times)
{
    for (uint64_t seed = 1; seed < 20; seed++) {
        fill(seed);
        if (seed % 3 == 0) /* stamps in steps of 1 ms: most differences are alike */
            for (int i = 0; i < MANY; i++)
                t[i] = floor(t[i] * 1000) / 1000;
        size_t n = MANY - seed;
        double found;
        cr_assert(es_median_of_differences(t, n, es_range_of_differences(t, n), &found));
        for (size_t i = 1; i < n; i++)
            work[i - 1] = t[i] - t[i - 1];
        /* times that are even to their rounding need no median */
        cr_assert_float_eq(found, es_median(work, n - 1), 1e-14, "seed %d", (int)seed);
    }
}

/* Means of some stretches are those of all: the same stretches, whatever part is asked for. */
Test(dense, some_means_are_those_of_all)
{
    fill(5);
    static const size_t counts[] = {1, 7, 1000, 6007, MANY};
    for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
        size_t count = counts[c];
        es_block_means(y, MANY, count, work);
        for (size_t b = 0; b < count; b += 1 + count / 50) {
            double one, sum = 0;
            size_t first = b * MANY / count, end = (b + 1) * MANY / count;
            es_some_block_means(y, MANY, count, b, b + 1, &one);
            cr_assert_eq(one, work[b], "%zu of %zu", b, count);
            for (size_t i = first; i < end; i++)
                sum += y[i];
            cr_assert_float_eq(one, sum / (double)(end - first), 1e-11, "%zu of %zu", b, count);
        }
    }
}

/* The mean time of a stretch: of even times by its ends alone, of others by all of them. */
Test(dense, thin_times)
{
    struct es_trace *trace = syn_trace();
    struct es_series *s = syn_series(trace, ES_ROLE_TRAVEL, MANY, 1000);
    for (int uneven = 0; uneven < 2; uneven++) {
        struct es_samples all, thin;
        s->t[777] += uneven * 4e-4; /* within its neighbours */
        cr_assert_eq(es_samples_take(s, -INFINITY, INFINITY, &all, NULL), ES_OK);
        cr_assert_eq(es_samples_thin(&all, 100, &thin, NULL), ES_OK);
        for (size_t b = 0; b < 100; b++) {
            const size_t from = b * MANY / 100, to = (b + 1) * MANY / 100;
            cr_assert_float_eq(thin.t[b], es_mean(s->t + from, to - from), 1e-12, "stretch %zu", b);
        }
        es_samples_free(&thin);
        es_samples_free(&all);
    }
    es_trace_free(trace);
}

Test(dense, thin_between_holds_what_was_asked_for)
{
    struct es_trace *trace = syn_trace();
    struct es_series *s = syn_series(trace, ES_ROLE_TRAVEL, 10007, 1000);
    struct es_samples all, thin, part;
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = (double)(i % 97);
    cr_assert_eq(es_samples_take(s, 0, 100, &all, NULL), ES_OK);
    cr_assert_eq(es_samples_thin(&all, 333, &thin, NULL), ES_OK);
    cr_assert_eq(thin.n, 333);
    for (double begin = -1; begin < 11; begin += 0.37) {
        double end = begin + 1.3;
        cr_assert_eq(es_samples_thin_between(&all, 333, begin, end, &part, NULL), ES_OK);
        size_t at = 0;
        while (part.n && thin.t[at] != part.t[0])
            at++;
        for (size_t i = 0; i < thin.n; i++)
            if (thin.t[i] >= begin && thin.t[i] <= end)
                cr_assert(i >= at && i < at + part.n && part.y[i - at] == thin.y[i], "%g: %zu", begin, i);
        cr_assert(part.n <= (size_t)(1.3 * 33.3) + 3);
        es_samples_free(&part);
    }
    es_samples_free(&thin);
    es_samples_free(&all);
    es_trace_free(trace);
}

/* Where all are good the samples are the series' own; one that is not is left out, with its place. */
Test(dense, samples_with_and_without_a_bad_one)
{
    struct es_trace *trace = syn_trace();
    struct es_series *s = syn_series(trace, ES_ROLE_TRAVEL, 1000, 100);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = (double)i;
    struct es_samples all, less;
    cr_assert_eq(es_samples_take(s, 1, 8, &all, NULL), ES_OK);
    for (size_t i = 0; i < all.n; i++)
        cr_assert_eq(all.y[i], (double)es_samples_index(&all, i));
    s->quality[500] = ES_STALE;
    s->y[600] = NAN;
    cr_assert_eq(es_samples_take(s, 1, 8, &less, NULL), ES_OK);
    cr_assert_eq(all.n, 701);
    cr_assert_eq(all.missing, 0);
    cr_assert_eq(less.n, 699);
    cr_assert_eq(less.missing, 2);
    cr_assert_float_eq(all.interval, less.interval, 1e-12);
    cr_assert_float_eq(less.gap, 0.02, 1e-12);
    for (size_t i = 0; i < less.n; i++)
        cr_assert_eq(less.y[i], (double)es_samples_index(&less, i));
    es_samples_free(&all);
    es_samples_free(&less);
    es_trace_free(trace);
}

/* A step sampled a thousand times as often as it needs: no bias, intervals that cover, and no wider ones. */
Test(dense, step_of_many_samples)
{
    static const char *const names[] = {"dead time", "T63", "T86", "T98"};
    static const double shares[] = {0, 0.63, 0.865, 0.98};
    enum { TRACES = 12 };
    int covered[4] = {0};
    double off[4] = {0}, half[4] = {0};
    for (uint64_t seed = 1; seed <= TRACES; seed++) {
        uint64_t state = seed;
        struct es_trace *trace = syn_trace();
        struct es_series *s = syn_series(trace, ES_ROLE_TRAVEL, 120000, 20000);
        for (size_t i = 0; i < s->count; i++)
            s->y[i] = 0.010 + 0.001 * syn_first_order(s->t[i] - 1, 0.2, 0.4);
        syn_noise(s, 5e-6, &state);
        syn_command(trace, ES_ROLE_LOOP_DEMAND, 1, 0.012, 0.0128);
        struct es_measured *m = syn_measure_one("step response", NULL, trace, NULL);
        for (int o = 0; o < 4; o++) {
            const struct es_measured *v = syn_output("step response", m, names[o]);
            cr_assert(v->valid, "%s: %s", names[o], v->reason);
            double truth = 0.2 - 0.4 * log1p(-shares[o]);
            covered[o] += fabs(v->value - truth) <= v->U;
            off[o] += (v->value - truth) / TRACES;
            half[o] += v->U / TRACES;
        }
        free(m);
        es_trace_free(trace);
    }
    static const double most_half[] = {0.004, 0.0006, 0.002, 0.008};
    for (int o = 0; o < 4; o++) {
        cr_assert_geq(covered[o], 9, "%s: %d of %d covered", names[o], covered[o], TRACES);
        cr_assert_lt(half[o], most_half[o], "%s: U %.6f", names[o], half[o]);
        cr_assert_lt(fabs(off[o]), half[o], "%s: %.6f", names[o], off[o]);
    }
}

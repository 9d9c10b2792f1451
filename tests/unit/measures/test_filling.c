/* Filling: the flow sensor against the volume it fills, from the gas law. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

#define NL  (1.087440005 / 3.6e6)
#define ANR (293.15 / (293.15 * 1e5)) /* of m3: amount per Pa */

static struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 2.5e-4, 5e-7, INFINITY},
                                 {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.3, INFINITY}};
static struct es_facts facts = {items, 2};

/* 1000 Nl/h from 0.7 s for `seconds` into 250 cm3, then rest; the sensor reads `gain` times that and 2 Nl/h,
 * behind a lag of 50 ms; while gas is warm, the pressure is too high by `warm` Pa, with 3 s. */
static struct es_trace *filling(double seconds, double gain, double warm, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    (void)syn_series(t, ES_ROLE_OUTPUT_1_FLOW, 500, 50);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 500, 50);
    struct es_series *f = &t->series[0], *p = &t->series[1];
    double read = 0;
    for (size_t i = 0; i < f->count; i++) {
        double since = f->t[i] - 0.7 + 1e-9, x = fmin(fmax(0, since), seconds);
        double q = since >= 0 && since < seconds ? 1000 * NL : 0;
        double after = fmax(0, f->t[i] - 0.7 - seconds);
        p->y[i] = x * 1000 * NL / (2.5e-4 * ANR) + (x >= seconds ? warm * exp(-after / 3) : 0);
        read += (q - read) * (1 - exp(-0.02 / 0.05));
        f->y[i] = gain * read + 2 * NL;
    }
    syn_noise(f, 0.05 * NL, &seed);
    syn_noise(p, 20, &seed);
    return t;
}

static struct es_measured measure(struct es_trace *t)
{
    struct es_trace *tare = filling(0, 1, 0, 99);
    struct es_measured *m = syn_measure("filling", NULL, (const struct es_trace *[]){t, tare}, &facts);
    struct es_measured only = *syn_output("filling", m, "difference");
    es_trace_free(tare);
    es_trace_free(t);
    free(m);
    return only;
}

Test(filling, finds_what_a_sensor_has_drifted)
{
    for (int k = -2; k <= 2; k++) {
        struct es_measured m = measure(filling(2.0, 1 + 0.01 * k, 0, 5 + (uint64_t)k));
        cr_assert(m.valid, "%s", m.reason);
        cr_assert_float_eq(m.value, 0.01 * k, 0.004, "%g", m.value);
        cr_assert(m.U < 0.01 && fabs(m.value - 0.01 * k) < m.U, "%g +- %g", m.value, m.U);
    }
}

Test(filling, names_the_bench_when_it_is_off)
{
    struct es_measured more = measure(filling(2.0, 1.06, 0, 1)), less = measure(filling(2.0, 0.94, 0, 2));
    cr_assert(!more.valid && strstr(more.reason, "6.0 % more") && strstr(more.reason, "bench"), "%s",
              more.reason);
    cr_assert(!less.valid && strstr(less.reason, "6.0 % less"), "%s", less.reason);
}

Test(filling, warm_gas_is_uncertainty)
{
    struct es_measured calm = measure(filling(2.0, 1, 0, 3)), warm = measure(filling(2.0, 1, 2e4, 3));
    cr_assert(calm.valid && warm.valid, "%s", warm.reason);
    cr_assert_gt(warm.U, calm.U);
    cr_assert_lt(fabs(warm.value), warm.U);
}

Test(filling, refuses_what_was_not_filled)
{
    struct es_measured m = measure(filling(0.5, 1, 0, 4));
    cr_assert(!m.valid && strstr(m.reason, "was not filled"), "%s", m.reason);
    struct es_trace *t = filling(2.0, 1, 0, 4);
    for (size_t i = 60; i < 70; i++)
        t->series[0].quality[i] = ES_STALE;
    m = measure(t);
    cr_assert(!m.valid && strstr(m.reason, "missing"), "%s", m.reason);
}

Test(filling, without_a_volume_nothing)
{
    struct es_facts none = {NULL, 0};
    struct es_trace *t = filling(2.0, 1, 0, 4);
    struct es_measured *m = syn_measure("filling", NULL, (const struct es_trace *[]){t, NULL}, &none);
    cr_assert(!m[0].valid && strstr(m[0].reason, "not known"), "%s", m[0].reason);
    es_trace_free(t);
    free(m);
}

/* Held pressure: a leak through the unit, a leak of the bench, both, and what a recording does not carry. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

#define NL (1.087440005 / 3.6e6)

static struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 2.5e-4, 5e-7, INFINITY},
                                 {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.3, INFINITY}};
static struct es_facts facts = {items, 2};

static const struct es_measured *of(const struct es_measured *m, const char *output)
{
    return syn_output("held pressure", m, output);
}

/* 4 bar held at 0.5 s, isothermal; leaks in m3/s ANR at the first pressure, with what is left of it; `warm`:
 * Pa that cooling takes off with a time constant of 3 s. */
static struct es_trace *held(double unit, double bench, double warm, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    (void)syn_series(t, ES_ROLE_OUTPUT_1_FLOW, 530, 20);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 530, 20);
    struct es_series *f = &t->series[0], *p = &t->series[1];
    double k = (unit + bench) * 1e5 / 2.5e-4 / 5.01325e5; /* 1/s: of the absolute pressure */
    for (size_t i = 0; i < f->count; i++) {
        double x = fmax(0, f->t[i] - 0.5), left = exp(-k * x);
        double absolute = fmax(101325, 5.01325e5 * left);
        p->y[i] = absolute - 101325 - warm * (1 - exp(-x / 3));
        f->y[i] = 0.2 * NL - (x > 0 && absolute > 101325 ? unit * left : 0);
    }
    syn_noise(f, 0.05 * NL, &seed);
    syn_noise(p, 20, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 0.5, 0.02, 0);
    return t;
}

static struct es_measured *measure(struct es_trace *t)
{
    struct es_trace *tare = held(0, 0, 0, 9);
    struct es_measured *m = syn_measure("held pressure", NULL, (const struct es_trace *[]){t, tare}, &facts);
    es_trace_free(tare);
    es_trace_free(t);
    return m;
}

Test(held_pressure, tells_unit_from_bench)
{
    static const double cases[][2] = {{0, 0}, {10, 0}, {0, 3}, {20, 3}};
    for (int k = 0; k < 4; k++) {
        struct es_measured *m = measure(held(cases[k][0] * NL, cases[k][1] * NL, 0, 1 + (uint64_t)k));
        const struct es_measured *unit = of(m, "leak back"), *bench = of(m, "bench leak");
        cr_assert(unit->valid, "%s", unit->reason);
        cr_assert(bench->valid, "%s", bench->reason);
        cr_assert_float_eq(unit->value / NL, cases[k][0], 0.02 + 0.2 * cases[k][0], "%g", unit->value / NL);
        double left = exp(-(cases[k][0] + cases[k][1]) * NL * 1e5 / 2.5e-4 / 5.01325e5 * 22);
        cr_assert_float_eq(bench->value / NL, cases[k][1] * left, 0.3, "%g", bench->value / NL);
        cr_assert_float_eq(of(m, "pressure")->value, 4e5, 2e4);
        free(m);
    }
}

/* The pressure is one reading: its noise of 20 Pa is in its uncertainty, also where the pressure falls. */
Test(held_pressure, noise_of_the_pressure_counts)
{
    for (int k = 0; k < 2; k++) {
        struct es_measured *m = measure(held(k * 10 * NL, 0, 0, 5 + (uint64_t)k));
        const struct es_measured *pressure = of(m, "pressure");
        cr_assert(pressure->valid, "%s", pressure->reason);
        cr_assert_float_eq(pressure->u_repeat, 20, 4, "%g", pressure->u_repeat);
        free(m);
    }
}

/* A bench that leaks is named and gives no value that could be held against the unit. */
Test(held_pressure, leaking_bench_is_named)
{
    struct es_measured *m = measure(held(0, 20 * NL, 0, 2));
    cr_assert_not(of(m, "bench leak")->valid);
    cr_assert_not_null(strstr(of(m, "bench leak")->reason, "the bench itself leaks"), "%s",
                       of(m, "bench leak")->reason);
    cr_assert_lt(fabs(of(m, "leak back")->value), of(m, "leak back")->U + 0.05 * NL);
    free(m);
    m = measure(held(0, 800 * NL, 0, 3)); /* nothing left after seconds */
    cr_assert_not_null(strstr(of(m, "bench leak")->reason, "not through the unit"), "%s",
                       of(m, "bench leak")->reason);
    free(m);
}

/* A gross leak is seen while there is pressure to leak; of the bench nothing can be said then. */
Test(held_pressure, gross_leak_of_the_unit)
{
    struct es_measured *m = measure(held(600 * NL, 0, 0, 4));
    cr_assert(of(m, "leak back")->valid, "%s", of(m, "leak back")->reason);
    cr_assert_gt(of(m, "leak back")->value - of(m, "leak back")->U, 300 * NL);
    cr_assert_not_null(strstr(of(m, "bench leak")->reason, "no pressure is left"), "%s",
                       of(m, "bench leak")->reason);
    free(m);
}

/* Gas that cools after filling loses pressure without a leak. */
Test(held_pressure, cooling_is_no_leak)
{
    struct es_measured *m = measure(held(0, 0, 5e4, 5));
    const struct es_measured *bench = of(m, "bench leak");
    cr_assert(bench->valid, "%s", bench->reason);
    cr_assert_lt(fabs(bench->value), bench->U + 0.3 * NL, "%g +- %g", bench->value / NL, bench->U / NL);
    cr_assert_lt(bench->value + bench->U, 2 * NL);
    free(m);
}

Test(held_pressure, refusals)
{
    struct es_trace *t = held(0, 0, 0, 6);
    for (size_t i = 0; i < t->series[1].count; i++)
        t->series[1].y[i] = 2e4;
    struct es_measured *m = measure(t);
    cr_assert_not_null(strstr(of(m, "leak back")->reason, "not filled"), "%s", of(m, "leak back")->reason);
    free(m);
    t = held(0, 0, 0, 7);
    t->series[0].count = t->series[1].count = 200; /* ends before the gas has cooled */
    m = measure(t);
    cr_assert(of(m, "leak back")->valid, "%s", of(m, "leak back")->reason);
    cr_assert_not_null(strstr(of(m, "bench leak")->reason, "too short"), "%s", of(m, "bench leak")->reason);
    free(m);
    t = held(0, 0, 0, 8);
    struct es_facts none = {0};
    m = syn_measure("held pressure", NULL, (const struct es_trace *[]){t, NULL}, &none);
    cr_assert_not_null(strstr(of(m, "bench leak")->reason, "not known"), "%s", of(m, "bench leak")->reason);
    free(m);
    es_trace_free(t);
}

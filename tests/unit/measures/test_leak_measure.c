/* Relay leak: tare, agreement of the two methods, and what is refused. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

#define NL (1.087440005 / 3.6e6)

static struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 5e-4, 2e-6, INFINITY},
                                 {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.3, INFINITY},
                                 {"ambient pressure", ES_DIM_PRESSURE, 101325, 100, INFINITY}};
static struct es_facts facts = {items, 3};

static const struct es_measured *get(const struct es_measured *m, const char *output)
{
    const struct es_measured *v = syn_output("relay leak", m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    return v;
}

static void refused(const struct es_measured *m, const char *output, const char *word)
{
    const struct es_measured *v = syn_output("relay leak", m, output);
    cr_assert_not(v->valid, "%s is not refused: %g", output, v->value);
    cr_assert_not_null(strstr(v->reason, word), "%s: %s", output, v->reason);
}

static struct es_trace *flow(double value, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_FLOW, 600, 20);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = value;
    syn_noise(s, 0.02 * NL, &seed);
    s->u.gain = 0.01;
    s->u.offset = 0.5 * NL;
    return t;
}

static struct es_trace *rise(double value, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 800, 20);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = value * 1e5 / 5e-4 * s->t[i];
    syn_noise(s, 10, &seed);
    s->u.gain = 0.001;
    s->u.offset = 200;
    return t;
}

static void free_all(struct es_trace **t)
{
    for (int i = 0; i < 4; i++)
        es_trace_free(t[i]);
}

static struct es_measured *measure(struct es_trace **t, const char *settings)
{
    return syn_measure("relay leak", settings, (const struct es_trace *const *)t, &facts);
}

Test(leak_measure, both_ways_agree)
{
    struct es_trace *t[] = {flow(10.3 * NL, 1), rise(10.1 * NL, 2), flow(0.3 * NL, 3), rise(0.1 * NL, 4)};
    struct es_measured *m = measure(t, "{\"thermal time\": \"0 s\"}");
    const struct es_measured *a = get(m, "flow by flow sensor"), *b = get(m, "flow by pressure rise");
    const struct es_measured *f = get(m, "flow");
    cr_assert_float_eq(a->value / NL, 10, 0.05);
    cr_assert_float_eq(b->value / NL, 10, 0.1);
    cr_assert_leq(get(m, "agreement")->value, 1);
    cr_assert(f->value >= fmin(a->value, b->value) && f->value <= fmax(a->value, b->value));
    cr_assert_lt(f->u, fmin(a->u, b->u));
    double weighted =
        (a->value / (a->u * a->u) + b->value / (b->u * b->u)) / (1 / (a->u * a->u) + 1 / (b->u * b->u));
    cr_assert_float_eq(f->value / weighted, 1, 1e-12);
    /* the sensors' offsets cancel with their tare; gain stays */
    cr_assert_float_eq(a->u_common, 0.01 * a->value, 1e-3 * a->u_common);
    free(m);
    free_all(t);
}

Test(leak_measure, disagreement_is_refused)
{
    struct es_trace *t[] = {flow(10.3 * NL, 1), rise(14 * NL, 2), flow(0.3 * NL, 3), rise(0.1 * NL, 4)};
    struct es_measured *m = measure(t, NULL);
    refused(m, "flow", "disagree");
    cr_assert_gt(get(m, "agreement")->value, 1);
    get(m, "flow by flow sensor");
    get(m, "flow by pressure rise");
    free(m);
    free_all(t);
}

Test(leak_measure, tare_is_needed)
{
    struct es_trace *t[] = {flow(10 * NL, 1), rise(10 * NL, 2), NULL, NULL};
    struct es_measured *m = measure(t, NULL);
    refused(m, "flow by flow sensor", "tare");
    refused(m, "flow by pressure rise", "tare");
    refused(m, "flow", "tare");
    free(m);
    m = measure(t, "{\"tare\": \"none\"}");
    cr_assert_geq(get(m, "flow by flow sensor")->u_common, 0.5 * NL); /* the offset does not cancel now */
    free(m);
    free_all(t);
}

Test(leak_measure, one_method_alone)
{
    struct es_trace *t[] = {NULL, rise(10.1 * NL, 2), NULL, rise(0.1 * NL, 4)};
    struct es_measured *m = measure(t, NULL);
    cr_assert_eq(get(m, "flow")->value, get(m, "flow by pressure rise")->value);
    refused(m, "agreement", "only one");
    free(m);
    free_all(t);
}

/* Both were meant and one failed: no value without its check, unless the sensor is only too small for the
 * leak. */
Test(leak_measure, one_of_two_failed)
{
    struct es_trace *t[] = {flow(10 * NL, 1), rise(10.1 * NL, 2), flow(0, 3), rise(0.1 * NL, 4)};
    for (size_t i = 0; i < 600; i++)
        t[0]->series[0].quality[i] = ES_STALE;
    struct es_measured *m = measure(t, NULL);
    refused(m, "flow", "flow by flow sensor");
    free(m);
    for (size_t i = 0; i < 600; i++)
        t[0]->series[0].quality[i] = ES_OUT_OF_RANGE;
    m = measure(t, NULL);
    refused(m, "flow by flow sensor", "beyond");
    cr_assert_eq(get(m, "flow")->value, get(m, "flow by pressure rise")->value);
    free(m);
    free_all(t);
}

Test(leak_measure, missing_facts)
{
    struct es_trace *t[] = {NULL, rise(10.1 * NL, 2), NULL, rise(0.1 * NL, 4)};
    struct es_facts none = {0};
    struct es_measured *m = syn_measure("relay leak", NULL, (const struct es_trace *const *)t, &none);
    refused(m, "flow by pressure rise", "temperature");
    free(m);
    none = (struct es_facts){&items[1], 2};
    m = syn_measure("relay leak", NULL, (const struct es_trace *const *)t, &none);
    refused(m, "flow by pressure rise", "output 1 volume");
    get(m, "pressure rate");
    free(m);
    free_all(t);
}

Test(leak_measure, too_short)
{
    struct es_trace *t[] = {NULL, rise(10.1 * NL, 2), NULL, rise(0.1 * NL, 4)};
    t[1]->series[0].count = 105;
    struct es_measured *m = measure(t, NULL);
    refused(m, "flow by pressure rise", "too short");
    free(m);
    free_all(t);
}

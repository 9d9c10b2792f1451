/* 95 % intervals cover the truth: small studies of good units through the real engine, from fixed seeds. A
 * measure or a virtual instrument whose uncertainty no longer says what it does fails here. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/judgement/binomial.h"
#include "rig/study/summary.h"

#define LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define TYPES   ES_SOURCE_DIR "/procedures/types/"
#define BENCHES ES_SOURCE_DIR "/rig/bench/examples/"
#define UNITS   120

/* What one measurand must keep. Mean and standard deviation of (value - truth) / u are 0 and 1 where u is
 * right and the estimate without bias; from UNITS units they are known to 0.09 and 0.07. */
struct expected {
    const char *procedure, *measurand;
    double least_spread; /* where an interval is wide for a reason (docs/study.md) */
};

/* What cannot be negative and is 0 in good units is never read below the truth. */
static double most_bias(const char *measurand)
{
    bool at_zero = !strcmp(measurand, "sensor repeatability") || !strcmp(measurand, "sensor smoothness");
    return at_zero ? 1 : 0.45;
}

static void check(const struct es_study *s, const struct es_study_coverage *c, const struct expected *e)
{
    const size_t n = c->covered.n, k = c->covered.k;
    cr_assert_geq(n, UNITS * 9 / 10, "%s: a truth for only %zu of %d units", e->measurand, n, UNITS);
    /* an interval of 999 in 1000 about the share seen has to reach 94 to 96 % */
    const struct es_share seen = es_share_clopper_pearson(k, n, 0.999);
    cr_expect(seen.upper >= 0.94, "%s: covered in %zu of %zu", e->measurand, k, n);
    cr_expect(fabs(c->bias) <= most_bias(e->measurand), "%s: bias %.2f u", e->measurand, c->bias);
    cr_expect(c->spread <= 1.25, "%s: spread %.2f u", e->measurand, c->spread);
    cr_expect(c->spread >= e->least_spread, "%s: spread %.2f u: the interval is too wide", e->measurand,
              c->spread);
    cr_expect(s->order.units == UNITS);
}

static void study(const char *plan, const char *type, const struct expected *expected, size_t count)
{
    const struct es_study_order order = {
        .plan = plan,
        .types = {type},
        .type_count = 1,
        .benches = {BENCHES "virtual-bench.json", BENCHES "virtual-bench-part-turn.json"},
        .bench_count = 2,
        .seed = 77,
        .units = UNITS,
        .threads = 1,
        .good_share = 1,
        .truths = UNITS,
        .severity_high = 1};
    struct es_findings findings = {0};
    struct es_error err = {0};
    struct es_study *s = NULL;
    struct es_study_summary summary;
    cr_assert_eq(es_study_new(&order, &findings, &s, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_run(s, NULL, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_summarise(s, &summary, &err), ES_OK, "%s", err.text);
    for (size_t i = 0; i < count; i++) {
        size_t found = 0;
        for (size_t k = 0; k < summary.coverage_count; k++) {
            const struct es_study_coverage *c = &summary.coverage[k];
            if (!strcmp(s->types[c->type].slots[c->slot].measurand, expected[i].measurand)) {
                check(s, c, &expected[i]);
                found++;
            }
        }
        cr_expect_eq(found, 1, "no measurand \"%s\"", expected[i].measurand);
    }
    es_study_summary_clear(&summary);
    es_study_free(s);
    es_findings_free(&findings);
}

Test(coverage, leak)
{
    static const struct expected expected[] = {
        {"relay leak", "leak of output 1 at minimum supply", 0.8},
        {"relay leak", "leak of output 1 at nominal supply", 0.8},
    };
    study(LIBRARY "relay-leak.json", TYPES "linear-single-acting.json", expected, 2);
}

Test(coverage, stroke)
{
    static const struct expected expected[] = {
        {"stroke", "travel", 0.8},
        {"stroke", "lower end", 0.8},
        {"stroke", "stroke time up", 0.75},
        {"stroke", "stroke time down", 0.75},
        {"stroke", "shaft angle over the travel", 0.8},
        {"stroke", "feedback at the upper end", 0.8},
    };
    study(LIBRARY "stroke.json", TYPES "linear-single-acting.json", expected, 6);
}

Test(coverage, sensor_sweep)
{
    static const struct expected expected[] = {
        {"sensor sweep", "usable range of the sensor", 0.8},
        {"sensor sweep", "sensor margin at the lower end", 0.8},
        {"sensor sweep", "sensor margin at the upper end", 0.8},
        {"sensor sweep", "sensor linearity, terminal-based", 0.75},
        {"sensor sweep", "sensor hysteresis", 0.55},
        {"sensor sweep", "sensor repeatability", 0.7},
        {"sensor sweep", "sensor smoothness", 0.7},
    };
    study(LIBRARY "sensor-sweep.json", TYPES "linear-single-acting.json", expected, 7);
}

Test(coverage, relay_direction)
{
    static const struct expected expected[] = {
        {"relay direction", "flow of output 1, driven up", 0.75},
        {"relay direction", "flow of output 1, driven down", 0.8},
        {"relay direction", "least loop voltage, driven up", 0.8},
    };
    study(LIBRARY "relay-direction.json", TYPES "linear-single-acting.json", expected, 3);
}

Test(coverage, relay_direction_of_two_outputs)
{
    static const struct expected expected[] = {
        {"relay direction", "flow of the driven output", 0.8},
        {"relay direction", "flow of the other output", 0.8},
        {"relay direction", "cross-talk between outputs", 0.8},
    };
    study(LIBRARY "relay-direction.json", TYPES "linear-double-acting.json", expected, 3);
}

Test(coverage, actuator)
{
    static const struct expected expected[] = {
        {"actuator", "pressure held in the actuator", 0.8},
        {"actuator", "pressure, slowly up less slowly down", 0.6}, /* climbs by jerks */
    };
    study(LIBRARY "actuator.json", TYPES "part-turn-double-acting.json", expected, 2);
}

Test(coverage, supply_influence)
{
    static const struct expected expected[] = {
        {"supply influence", "change of travel at minimum supply", 0.8},
        {"supply influence", "change of travel for each bar", 0.75},
    };
    study(LIBRARY "supply-influence.json", TYPES "linear-single-acting.json", expected, 2);
}

Test(coverage, relay_capacity)
{
    static const struct expected expected[] = {
        {"relay capacity and balance", "flow delivered by output 1", 0.6},
        {"relay capacity and balance", "flow let out by output 1", 0.4},
        {"relay capacity and balance", "balance pressure of the outputs", 0.8},
    };
    study(LIBRARY "relay-capacity.json", TYPES "linear-single-acting.json", expected, 3);
}

Test(coverage, step_response)
{
    static const struct expected expected[] = {
        {"step response", "T63 about 50 %", 0.75},
        {"step response", "T98 about 50 %", 0.6},           /* pauses: all of them is the interval */
        {"step response", "settling time about 50 %", 0.6}, /* the same */
        {"step response", "T86 downwards about 50 %", 0.75},
        {"step response", "movement at rest about 50 %", 0.3}, /* most are 0 and so is the truth */
    };
    study(LIBRARY "step-response.json", TYPES "part-turn-single-acting.json", expected, 5);
}

Test(coverage, self_adjustment)
{
    static const struct expected expected[] = {
        {"self-adjustment time", "duration of the self-adjustment", 0.7},
    };
    study(LIBRARY "self-adjustment-time.json", TYPES "linear-double-acting.json", expected, 1);
}

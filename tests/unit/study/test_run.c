/* The study as a whole, small: refusals, a stop, the same bytes from any number of threads. */
#include <criterion/criterion.h>
#include <string.h>

#include "rig/study/learn.h"
#include "rig/study/report.h"

#define LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define TYPES   ES_SOURCE_DIR "/procedures/types/"
#define BENCHES ES_SOURCE_DIR "/rig/bench/examples/"

/* Relay direction alone: short, and it knows good from bad. */
static struct es_study_order make_order(void)
{
    return (struct es_study_order){
        .plan = LIBRARY "relay-direction.json",
        .types = {TYPES "linear-single-acting.json", TYPES "part-turn-double-acting.json"},
        .type_count = 2,
        .benches = {BENCHES "virtual-bench.json", BENCHES "virtual-bench-part-turn.json"},
        .bench_count = 2,
        .seed = 9,
        .units = 40,
        .threads = 1,
        .good_share = 0.5,
        .truths = 3,
        .truths_faulty = 2,
        .faults = {"outputs crossed"},
        .fault_count = 1,
        .severity_low = 0.5,
        .severity_high = 1};
}

/* Truths of so many units as were asked for, good and faulty apart; away from zero are those whose truth is.
 */
static void check_coverage(const struct es_study *s, const struct es_study_summary *m)
{
    const struct es_study_coverage *rows[] = {m->coverage, m->coverage_faulty};
    const size_t wanted[] = {s->order.truths, s->order.truths_faulty};
    for (size_t i = 0; i < m->coverage_count; i++) {
        const char *name = s->types[m->coverage[i].type].slots[m->coverage[i].slot].measurand;
        for (int k = 0; k < 2; k++) {
            const struct es_study_coverage *c = &rows[k][i];
            cr_expect_leq(c->covered.n + c->exact + c->exact_wrong, wanted[k], "%s", name);
            cr_expect_leq(c->away.n, c->covered.n, "%s", name);
            cr_expect_leq(c->away.k, c->covered.k, "%s", name);
        }
        if (!strcmp(name, "least loop voltage, driven up")) {
            cr_expect_eq(m->coverage[i].covered.n, 3);
            cr_expect_eq(m->coverage[i].away.n, 3, "some 9 V, known to a hundredth");
            cr_expect_eq(m->coverage_faulty[i].away.n, 2, "crossed outputs leave the loop alone");
        }
        if (!strcmp(name, "flow of the other output")) {
            cr_expect_lt(m->coverage[i].away.n, 3, "a good unit's is next to zero");
            cr_expect_eq(m->coverage_faulty[i].away.n, 2, "crossed outputs: all the flow");
        }
    }
}

static char *report(unsigned threads)
{
    struct es_study_order order = make_order();
    struct es_findings findings = {0};
    struct es_error err = {0};
    struct es_study *s = NULL;
    struct es_study_summary summary;
    struct es_detection *table = NULL;
    struct es_study_naming naming;
    struct es_text text = {0};
    order.threads = threads;
    cr_assert_eq(es_study_new(&order, &findings, &s, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_run(s, NULL, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_summarise(s, &summary, &err), ES_OK, "%s", err.text);
    cr_expect_eq(summary.good_all.n, 20);
    cr_expect_eq(summary.good_all.passed, 20);
    cr_expect_eq(summary.unit_all.failed, 20, "crossed outputs are always found");
    check_coverage(s, &summary);
    cr_assert_eq(es_study_learn(s, &table, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_name_causes(s, table, &naming, &err), ES_OK, "%s", err.text);
    cr_expect_eq(naming.units, 20);
    cr_expect_eq(naming.first, 20);
    cr_assert_eq(es_study_report_json(s, &summary, &naming, &text, &err), ES_OK);
    cr_assert_eq(es_detection_write(table, &text, &err), ES_OK);
    es_detection_free(table);
    es_study_summary_clear(&summary);
    es_study_free(s);
    return text.bytes;
}

Test(study_run, same_bytes_from_any_number_of_threads)
{
    char *one = report(1), *three = report(3);
    cr_expect_str_eq(one, three);
    free(one);
    free(three);
}

static enum es_status make(const struct es_study_order *order, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_study *s = NULL;
    const enum es_status status = es_study_new(order, &findings, &s, err);
    es_study_free(s);
    es_findings_free(&findings);
    return status;
}

Test(study_run, wrong_orders_are_refused)
{
    struct es_error err;
    struct es_study_order o = make_order();
    o.units = 0;
    cr_expect_eq(make(&o, &err), ES_USAGE);
    o = make_order();
    o.faults[0] = "moonshine";
    cr_expect_eq(make(&o, &err), ES_NOT_FOUND);
    o = make_order();
    o.severity_low = 1;
    cr_expect_eq(make(&o, &err), ES_RANGE);
    o = make_order();
    o.good_share = 1.5;
    cr_expect_eq(make(&o, &err), ES_RANGE);
    o = make_order();
    o.faults[0] = "lever too short"; /* linear only */
    cr_expect_eq(make(&o, &err), ES_USAGE);
    o = make_order();
    o.benches[0] = o.benches[1];
    cr_expect_eq(make(&o, &err), ES_USAGE);
    cr_expect(strstr(err.text, "linear"), "%s", err.text);
    o = make_order();
    o.plan = LIBRARY "none.json";
    cr_expect_eq(make(&o, &err), ES_NOT_FOUND);
}

static bool stop_at_once(void *self)
{
    (void)self;
    return true;
}

Test(study_run, a_stop_is_heard)
{
    struct es_study_order order = make_order();
    struct es_findings findings = {0};
    struct es_error err = {0};
    struct es_study *s = NULL;
    const struct es_study_watch watch = {.stop = stop_at_once};
    order.units = 100000;
    cr_assert_eq(es_study_new(&order, &findings, &s, &err), ES_OK, "%s", err.text);
    cr_expect_eq(es_study_run(s, &watch, &err), ES_CANCELLED);
    es_study_free(s);
}

Test(study_run, one_unit_alone_is_the_same_unit)
{
    struct es_study_order order = make_order();
    struct es_findings findings = {0};
    struct es_error err = {0};
    struct es_study *s = NULL;
    struct es_study_unit unit;
    struct es_outcome outcome;
    order.units = 3;
    cr_assert_eq(es_study_new(&order, &findings, &s, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_run(s, NULL, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_study_one(s, 2, &unit, &outcome, &err), ES_OK, "%s", err.text);
    cr_expect_eq(unit.seed, s->units[2].seed);
    cr_expect_eq(unit.verdict, s->units[2].verdict);
    cr_expect_eq(unit.duration, s->units[2].duration);
    cr_expect(unit.values[0].valid && s->units[2].values[0].valid);
    cr_expect_eq(unit.values[0].value, s->units[2].values[0].value, "to the last bit");
    es_outcome_free(&outcome);
    es_study_unit_free(s, &unit);
    cr_expect_eq(es_study_one(s, 3, &unit, &outcome, &err), ES_RANGE);
    es_study_free(s);
}

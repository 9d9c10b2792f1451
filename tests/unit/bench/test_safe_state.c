/* The safe-state sequence: order, waits, a dead bus in between, read-back, the time allowed, what it says. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rig/bench/safe_state.h"
#include "tests/support/bench/small_bench.h"

#define S  ES_NS_PER_S
#define MS (ES_NS_PER_S / 1000)

enum { NEVER = -1 };

/* A bench that answers each role after so many ms, or never. */
struct fixture {
    struct es_bench *bench;
    struct es_safe_sequence seq;
    es_time now;
    long answer_ms[ES_ROLE_COUNT];
    enum es_status status[ES_ROLE_COUNT];
    es_time willing_at; /* from then on nothing is refused; 0: for ever */
    bool down[ES_ROLE_COUNT];
    enum es_role posted[64];
    es_time posted_at[64];
    size_t count;
    double loop_current;
};

static enum es_status post(void *self, enum es_role role, double value, es_time deadline, unsigned *ticket,
                           struct es_error *err)
{
    struct fixture *x = self;
    (void)value;
    (void)err;
    cr_expect_eq(deadline, x->seq.limit);
    *ticket = (unsigned)x->count;
    x->posted_at[x->count] = x->now;
    x->posted[x->count++] = role;
    return ES_OK;
}

static bool outcome(void *self, unsigned ticket, enum es_status *status, struct es_error *err)
{
    struct fixture *x = self;
    enum es_role role = x->posted[ticket];
    if (x->answer_ms[role] == NEVER || x->now < x->posted_at[ticket] + x->answer_ms[role] * MS) {
        return false;
    }
    *status = x->willing_at != 0 && x->now >= x->willing_at ? ES_OK : x->status[role];
    if (*status != ES_OK) {
        es_fail(err, *status, "the instrument said no");
    }
    return true;
}

static bool newest(void *self, enum es_role role, es_time after, double *value)
{
    struct fixture *x = self;
    if (role != ES_ROLE_LOOP_CURRENT || x->now <= after) {
        return false;
    }
    *value = x->loop_current;
    return true;
}

static bool bus_up(void *self, enum es_role role)
{
    return !((struct fixture *)self)->down[role];
}

static void make(struct fixture *x)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc;
    memset(x, 0, sizeof *x);
    cr_assert_eq(es_document_parse("b", SMALL_BENCH, strlen(SMALL_BENCH), &f, &doc, &err), ES_OK);
    cr_assert_eq(es_bench_from_document(doc, &f, &x->bench, &err), ES_OK);
    es_document_free(doc);
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        x->answer_ms[i] = 5;
    }
    struct es_safe_hands hands = {x, post, outcome, newest, bus_up};
    es_safe_init(&x->seq, &x->bench->stations[0], &hands);
    x->now = 100 * S;
}

static double run_after(struct fixture *x, es_time noticed)
{
    es_time next, began = x->now;
    es_safe_begin(&x->seq, x->now - noticed, x->now, "test");
    while (es_safe_step(&x->seq, x->now, &next)) {
        cr_assert_gt(next, x->now);
        x->now = next;
        cr_assert(x->now < began + 10 * S, "it never ends");
    }
    es_bench_free(x->bench);
    return es_seconds(x->now - began);
}

static double run(struct fixture *x)
{
    return run_after(x, 30 * MS);
}

static const enum es_role order[] = {ES_ROLE_SUPPLY_VALVE, ES_ROLE_SUPPLY_DEMAND, ES_ROLE_OUTPUT_1_VENT,
                                     ES_ROLE_LOOP_DEMAND};

Test(safe_state, in_order_with_waits_and_time_from_the_cause)
{
    struct fixture x;
    make(&x);
    double took = run(&x);
    cr_expect(x.seq.report.reached);
    cr_expect_not(x.seq.report.late);
    cr_assert_eq(x.count, 4);
    for (size_t i = 0; i < 4; i++) {
        cr_expect_eq(x.posted[i], order[i]);
        cr_expect_eq(x.seq.report.steps[i].outcome, ES_SAFE_DONE);
    }
    cr_expect(x.posted_at[1] - x.posted_at[0] >= 25 * MS, "5 ms for the answer, 20 ms wait");
    cr_expect(took < 0.1);
    cr_expect_float_eq(x.seq.report.seconds, took + 0.03, 0.01, "counts from the cause");
    cr_expect_str_eq(x.seq.report.sentence, "All 4 outputs are in the safe state.");
}

Test(safe_state, mute_output_does_not_starve_the_rest)
{
    struct fixture x;
    make(&x);
    x.answer_ms[ES_ROLE_SUPPLY_VALVE] = NEVER;
    double took = run(&x);
    cr_assert_eq(x.count, 4, "all were posted");
    cr_expect_not(x.seq.report.reached);
    cr_expect_eq(x.seq.report.steps[0].outcome, ES_SAFE_NOT_DONE);
    for (size_t i = 1; i < 4; i++) {
        cr_expect_eq(x.seq.report.steps[i].outcome, ES_SAFE_DONE);
    }
    cr_expect(took <= 2.01, "%f s, allowed are 2", took);
    cr_expect_not_null(strstr(x.seq.report.sentence, "NOT SAFE"));
    cr_expect_not_null(strstr(x.seq.report.sentence, "supply valve"));
    cr_expect_null(strstr(x.seq.report.sentence, "loop demand"));
}

Test(safe_state, known_dead_bus_costs_no_waiting)
{
    struct fixture x;
    make(&x);
    x.answer_ms[ES_ROLE_SUPPLY_VALVE] = NEVER;
    x.down[ES_ROLE_SUPPLY_VALVE] = true;
    run(&x);
    cr_expect(x.posted_at[3] - x.posted_at[0] < 100 * MS);
}

Test(safe_state, late_answer_still_counts)
{
    struct fixture x;
    make(&x);
    x.answer_ms[ES_ROLE_SUPPLY_VALVE] = 1200;
    run(&x);
    cr_expect(x.seq.report.reached);
    cr_expect(x.seq.report.seconds > 1.2 && x.seq.report.seconds < 2.1);
}

Test(safe_state, noticed_late_is_late)
{
    struct fixture x;
    make(&x);
    x.answer_ms[ES_ROLE_SUPPLY_VALVE] = 1200;
    run_after(&x, 900 * MS);
    cr_expect(x.seq.report.reached, "what was noticed late is made safe all the same");
    cr_expect(x.seq.report.late, "%f s, allowed are 2", x.seq.report.seconds);
    cr_expect_not_null(strstr(x.seq.report.sentence, "2.00 s"), "%s", x.seq.report.sentence);
}

Test(safe_state, refusal_is_told)
{
    struct fixture x;
    make(&x);
    x.status[ES_ROLE_OUTPUT_1_VENT] = ES_REFUSED;
    double took = run(&x);
    cr_expect(took <= 2.01, "%f s, allowed are 2", took);
    cr_expect_not(x.seq.report.reached);
    cr_expect_eq(x.seq.report.steps[2].outcome, ES_SAFE_NOT_DONE);
    cr_expect_not_null(strstr(x.seq.report.sentence, "the instrument said no"));
}

/* Busy for the first second: the valve behind it is written at once all the same. */
Test(safe_state, refused_is_tried_again)
{
    struct fixture x;
    make(&x);
    x.status[ES_ROLE_SUPPLY_VALVE] = ES_REFUSED;
    x.willing_at = x.now + S;
    run(&x);
    cr_expect(x.seq.report.reached, "%s", x.seq.report.sentence);
    cr_expect_eq(x.seq.report.steps[0].outcome, ES_SAFE_DONE);
    cr_expect_str_eq(x.seq.report.steps[0].text, "");
    cr_expect(x.seq.report.seconds > 1 && x.seq.report.seconds < 1.3, "%f s", x.seq.report.seconds);
    cr_expect(x.count > 8 && x.count < 20, "%zu writes", x.count);
    cr_expect_eq(x.posted[1], ES_ROLE_SUPPLY_DEMAND);
    cr_expect(x.posted_at[1] - x.posted_at[0] < 50 * MS);
}

Test(safe_state, read_back_that_disagrees_is_unproved)
{
    struct fixture x;
    make(&x);
    x.loop_current = 0.012;
    double took = run(&x);
    cr_expect(x.seq.report.reached, "all were acknowledged");
    cr_expect_eq(x.seq.report.steps[3].outcome, ES_SAFE_UNPROVED);
    cr_expect_not_null(strstr(x.seq.report.sentence, "12.000 mA"), "%s", x.seq.report.sentence);
    cr_expect(took > 0.3 && took < 0.6);
}

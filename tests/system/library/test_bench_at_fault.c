/* The shipped procedures on a bench that does not hold what they count on: a bench at fault never gives a
 * verdict on the unit. In virtual time, through the real engine, measures, judgement and interlock. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/file.h"
#include "tests/system/library/virtual_run.h"

/* A bench whose outputs cannot be asked for: else the interlock ends the run before the recordings tell. */
static void make_at(struct virtual_run *x, bool double_acting, const char *path, const char *plan,
                    uint64_t seed, const char *fault, double severity)
{
    virtual_run_make(
        x, &(struct virtual_case){.type = double_acting ? "part-turn-double-acting" : "linear-single-acting",
                                  .plan = plan,
                                  .bench = path,
                                  .seed = seed,
                                  .fault = fault,
                                  .severity = severity});
}

/* One of the shipped benches. */
static void make(struct virtual_run *x, bool double_acting, const char *bench, const char *plan,
                 uint64_t seed, const char *fault, double severity)
{
    char path[512];

    (void)snprintf(path, sizeof path, BENCHES "%s", bench);
    make_at(x, double_acting, path, plan, seed, fault, severity);
}

/* Somebody else's program: it writes past the station, which therefore knows nothing of it. */
struct intruder {
    struct es_virtual *v;
    double from, to; /* s of bench time */
    enum es_role role;
    double value, before;
    bool in, out;
};

static void intrude(void *self, const struct es_reading *by_role)
{
    struct intruder *i = self;
    const double now = es_seconds(es_virtual_now(i->v));
    struct es_error err;

    (void)by_role;
    if (!i->in && now >= i->from) {
        i->in = true;
        i->before = es_virtual_reading(i->v, i->role).value;
        cr_assert_eq(es_virtual_write(i->v, i->role, i->value, &err), ES_OK);
    } else if (i->in && !i->out && now >= i->to) {
        i->out = true;
        cr_assert_eq(es_virtual_write(i->v, i->role, i->before, &err), ES_OK);
    }
}

/* What happened on a live bench: the supply was shut between the wait and the recording, and a unit that
 * leaks 80 Nl/h passed "leak at minimum supply" at 0 bar. Now at every other second of the procedure, for
 * good and for five seconds: a leaking unit passes no leak line. */
static void supply_shut_at_any_time(double lasting, size_t *not_held)
{
    for (double at = 2; at < 130; at += 2) {
        struct virtual_run x;
        make(&x, false, "virtual-bench.json", LIBRARY "relay-leak.json", 20260203,
             "relay seat leaks to output 1", 0.5); /* 80 Nl/h at minimum supply */
        struct intruder i = {.v = x.v, .from = at, .to = at + lasting, .role = ES_ROLE_SUPPLY_VALVE};
        const struct es_run_watch watch = {.self = &i, .values = intrude};
        virtual_run(&x, &watch);
        for (size_t k = 0; k < x.outcome.line_count; k++) {
            const struct es_line *l = &x.outcome.lines[k];
            if (strncmp(l->measurand, "leak of", 7) != 0)
                continue;
            cr_expect(l->verdict == ES_FAIL || l->verdict == ES_NOT_TESTED, "shut at %g s: %s: %s", at,
                      l->measurand, es_verdict_word(l->verdict));
            *not_held += l->reason != NULL && strstr(l->reason, "look at the bench's supply") != NULL;
        }
        cr_expect_neq(x.outcome.verdict, ES_PASS);
        virtual_run_free(&x);
    }
}

Test(bench_at_fault, supply_shut_for_good)
{
    size_t not_held = 0;
    supply_shut_at_any_time(1e9, &not_held);
    cr_expect_geq(not_held, 10);
}

Test(bench_at_fault, supply_shut_for_a_while)
{
    size_t not_held = 0;
    supply_shut_at_any_time(5, &not_held);
    cr_expect_geq(not_held, 10);
}

/* The vent shut from outside while a flow is recorded: the leak goes into the volume until it holds itself
 * back. */
Test(bench_at_fault, vent_shut_while_a_flow_is_recorded)
{
    for (double at = 10; at < 130; at += 4) {
        struct virtual_run x;
        make(&x, true, "virtual-bench-part-turn.json", LIBRARY "relay-leak.json", 20260203,
             "relay seat leaks to output 1", 0.5);
        struct intruder i = {.v = x.v, .from = at, .to = at + 8, .role = ES_ROLE_OUTPUT_1_VENT, .value = 0};
        const struct es_run_watch watch = {.self = &i, .values = intrude};
        virtual_run(&x, &watch);
        for (size_t k = 0; k < x.outcome.line_count; k++) {
            const struct es_line *l = &x.outcome.lines[k];
            if (strncmp(l->measurand, "leak of output 1", 16) == 0)
                cr_expect(l->verdict == ES_FAIL || l->verdict == ES_NOT_TESTED, "shut at %g s: %s: %s", at,
                          l->measurand, es_verdict_word(l->verdict));
        }
        virtual_run_free(&x);
    }
}

static bool blames_supply(const struct es_line *l)
{
    return l->reason != NULL && strstr(l->reason, "the bench's supply") != NULL;
}

/* Follows from a line that blames the supply: nothing was recorded to take a span from, or the plan did not
 * go on. */
static bool follows(const struct es_line *l)
{
    return l->reason != NULL && (strstr(l->reason, "the span is not known") != NULL ||
                                 strstr(l->reason, "\"relay direction\" did not pass") != NULL ||
                                 strstr(l->reason, "\"held pressure\" did not pass") != NULL ||
                                 strstr(l->reason, "the output was not filled") != NULL);
}

/* A bench with poor air: no line fails, and what is not tested says why. */
Test(bench_at_fault, poor_air_is_no_fault_of_the_unit)
{
    static const struct {
        const char *fault;
        double severity;
        bool held; /* the bench still holds what is counted on */
    } cases[] = {{"filter clogged", 0.4, true},  {"filter clogged", 0.65, false},
                 {"filter clogged", 0.8, false}, {"filter clogged", 1, false},
                 {"supply low", 0.3, true},      {"supply low", 0.7, false},
                 {"supply low", 0.85, false},    {"supply low", 1, false}};

    for (size_t t = 0; t < 2; t++)
        for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
            struct virtual_run x;
            make(&x, t == 1, t == 1 ? "virtual-bench-part-turn.json" : "virtual-bench.json",
                 LIBRARY "after-relay-swap.plan.json", 3, cases[k].fault, cases[k].severity);
            virtual_run(&x, NULL);
            cr_expect_eq(x.outcome.verdict, cases[k].held ? ES_PASS : ES_NOT_TESTED, "%s %g on type %zu: %s",
                         cases[k].fault, cases[k].severity, t, es_verdict_word(x.outcome.verdict));
            size_t blamed = 0;
            for (size_t n = 0; n < x.outcome.line_count; n++) {
                const struct es_line *l = &x.outcome.lines[n];
                if (!l->limit.required)
                    continue;
                blamed += blames_supply(l);
                cr_expect(l->verdict == ES_PASS ||
                              (l->verdict == ES_NOT_TESTED && (blames_supply(l) || follows(l))),
                          "%s %g on type %zu: %s: %s, %s", cases[k].fault, cases[k].severity, t, l->measurand,
                          es_verdict_word(l->verdict), l->reason != NULL ? l->reason : "");
            }
            cr_expect(cases[k].held ? blamed == 0 : blamed > 0,
                      "%s %g on type %zu: %zu lines blame the supply", cases[k].fault, cases[k].severity, t,
                      blamed);
            virtual_run_free(&x);
        }
}

/* Bands that good benches keep, also those on a serial line. */
Test(bench_at_fault, good_benches_hold_what_is_counted_on)
{
    static const char *const benches[] = {"virtual-bench.json", "virtual-bench-part-turn.json",
                                          "virtual-bench-rtu.json"};

    for (uint64_t seed = 1; seed <= 12; seed++)
        for (size_t k = 0; k < 3; k++) {
            struct virtual_run x;
            make(&x, k == 1, benches[k], LIBRARY "after-relay-swap.plan.json", seed, NULL, 0);
            virtual_run(&x, NULL);
            cr_expect_eq(x.outcome.verdict, ES_PASS, "%s, seed %d: %s", benches[k], (int)seed,
                         es_verdict_word(x.outcome.verdict));
            for (size_t n = 0; n < x.outcome.line_count; n++) {
                const struct es_line *l = &x.outcome.lines[n];
                cr_expect(l->reason == NULL || strstr(l->reason, "held during") == NULL,
                          "%s, seed %d: %s: %s", benches[k], (int)seed, l->measurand, l->reason);
                cr_expect(l->verdict != ES_FAIL || !l->limit.required, "%s, seed %d: %s: %s", benches[k],
                          (int)seed, l->measurand, l->reason);
            }
            virtual_run_free(&x);
        }
}

static void drop_motor(cJSON *array)
{
    for (int i = cJSON_GetArraySize(array) - 1; i >= 0; i--) {
        const char *role = cJSON_GetStringValue(cJSON_GetObjectItem(cJSON_GetArrayItem(array, i), "role"));
        if (role != NULL && (strcmp(role, "shaft drive") == 0 || strcmp(role, "shaft coupling") == 0))
            cJSON_DeleteItemFromArray(array, i);
    }
}

/* The shipped bench without its shaft motor, in a file of its own. */
static void write_bench_without_motor(const char *path)
{
    char *text = NULL;
    size_t length;
    struct es_error err;

    cr_assert_eq(es_file_read(NULL, BENCHES "virtual-bench.json", 1 << 20, &text, &length, &err), ES_OK);
    cJSON *bench = cJSON_Parse(text);
    cJSON *station = cJSON_GetArrayItem(cJSON_GetObjectItem(bench, "stations"), 0);
    drop_motor(cJSON_GetObjectItem(station, "channels"));
    drop_motor(cJSON_GetObjectItem(station, "ceilings"));
    drop_motor(cJSON_GetObjectItem(cJSON_GetObjectItem(station, "safe state"), "writes"));
    free(text);
    text = cJSON_Print(bench);
    cJSON_Delete(bench);
    FILE *to = fopen(path, "w");
    cr_assert_not_null(to);
    cr_assert_geq(fputs(text, to), 0);
    cr_assert_eq(fclose(to), 0);
    cJSON_free(text);
}

/* Without a shaft motor an unattended run is refused, at each step that would ask, before anything moves. */
Test(bench_at_fault, no_motor_and_nobody_there)
{
    char folder[] = "/tmp/endstop-test-XXXXXX", path[64];
    struct virtual_run x;
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "test-run"};

    cr_assert_not_null(mkdtemp(folder));
    (void)snprintf(path, sizeof path, "%s/bench.json", folder);
    write_bench_without_motor(path);
    make_at(&x, false, path, LIBRARY "after-relay-swap.plan.json", 3, NULL, 0);
    (void)remove(path);
    (void)remove(folder);
    cr_expect_eq(es_run_execute(&x.order, es_virtual_station_site(x.station), &places, NULL, &x.findings,
                                &x.outcome, &x.report, &x.err),
                 ES_BAD_INPUT);
    cr_expect_eq(es_virtual_now(x.v), 0, "something moved");
    cr_assert_eq(x.findings.count, 3); /* turn shaft, and two sweeps */
    cr_expect_str_eq(x.findings.items[0].found, "turn shaft");
    cr_expect_not_null(strstr(x.findings.items[0].expected, "shaft motor"));
    cr_expect_gt(x.findings.items[0].line, 0);
    virtual_run_free(&x);
}

/* The whole plan through the real engine, measures and judgement on the virtual bench in virtual time: a good
 * unit, a leaking one, and runs that are taken down on the way. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/recording_file.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

#define LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define TYPES   ES_SOURCE_DIR "/procedures/types/"
#define BENCHES ES_SOURCE_DIR "/rig/bench/examples/"

struct fixture {
    struct es_bench *bench;
    struct es_virtual *v;
    struct es_virtual_station *station;
    const struct es_site *site;
    struct es_run_order order;
    struct es_run_places places;
    struct es_findings findings;
    struct es_outcome outcome;
    struct es_safe_report report;
    struct es_error err;
};

static void make(struct fixture *x, enum es_virtual_type type, const char *fault, double severity,
                 const struct es_virtual_station_options *options)
{
    memset(x, 0, sizeof *x);
    const char *file = type == ES_VIRTUAL_LINEAR_SINGLE_ACTING ? BENCHES "virtual-bench.json"
                                                               : BENCHES "virtual-bench-part-turn.json";
    enum es_status status = es_bench_load(file, &x->findings, &x->bench, &x->err);
    es_findings_print(&x->findings, stderr);
    cr_assert_eq(status, ES_OK, "%s", x->err.text);
    struct es_virtual_config config;
    struct es_virtual_fault_setting setting = {.severity = severity};
    es_virtual_config_init(&config, type);
    es_virtual_config_from_station(&x->bench->stations[0], &config);
    config.seed = 20260203;
    if (fault) {
        setting.fault = es_virtual_fault_find(fault);
        cr_assert_geq(setting.fault, 0, "no fault \"%s\"", fault);
        config.faults = &setting;
        config.fault_count = 1;
    }
    cr_assert_eq(es_virtual_new(&config, &x->v, &x->err), ES_OK, "%s", x->err.text);
    cr_assert_eq(
        es_virtual_station_open(x->bench, &x->bench->stations[0], x->v, options, &x->station, &x->err),
        ES_OK);
    x->site = es_virtual_station_site(x->station);
    x->order = (struct es_run_order){.plan_path = LIBRARY "after-relay-swap.plan.json",
                                     .type_path = type == ES_VIRTUAL_LINEAR_SINGLE_ACTING
                                                      ? TYPES "linear-single-acting.json"
                                                      : TYPES "part-turn-double-acting.json",
                                     .serial = "EX-0001",
                                     .person = "Ada Example",
                                     .unattended = true,
                                     .state = "as left",
                                     .seed = 7};
    x->places.now = "2026-11-25T08:00:00.000Z";
    x->places.run = "test-run";
    es_outcome_init(&x->outcome);
}

static enum es_status run(struct fixture *x, const struct es_run_watch *watch)
{
    enum es_status status =
        es_run_execute(&x->order, x->site, &x->places, watch, &x->findings, &x->outcome, &x->report, &x->err);
    es_findings_print(&x->findings, stderr);
    return status;
}

static void finish(struct fixture *x)
{
    es_outcome_free(&x->outcome);
    es_virtual_station_close(x->station);
    es_virtual_free(x->v);
    es_bench_free(x->bench);
    es_findings_free(&x->findings);
}

static void print_lines(const struct es_outcome *o)
{
    for (size_t i = 0; i < o->line_count; i++) {
        const struct es_line *l = &o->lines[i];
        const struct es_unit *unit = l->limit.unit ? l->limit.unit : es_dimension_unit(l->value.dimension);
        char text[64] = "-", u[64] = "-";
        if (l->value.valid) {
            es_quantity_format(l->value.value, unit, 4, text, sizeof text);
            snprintf(u, sizeof u, "%.3g", es_to_unit_difference(l->value.U, unit));
        }
        fprintf(stderr, "%-16s %-50s %16s U %-8s %s %s\n", l->procedure, l->measurand, text, u,
                es_verdict_word(l->verdict), l->reason ? l->reason : "");
    }
    fprintf(stderr, "completed %d verdict %s because %s\n", o->completed, es_verdict_word(o->verdict),
            o->ended_because ? o->ended_because : "-");
}

static const enum es_virtual_type types[] = {ES_VIRTUAL_LINEAR_SINGLE_ACTING,
                                             ES_VIRTUAL_PART_TURN_DOUBLE_ACTING};

/* The same rule as on a bench: somebody shuts the supply valve. */
Test(virtual_run, outputs_changed_by_another_are_noticed)
{
    struct fixture x;
    char cause[256];
    es_time acted;
    make(&x, types[0], NULL, 0, NULL);
    struct es_site_order order = {.run = "test"};
    order.needed[ES_ROLE_SUPPLY_VALVE] = true;
    const struct es_port *p = &x.site->port;
    cr_assert_eq(x.site->begin(x.site->self, &order, &x.err), ES_OK, "%s", x.err.text);
    cr_assert_eq(p->write(p->self, ES_ROLE_SUPPLY_VALVE, 1, &acted, &x.err), ES_OK, "%s", x.err.text);
    cr_assert_eq(p->sleep_until(p->self, p->now(p->self) + 2 * ES_NS_PER_S, &x.err), ES_OK, "%s", x.err.text);
    es_time changed = p->now(p->self);
    cr_assert_eq(es_virtual_happen(x.v, ES_ROLE_SUPPLY_VALVE, 0, &x.err), ES_OK, "%s", x.err.text);
    cr_assert_eq(p->sleep_until(p->self, changed + 2 * ES_NS_PER_S, &x.err), ES_INTERLOCK);
    x.site->end(x.site->self, &x.report);
    double seconds = x.site->tripped(x.site->self, cause, sizeof cause);
    cr_expect_str_eq(cause,
                     "supply valve is shut, but was commanded open: another program or a person changed it");
    cr_expect(x.report.reached && seconds < 1, "%g s", seconds);
    cr_expect_lt(es_seconds(p->now(p->self) - changed), 1.2, "two answers at 5 Hz, and the safe state");
    finish(&x);
}

Test(virtual_run, good_units_pass)
{
    for (size_t i = 0; i < 2; i++) {
        struct fixture x;
        make(&x, types[i], NULL, 0, NULL);
        cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
        print_lines(&x.outcome);
        cr_expect(x.outcome.completed, "%s", x.outcome.ended_because);
        cr_expect_eq(x.outcome.verdict, ES_PASS);
        cr_expect_geq(x.outcome.line_count, 15);
        cr_expect_eq(x.outcome.procedure_count, 8, "%zu", x.outcome.procedure_count);
        cr_expect_geq(x.outcome.instrument_count, 6);
        cr_expect_eq(x.outcome.environment_count, 4);
        cr_expect(isnan(x.outcome.safe_state_time));
        cr_expect(x.report.reached, "%s", x.report.sentence);
        cr_expect_not(x.outcome.clock_synchronised);
        cr_expect_str_eq(x.outcome.began, "2026-11-25T08:00:00.000Z");
        /* A whole plan is well under 12 minutes of bench time. */
        cr_expect(es_seconds(es_virtual_now(x.v)) < 720, "%f s", es_seconds(es_virtual_now(x.v)));
        fprintf(stderr, "bench time %.1f s\n", es_seconds(es_virtual_now(x.v)));
        finish(&x);
    }
}

Test(virtual_run, leaking_relay_fails)
{
    struct fixture x;
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, "relay seat leaks to output 1", 0.2, NULL);
    cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
    print_lines(&x.outcome);
    cr_expect(x.outcome.completed, "%s", x.outcome.ended_because);
    cr_expect_eq(x.outcome.verdict, ES_FAIL);
    bool leak_fails = false;
    for (size_t i = 0; i < x.outcome.line_count; i++) {
        leak_fails |= strstr(x.outcome.lines[i].measurand, "leak") && x.outcome.lines[i].verdict == ES_FAIL;
    }
    cr_expect(leak_fails);
    finish(&x);
}

/* ---- Runs that do not complete ---- */

struct stopper {
    struct fixture *x;
    double after; /* s of the run */
    enum es_role role;
    double value;
    bool stop;
    bool done;
    unsigned values;
};

/* Watches the values go by and lets something happen at a bench time. */
static void happen(void *self, const struct es_reading *by_role)
{
    struct stopper *s = self;
    (void)by_role;
    s->values++;
    if (s->done || es_seconds(es_virtual_now(s->x->v)) < s->after) {
        return;
    }
    s->done = true;
    if (s->stop) {
        es_site_stop(s->x->site, "by Ada Example");
    } else {
        struct es_error err;
        cr_assert_eq(es_virtual_happen(s->x->v, s->role, s->value, &err), ES_OK);
    }
}

static void expect_safe(const struct fixture *x)
{
    cr_expect(x->report.reached, "%s", x->report.sentence);
    cr_expect_eq(es_virtual_reading(x->v, ES_ROLE_SUPPLY_VALVE).value, 0);
    cr_expect_eq(es_virtual_reading(x->v, ES_ROLE_OUTPUT_1_VENT).value, 1);
    cr_expect_float_eq(es_virtual_reading(x->v, ES_ROLE_SUPPLY_DEMAND).value, 0, 500);
}

static void expect_not_completed(const struct fixture *x, const char *why)
{
    cr_expect_not(x->outcome.completed);
    cr_expect_eq(x->outcome.verdict, ES_NOT_TESTED);
    cr_assert_not_null(x->outcome.ended_because);
    cr_expect_not_null(strstr(x->outcome.ended_because, why), "%s", x->outcome.ended_because);
    for (size_t i = 0; i < x->outcome.line_count; i++) {
        cr_expect(x->outcome.lines[i].verdict == ES_NOT_TESTED || x->outcome.lines[i].value.valid);
    }
    expect_safe(x);
}

Test(virtual_run, emergency_stop_and_guard)
{
    static const enum es_role roles[] = {ES_ROLE_EMERGENCY_STOP, ES_ROLE_GUARD};
    static const char *const words[] = {"emergency stop", "guard"};
    for (size_t i = 0; i < 2; i++) {
        struct fixture x;
        make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, NULL);
        struct stopper s = {.x = &x, .after = 150, .role = roles[i]};
        struct es_run_watch watch = {.self = &s, .values = happen};
        cr_assert_eq(run(&x, &watch), ES_OK, "%s", x.err.text);
        expect_not_completed(&x, words[i]);
        cr_expect_gt(s.values, 1000);
        cr_expect(x.outcome.safe_state_time > 0 && x.outcome.safe_state_time < 1, "%f s",
                  x.outcome.safe_state_time);
        /* The site can be used again once the cause is gone. */
        struct es_error err;
        cr_assert_eq(es_virtual_happen(x.v, roles[i], 1, &err), ES_OK);
        es_outcome_free(&x.outcome);
        cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
        cr_expect(x.outcome.completed, "%s", x.outcome.ended_because);
        finish(&x);
    }
}

Test(virtual_run, stop_by_a_person)
{
    struct fixture x;
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, NULL);
    struct stopper s = {.x = &x, .after = 150, .stop = true};
    struct es_run_watch watch = {.self = &s, .values = happen};
    cr_assert_eq(run(&x, &watch), ES_OK, "%s", x.err.text);
    expect_not_completed(&x, "Ada Example");
    cr_expect(x.outcome.safe_state_time >= 0 && x.outcome.safe_state_time < 1);
    finish(&x);
}

Test(virtual_run, instrument_falls_silent)
{
    struct fixture x;
    struct es_virtual_station_options options = {.silent_instrument = "measuring panel", .silent_from = 160};
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, &options);
    cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
    cr_expect_not(x.outcome.completed);
    cr_expect_eq(x.outcome.verdict, ES_NOT_TESTED);
    /* The regulator is on that instrument: the valve is shut, and nobody claims that all is safe. */
    cr_expect_not(x.report.reached);
    cr_expect_not_null(strstr(x.outcome.ended_because, "NOT SAFE"), "%s", x.outcome.ended_because);
    cr_expect(isnan(x.outcome.safe_state_time), "never safe, so at no time");
    cr_expect_not_null(strstr(x.outcome.ended_because, "supply demand"), "%s", x.outcome.ended_because);
    cr_expect_eq(es_virtual_reading(x.v, ES_ROLE_SUPPLY_VALVE).value, 0);
    finish(&x);
}

/* ---- What is refused before anything moves ---- */

Test(virtual_run, overdue_calibration_is_refused_or_carried)
{
    struct fixture x;
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, NULL);
    struct es_bench_channel *c =
        (struct es_bench_channel *)(uintptr_t)es_station_channel(x.site->station, ES_ROLE_TRAVEL);
    strcpy(c->calibration.due, "2026-11-24");
    es_time before = es_virtual_now(x.v);
    cr_expect_eq(run(&x, NULL), ES_BAD_INPUT);
    cr_expect_eq(es_virtual_now(x.v), before, "something moved");
    cr_expect_eq(x.findings.count, 1);
    cr_expect_not_null(strstr(x.findings.items[0].found, "travel"));
    es_findings_free(&x.findings);
    x.order.overdue_reason = "checked against the length gauge this morning";
    cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
    cr_expect(x.outcome.completed);
    bool carried = false;
    for (size_t i = 0; i < x.outcome.confirmation_count; i++) {
        const struct es_confirmation *k = &x.outcome.confirmations[i];
        carried |= strstr(k->text, "travel") && strstr(k->answer, "length gauge") &&
                   !strcmp(k->person, "Ada Example");
    }
    cr_expect(carried);
    finish(&x);
}

Test(virtual_run, orders_without_name_or_serial_are_refused)
{
    struct fixture x;
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, NULL);
    x.order.person = " ";
    cr_expect_eq(run(&x, NULL), ES_USAGE);
    x.order.person = "Ada Example";
    x.order.serial = NULL;
    cr_expect_eq(run(&x, NULL), ES_USAGE);
    x.order.serial = "EX-1";
    x.order.state = "shiny";
    cr_expect_eq(run(&x, NULL), ES_USAGE);
    x.order.state = NULL;
    x.order.plan_path = LIBRARY "no-such.plan.json";
    cr_expect_neq(run(&x, NULL), ES_OK);
    cr_expect_eq(es_virtual_now(x.v), 0);
    finish(&x);
}

/* ---- Same seed, same bytes ---- */

Test(virtual_run, same_seed_same_numbers)
{
    double values[2][64];
    for (size_t k = 0; k < 2; k++) {
        struct fixture x;
        make(&x, ES_VIRTUAL_PART_TURN_DOUBLE_ACTING, NULL, 0, NULL);
        cr_assert_eq(run(&x, NULL), ES_OK);
        for (size_t i = 0; i < x.outcome.line_count && i < 64; i++) {
            values[k][i] = x.outcome.lines[i].value.value;
            cr_expect_eq(memcmp(&values[0][i], &values[k][i], sizeof values[0][i]), 0, "line %zu", i);
        }
        finish(&x);
    }
}

/* ---- Journal and recordings ---- */

static void empty_folder(const char *folder)
{
    char command[256];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    cr_assert_eq(system(command), 0);
}

Test(virtual_run, journal_and_recordings_are_kept)
{
    char folder[] = "/tmp/endstop-test-XXXXXX", journals[64], recordings[64];
    cr_assert_not_null(mkdtemp(folder));
    snprintf(journals, sizeof journals, "%s/journals", folder);
    snprintf(recordings, sizeof recordings, "%s/recordings", folder);
    struct fixture x;
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, NULL);
    x.places.journals = journals;
    x.places.recordings = recordings;
    cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
    cr_expect(x.outcome.completed, "%s", x.outcome.ended_because);
    cr_expect_gt(x.outcome.recording_count, 3);
    for (size_t i = 0; i < x.outcome.recording_count; i++) {
        const struct es_recording_record *r = &x.outcome.recordings[i];
        char path[256];
        struct es_trace *t;
        snprintf(path, sizeof path, "%s/%s", recordings, r->file);
        cr_assert_eq(es_recording_read(NULL, path, r->digest, &t, &x.err), ES_OK, "%s", x.err.text);
        cr_expect_str_eq(t->name, r->name);
        es_trace_free(t);
    }
    /* Ended, but nobody has kept a certificate yet. */
    struct es_interrupted *items;
    size_t count;
    cr_assert_eq(es_run_interrupted(journals, &items, &count, &x.err), ES_OK);
    cr_assert_eq(count, 1);
    cr_expect(items[0].ended);
    cr_expect_not(items[0].damaged);
    cr_expect_str_eq(items[0].run, "test-run");
    cr_expect_str_eq(items[0].serial, "EX-0001");
    cr_expect_gt(items[0].covered, 300);
    es_run_interrupted_free(items, count);
    cr_assert_eq(es_run_settle(&x.places, "test-run", &x.err), ES_OK);
    cr_assert_eq(es_run_interrupted(journals, &items, &count, &x.err), ES_OK);
    cr_expect_eq(count, 0);
    free(items);
    finish(&x);
    empty_folder(folder);
}

/* Cuts the journal of a whole run at a byte, as a crash would. */
static void cut(const char *from, const char *to, double share)
{
    char *bytes;
    size_t length;
    struct es_error err;
    cr_assert_eq(es_file_read(NULL, from, 1u << 30, &bytes, &length, &err), ES_OK);
    FILE *f = fopen(to, "wb");
    cr_assert_not_null(f);
    cr_assert_eq(fwrite(bytes, 1, (size_t)(share * (double)length), f), (size_t)(share * (double)length));
    fclose(f);
    free(bytes);
}

Test(virtual_run, interrupted_run_is_recovered_from_any_cut)
{
    char folder[] = "/tmp/endstop-test-XXXXXX", whole[64], cuts[64], recordings[64], from[128], to[128];
    cr_assert_not_null(mkdtemp(folder));
    snprintf(whole, sizeof whole, "%s/whole", folder);
    snprintf(cuts, sizeof cuts, "%s/cuts", folder);
    snprintf(recordings, sizeof recordings, "%s/recordings", folder);
    struct fixture x;
    make(&x, ES_VIRTUAL_LINEAR_SINGLE_ACTING, NULL, 0, NULL);
    x.places.journals = whole;
    cr_assert_eq(run(&x, NULL), ES_OK, "%s", x.err.text);
    cr_assert_eq(es_folder_make(NULL, cuts, 0750, &x.err), ES_OK);
    snprintf(from, sizeof from, "%s/test-run.journal", whole);
    snprintf(to, sizeof to, "%s/test-run.journal", cuts);
    double last = -1;
    static const double shares[] = {0.00001, 0.2, 0.4, 0.6, 0.8, 0.999};
    for (size_t i = 0; i < sizeof shares / sizeof shares[0]; i++) {
        cut(from, to, shares[i]);
        struct es_interrupted *items;
        struct es_outcome o;
        size_t count;
        cr_assert_eq(es_run_interrupted(cuts, &items, &count, &x.err), ES_OK, "%s", x.err.text);
        cr_assert_eq(count, 1);
        cr_expect(items[0].damaged);
        cr_expect_not(items[0].ended);
        cr_expect_geq(items[0].covered, last);
        last = items[0].covered;
        es_outcome_init(&o);
        cr_assert_eq(es_run_interrupted_outcome(&items[0], recordings, &o, &x.err), ES_OK, "%s", x.err.text);
        cr_expect_not(o.completed);
        cr_expect_eq(o.verdict, ES_NOT_TESTED);
        cr_expect_not_null(strstr(o.ended_because, "interrupted"));
        cr_expect_str_eq(o.run, "test-run");
        if (i > 2) {
            cr_expect_str_eq(o.unit_serial, "EX-0001");
            cr_expect_gt(o.recording_count, 0);
        }
        cr_assert_eq(es_run_interrupted_settle(&items[0], &x.err), ES_OK);
        es_outcome_free(&o);
        es_run_interrupted_free(items, count);
    }
    finish(&x);
    empty_folder(folder);
}

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
        cr_expect_eq(x.outcome.procedure_count, 5);
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

/* The shipped procedures and plan: read, proved, explained and run on a bench in memory. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/explain.h"
#include "rig/base/text.h"
#include "tests/unit/engine/fake_bench.h"

#define PLAN ES_SOURCE_DIR "/procedures/library/after-relay-swap.plan.json"

static const char *const types[] = {"linear-single-acting", "part-turn-double-acting"};

static struct es_plan *load_plan(void)
{
    struct es_findings f = {0};
    struct es_error err;
    struct es_plan *plan = NULL;

    const enum es_status s = es_plan_load(PLAN, &f, &plan, &err);
    es_findings_print(&f, stderr);
    es_findings_free(&f);
    cr_assert_eq(s, ES_OK);
    return plan;
}

static void show(const struct es_outcome *o)
{
    for (size_t i = 0; i < o->line_count; i++)
        fprintf(stderr, "%-14s %-45s %-10s %g +- %g  %s\n", o->lines[i].procedure, o->lines[i].measurand,
                es_verdict_word(o->lines[i].verdict), o->lines[i].value.value, o->lines[i].value.U,
                o->lines[i].reason != NULL ? o->lines[i].reason : "");
}

Test(library, the_plan_is_proved_for_both_types)
{
    struct es_plan *plan = load_plan();

    for (size_t i = 0; i < 2; i++) {
        struct es_type *type = load_shipped_type(types[i]);
        struct fake_bench *b = fake_bench_new(type);
        struct es_findings f = {0};
        struct es_check_report report;
        struct es_error err;
        const enum es_status s = es_plan_check(plan, &b->view, type, &f, &report, &err);
        es_findings_print(&f, stderr);
        cr_assert_eq(s, ES_OK);
        /* the sum of all bounds; that good units and those whose self-adjustment never ends take less than
         * 12 minutes: tests/system/library */
        cr_expect_leq(report.bench_time, 20 * 60.0, "%g s", report.bench_time);
        for (size_t k = 0; k < report.not_checked_count; k++) /* nothing but what only recordings show */
            cr_expect(strstr(report.not_checked[k], "only in a recording") != NULL, "%s",
                      report.not_checked[k]);
        cr_expect_eq(report.remark_count, 0, "%s", report.remark_count > 0 ? report.remarks[0] : "");
        cr_expect_gt(report.line_count, 30);
        for (size_t k = 0; k < report.line_count; k++)
            cr_expect_null(report.lines[k].not_tested);
        es_check_report_free(&report);
        es_findings_free(&f);
        fake_bench_free(b);
        es_type_free(type);
    }
    es_plan_free(plan);
}

/* The claim of the proof: no run outlasts it, on a bench as slow as it allows for. */
static void run(const char *type_name, double write_time, bool stuck, bool motor, bool unattended)
{
    struct es_plan *plan = load_plan();
    struct es_type *type = load_shipped_type(type_name);
    struct fake_bench *b = fake_bench_new(type);
    struct es_outcome o;
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;

    b->write_time = write_time;
    b->stuck = stuck;
    if (!motor) {
        b->fitted[ES_ROLE_SHAFT_DRIVE] = b->fitted[ES_ROLE_SHAFT_COUPLING] = false;
        b->view.roles[ES_ROLE_SHAFT_DRIVE] = b->view.roles[ES_ROLE_SHAFT_COUPLING] =
            (struct es_station_role){0};
    }
    es_outcome_init(&o);
    cr_assert_eq(es_plan_check(plan, &b->view, type, &f, &report, &err), ES_OK);
    struct es_execute_options options = fake_options(b);
    options.unattended = unattended;
    const double begin = b->now;
    const enum es_status s = es_plan_execute(plan, type, &b->port, &options, NULL, &o, &err);
    cr_assert_eq(s, ES_OK, "%s", err.text);
    if (!stuck && motor)
        show(&o);
    cr_expect(o.completed);
    cr_expect_leq(b->now - begin, report.bench_time + report.operator_time);
    if (unattended)
        cr_expect_leq(b->now - begin, report.bench_time);
    cr_expect_leq(b->worst_sum, report.bench_time + report.operator_time + 1e-6);
    cr_expect_geq(b->least_remaining, -1e-9);
    cr_expect_eq(o.procedure_count, plan->entry_count);
    cr_expect_eq(b->recordings_begun, b->recordings_ended);
    size_t lines = 0;
    for (size_t k = 0; k < report.line_count; k++)
        lines += report.lines[k].applies;
    cr_expect_eq(o.line_count, lines, "%zu lines, %zu proved", o.line_count, lines);
    size_t points = 0;
    for (size_t k = 0; k < o.curve_count; k++)
        points += o.curves[k].count;
    cr_expect(points > 100 && points <= ES_CURVE_POINTS, "%zu points", points);
    cr_expect_eq(o.attended, !unattended);
    cr_expect_geq(o.confirmation_count, 5);
    es_outcome_free(&o);
    es_check_report_free(&report);
    es_findings_free(&f);
    fake_bench_free(b);
    es_type_free(type);
    es_plan_free(plan);
}

Test(library, a_run_keeps_within_its_time_linear)
{
    run("linear-single-acting", 0.002, false, true, false);
}

Test(library, a_run_keeps_within_its_time_part_turn)
{
    run("part-turn-double-acting", 0.002, false, true, true);
}

Test(library, a_slow_bench_keeps_within_its_time)
{
    run("part-turn-double-acting", 0.2, false, true, true);
}

Test(library, a_stuck_actuator_keeps_within_its_time)
{
    run("linear-single-acting", 0.02, true, true, true);
}

Test(library, a_bench_without_motor_asks)
{
    run("linear-single-acting", 0.02, false, false, false);
}

Test(library, the_sheet_says_cautions_before_steps)
{
    struct es_error err;
    struct es_findings f = {0};
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);

    cr_assert_eq(es_explain_file(ES_SOURCE_DIR "/procedures/library/relay-leak.json", NULL, &f, to, &err),
                 ES_OK);
    (void)fclose(to);
    const char *cautions = strstr(text, "CAUTIONS"), *steps = strstr(text, "Steps");
    cr_assert(cautions != NULL && steps != NULL && cautions < steps);
    cr_expect_not_null(strstr(text, "no safety"));
    cr_expect_not_null(strstr(text, "What is measured and judged"));
    cr_expect_not_null(strstr(text, "Longest duration"));
    free(text);
}

/* The skeletons of docs/write-a-procedure.md are read and proved as they stand. */
Test(library, the_guides_skeleton_is_proved)
{
    FILE *from = fopen(ES_SOURCE_DIR "/docs/write-a-procedure.md", "r");
    static char text[20000];
    struct es_findings f = {0};
    struct es_error err;
    struct es_document *doc = NULL;
    struct es_procedure *p = NULL;
    struct es_check_report report;

    cr_assert_not_null(from);
    const size_t n = fread(text, 1, sizeof text - 1, from);
    (void)fclose(from);
    cr_assert_gt(n, 0);
    const char *begin = strstr(text, "```json\n");
    cr_assert_not_null(begin);
    begin += strlen("```json\n");
    const char *end = strstr(begin, "```");
    cr_assert_not_null(end);
    cr_assert_eq(es_document_parse("skeleton", begin, (size_t)(end - begin), &f, &doc, &err), ES_OK);
    cr_assert_eq(es_procedure_from_document(doc, &f, &p, &err), ES_OK, "%s", err.text);
    cr_expect_eq(es_procedure_check(p, NULL, NULL, &f, &report, &err), ES_OK);
    cr_expect_eq(report.line_count, 1);
    es_check_report_free(&report);
    es_procedure_free(p);
    es_document_free(doc);
}

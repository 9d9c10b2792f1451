/* Every shipped procedure and plan, whatever is added to the library: read, proved for each type of unit that
 * it is for, explained, and run within its time on a bench in memory. */
#include <criterion/criterion.h>
#include <glob.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/explain.h"
#include "rig/base/text.h"
#include "tests/unit/engine/fake_bench.h"

static const char *const complete[] = {"linear-single-acting",    "linear-single-acting-plain",
                                       "linear-double-acting",    "part-turn-single-acting",
                                       "part-turn-double-acting", NULL};
static const char *const any_relay[] = {"linear-single-acting", "part-turn-double-acting",
                                        "relay-module-single-acting", "relay-module-double-acting", NULL};
static const char *const modules[] = {"relay-module-single-acting", "relay-module-double-acting", NULL};
static const char *const block[] = {"self-proof-block", NULL};

/* The types that a document is for; complete units when it is not named here. */
static const struct {
    const char *file;
    const char *const *types;
} fits[] = {
    {"loop-and-supply.json", any_relay},          {"relay-leak.json", any_relay},
    {"relay-capacity.json", any_relay},           {"relay-module-direction.json", modules},
    {"incoming-relay-module.plan.json", modules}, {"bench-self-proof.json", block},
    {"bench-self-proof.plan.json", block},
};

static const char *const *types_for(const char *path)
{
    const char *slash = strrchr(path, '/');

    for (size_t i = 0; i < sizeof fits / sizeof fits[0]; i++)
        if (strcmp(slash + 1, fits[i].file) == 0)
            return fits[i].types;
    return complete;
}

static void each(void (*look)(const char *path, const char *type))
{
    glob_t found;

    cr_assert_eq(glob(ES_SOURCE_DIR "/procedures/library/*.json", 0, NULL, &found), 0);
    cr_assert_geq(found.gl_pathc, 21); /* fourteen procedures, one for relay modules, six plans */
    for (size_t i = 0; i < found.gl_pathc; i++)
        for (const char *const *type = types_for(found.gl_pathv[i]); *type != NULL; type++)
            look(found.gl_pathv[i], *type);
    globfree(&found);
}

static struct es_plan *load(const char *path)
{
    struct es_findings f = {0};
    struct es_error err;
    struct es_plan *plan = NULL;

    const enum es_status s = es_plan_load_any(path, &f, &plan, &err);
    es_findings_print(&f, stderr);
    es_findings_free(&f);
    cr_assert_eq(s, ES_OK, "%s: %s", path, err.text);
    return plan;
}

static void proved(const char *path, const char *type_name)
{
    struct es_plan *plan = load(path);
    struct es_type *type = load_shipped_type(type_name);
    struct fake_bench *b = fake_bench_new(type);
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;
    size_t applies = 0;

    const enum es_status s = es_plan_check(plan, &b->view, type, &f, &report, &err);
    es_findings_print(&f, stderr);
    cr_expect_eq(s, ES_OK, "%s for %s", path, type_name);
    for (size_t k = 0; k < report.not_checked_count; k++) /* nothing but what only recordings show */
        cr_expect(strstr(report.not_checked[k], "only in a recording") != NULL, "%s for %s: %s", path,
                  type_name, report.not_checked[k]);
    for (size_t k = 0; k < report.remark_count; k++)
        cr_expect(strstr(report.remarks[k], "test uncertainty ratio") != NULL, "%s for %s: %s", path,
                  type_name, report.remarks[k]);
    for (size_t k = 0; k < report.line_count; k++) {
        applies += report.lines[k].applies;
        cr_expect_null(report.lines[k].not_tested, "%s for %s: %s: %s", path, type_name,
                       report.lines[k].measurand, report.lines[k].not_tested);
    }
    cr_expect_gt(applies, 0, "%s for %s judges nothing", path, type_name);
    es_check_report_free(&report);
    es_findings_free(&f);
    fake_bench_free(b);
    es_type_free(type);
    es_plan_free(plan);
}

Test(shipped, all_are_proved)
{
    each(proved);
}

static void widths(const struct es_plan *plan, const struct es_type *type, const char *path)
{
    struct es_error err;
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);

    cr_assert_eq(es_explain_plan(plan, type, to, &err), ES_OK);
    (void)fclose(to);
    cr_expect_not_null(strstr(text, "CAUTIONS"));
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        cr_expect_leq(es_utf8_count(line), 78, "%s: %s", path, line);
        cr_expect(strstr(line, "..") == NULL && strstr(line, " .") == NULL && strstr(line, "(null)") == NULL,
                  "%s: %s", path, line);
    }
    free(text);
}

static void explained(const char *path, const char *type_name)
{
    struct es_plan *plan = load(path);
    struct es_type *type = load_shipped_type(type_name);

    widths(plan, NULL, path);
    widths(plan, type, path);
    es_type_free(type);
    es_plan_free(plan);
}

Test(shipped, all_are_explained)
{
    each(explained);
}

/* The claim of the proof: no run outlasts it, on a bench as slow as it allows for, with an actuator that does
 * not move. */
static void kept(const char *path, const char *type_name)
{
    struct es_plan *plan = load(path);
    struct es_type *type = load_shipped_type(type_name);
    struct fake_bench *b = fake_bench_new(type);
    struct es_outcome o;
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;

    b->write_time = 0.2;
    b->stuck = true;
    es_outcome_init(&o);
    cr_assert_eq(es_plan_check(plan, &b->view, type, &f, &report, &err), ES_OK);
    struct es_execute_options options = fake_options(b);
    const double begin = b->now;
    const enum es_status s = es_plan_execute(plan, type, &b->port, &options, NULL, &o, &err);
    cr_expect_eq(s, ES_OK, "%s for %s: %s", path, type_name, err.text);
    cr_expect_leq(b->now - begin, report.bench_time + report.operator_time, "%s for %s", path, type_name);
    cr_expect_leq(b->worst_sum, report.bench_time + report.operator_time + 1e-6);
    cr_expect_eq(b->recordings_begun, b->recordings_ended);
    size_t lines = 0;
    for (size_t k = 0; k < report.line_count; k++)
        lines += report.lines[k].applies;
    cr_expect_eq(o.line_count, lines, "%s for %s: %zu lines, %zu proved", path, type_name, o.line_count,
                 lines);
    es_outcome_free(&o);
    es_check_report_free(&report);
    es_findings_free(&f);
    fake_bench_free(b);
    es_type_free(type);
    es_plan_free(plan);
}

Test(shipped, none_outlasts_its_proof)
{
    each(kept);
}

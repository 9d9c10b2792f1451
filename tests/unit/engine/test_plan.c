/* Plans: reading, gates, labels, and curves that keep their peaks. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "procedures/engine/execution.h"
#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

static char folder[64];

static void write_file(const char *name, const char *text)
{
    char path[160];

    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *to = fopen(path, "w");
    cr_assert_not_null(to);
    (void)fputs(text, to);
    cr_assert_eq(fclose(to), 0);
}

/* "one" judges the travel at rest (0 mm) against a limit of the test's choice. */
static void make_folder(const char *limit_of_one)
{
    char measurand[400];

    (void)snprintf(folder, sizeof folder, "/tmp/es-plan-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    (void)snprintf(measurand, sizeof measurand,
                   "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": "
                   "\"travel\"},"
                   " \"results\": [{\"name\": \"rest\", \"output\": \"value\", \"limit\": \"%s\"}]}",
                   limit_of_one);
    char *text = make_procedure("{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": "
                                "\"50 Hz\", \"for\": \"2 s\"}",
                                measurand);
    write_file("one.json", text);
    free(text);
}

static void clear_folder(void)
{
    static const char *const names[] = {"one.json", "p.plan.json"};

    for (size_t i = 0; i < 2; i++) {
        char path[160];
        (void)snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        (void)unlink(path);
    }
    (void)rmdir(folder);
}

static struct es_plan *load(const char *entries, struct es_findings *f)
{
    char text[2000], path[160];
    struct es_plan *plan = NULL;
    struct es_error err;

    (void)snprintf(text, sizeof text,
                   "{\"endstop\": \"plan/1\", \"name\": \"p\", \"version\": \"1\", \"title\": \"P\", "
                   "\"purpose\": \"P.\",\n"
                   "\"procedures\": [%s]}",
                   entries);
    write_file("p.plan.json", text);
    (void)snprintf(path, sizeof path, "%s/p.plan.json", folder);
    const enum es_status s = es_plan_load_any(path, f, &plan, &err);
    return s == ES_OK ? plan : NULL;
}

struct gate_case {
    const char *limit, *must;
    bool runs;
};

/* Travel at rest is 0 mm: inside "lower end", outside "travel". */
Test(plan, gates)
{
    static const struct gate_case cases[] = {
        {"lower end", "passed", true},
        {"lower end", "not failed", true},
        {"lower end", "completed", true},
        {"travel", "passed", false},
        {"travel", "not failed", false},
        {"travel", "completed", true},
        {"lower end", "held back or not failed", true},
        {"travel", "held back or not failed", false},
    };
    struct es_type *type = load_type("linear-single-acting");

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        for (int ignore = 0; ignore < 2; ignore++) {
            char entries[300];
            struct es_findings f = {0};
            struct es_outcome o;
            struct es_error err;
            make_folder(cases[i].limit);
            (void)snprintf(
                entries, sizeof entries,
                "{\"procedure\": \"one\"}, {\"procedure\": \"one\", \"as\": \"two\", \"only after\": "
                "{\"made\": \"%s\"}},"
                "{\"procedure\": \"one\", \"as\": \"three\", \"only after\": {\"two\": \"not failed\"}},"
                "{\"procedure\": \"one\", \"as\": \"four\", \"only after\": {\"two\": \"held back or not "
                "failed\"}}",
                cases[i].must);
            struct es_plan *plan = load(entries, &f);
            es_findings_print(&f, stderr);
            cr_assert_not_null(plan);
            struct fake_bench *b = fake_bench_new(type);
            struct es_execute_options options = fake_options(b);
            options.ignore_gates = ignore;
            es_outcome_init(&o);
            cr_assert_eq(es_plan_execute(plan, type, &b->port, &options, NULL, &o, &err), ES_OK);
            const bool runs = cases[i].runs || ignore;
            cr_assert_eq(o.procedure_count, 4);
            cr_expect_eq(o.procedures[1].completed, runs, "%s %s", cases[i].limit, cases[i].must);
            cr_expect_eq(o.procedures[3].completed, ignore || !runs || o.procedures[2].completed);
            cr_expect_eq(b->rests, 1 + runs + o.procedures[2].completed + o.procedures[3].completed);
            cr_assert_eq(o.line_count, 4);
            cr_expect_str_eq(o.lines[1].procedure, "two");
            if (!runs) {
                cr_expect(strstr(o.procedures[1].skipped, "because \"made\"") != NULL);
                cr_expect(strstr(o.procedures[2].skipped, "was not run either") != NULL);
                cr_expect_eq(o.lines[1].verdict, ES_NOT_TESTED);
            }
            es_outcome_free(&o);
            fake_bench_free(b);
            es_plan_free(plan);
            clear_folder();
        }
    }
    es_type_free(type);
}

struct plan_fault {
    const char *entries, *words;
};

Test(plan, faults)
{
    static const struct plan_fault faults[] = {
        {"", "procedures"},
        {"{\"procedure\": \"two\"}", "there is no file"},
        {"{\"procedure\": \"../one\"}", "without folder"},
        {"{\"procedure\": \"one\"}, {\"procedure\": \"one\"}", "give one by \"as\""},
        {"{\"procedure\": \"one\", \"only after\": {\"made\": \"passed\"}}", "an earlier procedure"},
        {"{\"procedure\": \"one\"}, {\"procedure\": \"one\", \"as\": \"b\", \"only after\": {\"mede\": "
         "\"passed\"}}",
         "\"made\" meant"},
        {"{\"procedure\": \"one\"}, {\"procedure\": \"one\", \"as\": \"b\", \"only after\": {\"made\": "
         "\"maybe\"}}",
         "\"not failed\""},
        {"7", "\"procedure\""},
        {"{\"procedure\": \"one\", \"twice\": true}", "twice"},
        /* gates in a circle, on itself, on what comes later: the one rule covers them */
        {"{\"procedure\": \"one\", \"as\": \"a\", \"only after\": {\"b\": \"passed\"}}, {\"procedure\": "
         "\"one\", "
         "\"as\": \"b\", \"only after\": {\"a\": \"passed\"}}",
         "an earlier procedure"},
        {"{\"procedure\": \"one\", \"as\": \"a\", \"only after\": {\"a\": \"passed\"}}",
         "an earlier procedure"},
        {"{\"procedure\": \"p.plan\"}", "\"procedure/1\""}, /* a plan in itself */
    };

    make_folder("lower end");
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct es_findings f = {0};
        cr_expect_null(load(faults[i].entries, &f));
        cr_expect(told(&f, faults[i].words), "%s: \"%s\"", faults[i].entries,
                  f.count > 0 ? f.items[0].expected : "");
        es_findings_free(&f);
    }
    clear_folder();
}

static void expect_file_refused(const char *text, const char *words)
{
    char path[160];
    struct es_findings f = {0};
    struct es_plan *plan = NULL;
    struct es_error err;

    write_file("p.plan.json", text);
    (void)snprintf(path, sizeof path, "%s/p.plan.json", folder);
    cr_expect_eq(es_plan_load_any(path, &f, &plan, &err), ES_BAD_INPUT, "%s", text);
    cr_expect(told(&f, words), "%s: \"%s\"", text, f.count > 0 ? f.items[0].expected : "");
    es_findings_free(&f);
}

Test(plan, other_files_are_told_apart)
{
    make_folder("lower end");
    expect_file_refused("", "a value");
    expect_file_refused("[]", "a procedure or a plan");
    expect_file_refused("{\"endstop\": 1}", "a procedure or a plan");
    expect_file_refused("{\"endstop\": \"plan/2\", \"procedures\": []}", "a procedure or a plan");
    expect_file_refused("{\"endstop\": \"type-sheet/1\"}", "a procedure or a plan");
    clear_folder();
}

/* Faults of the plan and of its procedures come together. */
Test(plan, faults_of_plan_and_procedure_together)
{
    struct es_findings f = {0};

    make_folder("lower end");
    write_file("one.json", "{\"endstop\": \"procedure/1\"}");
    cr_expect_null(load("{\"procedure\": \"one\"}, {\"procedure\": \"missing\"}", &f));
    cr_expect(told(&f, "steps"));
    cr_expect(told(&f, "there is no file"));
    es_findings_free(&f);
    clear_folder();
}

Test(curve, keeps_peaks_and_order)
{
    enum { N = 100000 };
    double *t = calloc(N, sizeof *t), *y = calloc(N, sizeof *y);
    uint8_t *q = calloc(N, 1);
    double *ct, *cy;
    size_t count;
    struct es_error err;

    for (size_t i = 0; i < N; i++) {
        t[i] = (double)i * 0.01;
        y[i] = sin((double)i * 1e-4);
    }
    y[31234] = 7;
    y[77777] = -5;
    y[50000] = 1000;
    q[50000] = ES_FAILED; /* not good: must not be drawn */
    const struct es_series s = {.count = N, .t = t, .y = y, .quality = q};
    cr_assert_eq(es_curve_reduce(&s, 60, &ct, &cy, &count, &err), ES_OK);
    cr_expect(count <= 60 && count > 40, "%zu", count);
    double high = -INFINITY, low = INFINITY;
    for (size_t i = 0; i < count; i++) {
        high = fmax(high, cy[i]);
        low = fmin(low, cy[i]);
        if (i > 0)
            cr_expect_gt(ct[i], ct[i - 1]);
    }
    cr_expect_eq(high, 7);
    cr_expect_eq(low, -5);
    cr_expect_eq(ct[0], 0);
    cr_expect_eq(ct[count - 1], t[N - 1]);
    free(t);
    free(y);
    free(q);
    free(ct);
    free(cy);
}

Test(curve, short_and_empty_series)
{
    double t[3] = {0, 1, 2}, y[3] = {5, 6, 5}, *ct, *cy;
    uint8_t q[3] = {0};
    size_t count;
    struct es_error err;
    struct es_series s = {.count = 3, .t = t, .y = y, .quality = q};

    cr_assert_eq(es_curve_reduce(&s, 8, &ct, &cy, &count, &err), ES_OK);
    cr_expect_eq(count, 3);
    free(ct);
    free(cy);
    s.count = 0;
    cr_assert_eq(es_curve_reduce(&s, 8, &ct, &cy, &count, &err), ES_OK);
    cr_expect_eq(count, 0);
    free(ct);
    free(cy);
}

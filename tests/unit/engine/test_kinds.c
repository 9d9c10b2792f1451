/* Kinds of unit and of bench: what steps are for whom, what stands in for a channel that a bench lacks, what
 * a relay module has not, and pictures that must be there. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

#define ASK                                                                                                  \
    "{\"do\": \"confirm\", \"where not fitted\": \"auxiliary supply\", \"text\": \"Is 24 V connected?\", "   \
    "\"at most\": \"60 s\"}"
#define RECORD(role)                                                                                         \
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"" role "\"], \"rate\": \"20 Hz\", \"for\": \"1 "    \
    "s\"}"

struct ran {
    struct es_plan *plan;
    struct es_type *type;
    struct fake_bench *b;
    struct es_outcome o;
};

static struct ran prepared(const char *type, const char *steps, const char *measurands)
{
    struct ran r = {.type = load_type(type), .plan = must_plan(steps, measurands)};

    r.b = fake_bench_new(r.type);
    es_outcome_init(&r.o);
    return r;
}

static void go(struct ran *r)
{
    const struct es_execute_options options = fake_options(r->b);
    struct es_error err;

    cr_assert_eq(es_plan_execute(r->plan, r->type, &r->b->port, &options, NULL, &r->o, &err), ES_OK, "%s",
                 err.text);
}

static void done(struct ran *r)
{
    es_outcome_free(&r->o);
    fake_bench_free(r->b);
    es_plan_free(r->plan);
    es_type_free(r->type);
}

static void lack(struct fake_bench *b, enum es_role role)
{
    b->fitted[role] = false;
    b->view.roles[role] = (struct es_station_role){0};
}

/* One caution, and the question only where there is no channel for it. */
Test(kinds, a_question_stands_in_for_a_channel)
{
    for (int fitted = 0; fitted < 2; fitted++) {
        struct ran r = prepared("linear-single-acting", ASK, "");
        struct es_findings f = {0};
        struct es_check_report report;
        struct es_error err;
        if (!fitted)
            lack(r.b, ES_ROLE_AUXILIARY_SUPPLY);
        cr_expect_eq(es_plan_check_unattended(r.plan, &r.b->view, r.type, &f, &report, &err),
                     fitted ? ES_OK : ES_BAD_INPUT);
        cr_expect_eq(report.operator_time, fitted ? 0 : 60);
        go(&r);
        cr_expect_eq(r.b->asked_count, fitted ? 1 : 2);
        es_check_report_free(&report);
        es_findings_free(&f);
        done(&r);
    }
}

Test(kinds, what_stands_in_must_be_for_an_optional_channel)
{
    struct ran r =
        prepared("linear-single-acting",
                 "{\"do\": \"hold\", \"where not fitted\": \"supply valve\", \"for\": \"1 s\"}", "");
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;

    cr_expect_eq(es_plan_check(r.plan, &r.b->view, r.type, &f, &report, &err), ES_BAD_INPUT);
    cr_expect(told(&f, "stands under \"where fitted\""));
    es_check_report_free(&report);
    es_findings_free(&f);
    done(&r);
}

/* Its steps are done, its line is not tested, and what follows is not left out. */
Test(kinds, a_recording_without_channel_is_left_out_alone)
{
    struct ran r = prepared(
        "linear-single-acting",
        "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"feedback current\"], \"rate\": \"20 Hz\", "
        "\"steps\": "
        "[{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"5 mA\"}]},"
        "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"6 mA\"}",
        "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"feedback "
        "current\"}, \"results\": [{\"name\": \"line\", \"output\": \"value\", \"limit\": \"travel\"}]}");

    lack(r.b, ES_ROLE_FEEDBACK_CURRENT);
    go(&r);
    cr_assert_eq(r.b->write_count, 2);
    cr_expect_float_eq(r.b->writes[1].value, 6e-3, 1e-12);
    cr_expect_eq(r.b->recordings_begun, 0);
    cr_expect(r.o.procedures[0].completed);
    cr_assert_eq(r.o.line_count, 1);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect_str_eq(r.o.lines[0].reason, "the bench has no feedback current");
    done(&r);
}

/* The words of "when" against a type: which of nine steps are done. */
Test(kinds, steps_are_for_those_that_they_name)
{
    static const char *const words[] = {"always",         "single-acting",    "double-acting",
                                        "linear",         "part-turn",        "complete unit",
                                        "relay module",   "self-proof block", "position feedback",
                                        "shutdown module"};
    static const struct {
        const char *type;
        unsigned done; /* bits, in the order of the words */
    } cases[] = {{"linear-single-acting", 0x12b},       {"linear-single-acting-plain", 0x02b},
                 {"linear-double-acting", 0x32d},       {"part-turn-single-acting", 0x033},
                 {"part-turn-double-acting", 0x135},    {"relay-module-single-acting", 0x043},
                 {"relay-module-double-acting", 0x045}, {"self-proof-block", 0x085}};

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_type *type = load_shipped_type(cases[i].type);
        for (int when = 0; when < ES_WHEN_COUNT; when++) {
            cr_expect_eq(es_when_applies((enum es_when)when, type), (cases[i].done >> when) & 1, "%s: %s",
                         cases[i].type, words[when]);
            cr_expect_str_eq(es_when_word((enum es_when)when), when == 0 ? "" : words[when]);
        }
        es_type_free(type);
    }
}

Test(kinds, a_relay_module_has_no_travel)
{
    struct es_type *type = load_shipped_type("relay-module-double-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_plan *plan = must_plan(RECORD("travel"), "");
    struct es_outcome o;
    struct es_error err;
    const struct es_execute_options options = fake_options(b);

    es_outcome_init(&o);
    cr_assert_eq(es_plan_execute(plan, type, &b->port, &options, NULL, &o, &err), ES_OK, "%s", err.text);
    cr_expect_eq(b->write_count, 0);
    cr_assert_not_null(o.procedures[0].skipped);
    cr_expect_str_eq(o.procedures[0].skipped, "a unit of this type has no travel");
    es_outcome_free(&o);
    es_plan_free(plan);
    fake_bench_free(b);
    es_type_free(type);
}

static size_t faults_with_picture(const char *folder, const char *picture)
{
    char path[200], steps[300];
    struct es_findings f = {0};
    struct es_error err;
    struct es_procedure *p = NULL;

    (void)snprintf(path, sizeof path, "%s/made.json", folder);
    (void)snprintf(steps, sizeof steps,
                   "{\"do\": \"repeat\", \"times\": 1, \"steps\": [{\"do\": \"ask\", \"text\": \"Look.\", "
                   "\"picture\": \"%s\", \"at most\": \"9 s\"}]}",
                   picture);
    char *text = make_procedure(steps, "");
    FILE *to = fopen(path, "w");
    cr_assert(to != NULL && fputs(text, to) >= 0 && fclose(to) == 0);
    free(text);
    const enum es_status s = es_procedure_load(path, &f, &p, &err);
    cr_expect_eq(s == ES_OK, f.count == 0);
    cr_expect(f.count == 0 || (f.items[0].line > 0 && told(&f, "beside the procedure")));
    const size_t count = f.count;
    es_procedure_free(p);
    es_findings_free(&f);
    (void)remove(path);
    return count;
}

Test(kinds, a_picture_must_be_there)
{
    char folder[] = "/tmp/endstop-test-XXXXXX", picture[64];

    cr_assert_not_null(mkdtemp(folder));
    cr_expect_eq(faults_with_picture(folder, "block.svg"), 1);
    cr_expect_eq(faults_with_picture(folder, "../block.svg"), 1);
    cr_expect_eq(faults_with_picture(folder, ".hidden"), 1);
    (void)snprintf(picture, sizeof picture, "%s/block.svg", folder);
    FILE *to = fopen(picture, "w");
    cr_assert(to != NULL && fclose(to) == 0);
    cr_expect_eq(faults_with_picture(folder, "block.svg"), 0);
    (void)remove(picture);
    (void)rmdir(folder);
}

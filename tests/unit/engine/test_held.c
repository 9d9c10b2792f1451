/* Conditions that a recording counts on: each form, left at its beginning, in its middle and at its end, not
 * read, read badly; what becomes of recordings, lines and gates; what the proof and the sheet say. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/explain.h"
#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

#define LINEAR "linear-single-acting"

#define SUPPLY_ON                                                                                            \
    "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"},"                                       \
    "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"4 bar\"}, {\"do\": \"hold\", \"for\": \"4 "    \
    "s\"},"
#define RECORD(name, more)                                                                                   \
    "{\"do\": \"record\", \"name\": \"" name                                                                 \
    "\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"5 "                                        \
    "s\"" more "}"
#define THROUGHOUT(condition) ", \"throughout\": [" condition "]"
#define NEAR_4                "{\"role\": \"supply pressure\", \"near\": \"4 bar\", \"within\": \"100 mbar\"}"
#define LEVEL(recording, name)                                                                               \
    "{\"measure\": \"level\", \"recordings\": {\"recording\": \"" recording "\"},"                           \
    " \"with\": {\"channel\": \"travel\"},"                                                                  \
    " \"results\": [{\"name\": \"" name "\", \"output\": \"value\", \"limit\": \"lower end\"}]}"

struct ran {
    struct es_type *type;
    struct fake_bench *b;
    struct es_plan *plan;
    struct es_outcome o;
    size_t traces;
    char unfit[400];       /* of the last trace that was marked */
    size_t supply_samples; /* of the last trace */
};

static enum es_status keep_trace(void *self, const char *procedure, const struct es_trace *trace,
                                 struct es_error *err)
{
    struct ran *r = self;
    const struct es_series *s = es_trace_series(trace, ES_ROLE_SUPPLY_PRESSURE);

    (void)procedure;
    (void)err;
    r->traces++;
    r->supply_samples = s != NULL ? s->count : 0;
    if (trace->unfit != NULL)
        (void)snprintf(r->unfit, sizeof r->unfit, "%s", trace->unfit);
    return ES_OK;
}

static void make(struct ran *r, const char *steps, const char *measurands)
{
    *r = (struct ran){.type = load_type(LINEAR), .plan = must_plan(steps, measurands)};
    r->b = fake_bench_new(r->type);
    es_outcome_init(&r->o);
}

static void go(struct ran *r)
{
    const struct es_execute_options options = fake_options(r->b);
    const struct es_execute_keep keep = {.self = r, .trace = keep_trace};
    struct es_error err;

    cr_assert_eq(es_plan_execute(r->plan, r->type, &r->b->port, &options, &keep, &r->o, &err), ES_OK, "%s",
                 err.text);
    cr_assert(r->o.completed);
}

static void done(struct ran *r)
{
    es_outcome_free(&r->o);
    fake_bench_free(r->b);
    es_plan_free(r->plan);
    es_type_free(r->type);
}

#define BAR 1e5

Test(held, what_leaves_the_band_makes_the_recording_unfit)
{
    static const struct {
        const char *condition;
        struct fake_trouble trouble;
        const char *words; /* NULL: it holds */
    } cases[] = {
        {NEAR_4, {NULL, 0, 0, 0, false, ES_GOOD, 0}, NULL},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, 4.09 * BAR}, NULL},
        {NEAR_4, {"a", ES_ROLE_TRAVEL, 2, 3, false, ES_GOOD, 0}, NULL},
        /* at the beginning, in the middle, at the end, one sample only */
        {NEAR_4,
         {"a", ES_ROLE_SUPPLY_PRESSURE, 0, 0.5, false, ES_GOOD, 0},
         "the supply pressure was not held during \"a\": 0.00 bar at 0.0 s, expected 4.00 bar within 0.10 "
         "bar: "
         "look at the bench's supply"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 2.01, 2.03, false, ES_GOOD, 3.2 * BAR}, "3.20 bar at 2.0 s"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 4.9, 9, false, ES_GOOD, 4.2 * BAR}, "4.20 bar at 4.9 s"},
        /* a value that rounds to the band's end shows outside it all the same */
        {NEAR_4,
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, 3.8996 * BAR},
         "3.8996 bar at 2.0 s, expected 4.0000 bar within 0.1000 bar"},
        /* named in the type sheet */
        {"{\"role\": \"supply pressure\", \"near\": \"nominal supply\", \"within\": \"0.1 bar\"}",
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, 1 * BAR},
         "1.00 bar at 2.0 s, expected 4.00 bar"},
        /* one side */
        {"{\"role\": \"supply pressure\", \"above\": \"3.5 bar\"}",
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, 3.6 * BAR},
         NULL},
        {"{\"role\": \"supply pressure\", \"above\": \"3.5 bar\"}",
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, 3.4 * BAR},
         "3.40 bar at 2.0 s, expected at least 3.50 bar"},
        {"{\"role\": \"loop current\", \"below\": \"0.2 mA\"}",
         {"a", ES_ROLE_LOOP_CURRENT, 2, 3, false, ES_GOOD, 4e-3},
         "the loop current was not held during \"a\": 4.00 mA at 2.0 s, expected at most 0.20 mA: look at "
         "the "
         "bench's loop source"},
        {"{\"role\": \"supply pressure\", \"above\": \"3.5 bar\", \"below\": \"4.5 bar\"}",
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, 5 * BAR},
         "5.00 bar at 2.0 s, expected between 3.50 bar and 4.50 bar"},
        {"{\"role\": \"guard\", \"near\": \"open\"}", {NULL, 0, 0, 0, false, ES_GOOD, 0}, NULL},
        {"{\"role\": \"guard\", \"near\": \"closed\"}",
         {NULL, 0, 0, 0, false, ES_GOOD, 0},
         "expected closed"},
        /* the second of two */
        {NEAR_4 ", {\"role\": \"loop current\", \"below\": \"0.2 mA\"}",
         {"a", ES_ROLE_LOOP_CURRENT, 2, 3, false, ES_GOOD, 4e-3},
         "the loop current"},
        /* not good, or not there */
        {NEAR_4,
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 2.02, false, ES_STALE, 4 * BAR},
         "nobody knows whether the supply pressure was held during \"a\": a stale reading at 2.0 s"},
        {NEAR_4,
         {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 2.02, false, ES_OUT_OF_RANGE, 4 * BAR},
         "out of its plausible range"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 2.02, false, ES_FAILED, 4 * BAR}, "no reading at 2.0 s"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 2.9, true, ES_GOOD, 0}, NULL},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3.1, true, ES_GOOD, 0}, "no reading for a while at 2.0 s"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 0, 1.1, true, ES_GOOD, 0}, "no reading for a while at 0.0 s"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 3.9, 9, true, ES_GOOD, 0}, "no reading any more at 3.9 s"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 0, 9, true, ES_GOOD, 0}, "no reading any more at 0.0 s"},
        {NEAR_4, {"a", ES_ROLE_SUPPLY_PRESSURE, 2, 3, false, ES_GOOD, NAN}, "was not held"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char steps[900];
        struct ran r;
        (void)snprintf(steps, sizeof steps, SUPPLY_ON RECORD("a", ", \"throughout\": [%s]"),
                       cases[i].condition);
        make(&r, steps, LEVEL("a", "line"));
        r.b->trouble = cases[i].trouble;
        go(&r);
        cr_assert_eq(r.traces, 1, "case %zu: the recording is kept", i);
        cr_assert_eq(r.o.line_count, 1);
        const struct es_line *line = &r.o.lines[0];
        if (cases[i].words == NULL) {
            cr_expect_eq(r.unfit[0], '\0', "case %zu: %s", i, r.unfit);
            cr_expect_neq(line->verdict, ES_NOT_TESTED, "case %zu", i);
        } else {
            cr_expect_not_null(strstr(r.unfit, cases[i].words), "case %zu: %s", i, r.unfit);
            cr_expect_eq(line->verdict, ES_NOT_TESTED, "case %zu", i);
            cr_expect_str_eq(line->reason, r.unfit, "case %zu", i);
            cr_expect_eq(r.o.verdict, ES_NOT_TESTED);
        }
        done(&r);
    }
}

/* The other recordings of the procedure say what they said. */
Test(held, only_what_was_not_held_is_not_tested)
{
    struct ran r;

    make(&r, SUPPLY_ON RECORD("a", THROUGHOUT(NEAR_4)) "," RECORD("b", THROUGHOUT(NEAR_4)),
         LEVEL("a", "one") "," LEVEL("b", "two"));
    r.b->trouble = (struct fake_trouble){"a", ES_ROLE_SUPPLY_PRESSURE, 1, 2, false, ES_GOOD, 0};
    go(&r);
    cr_assert_eq(r.o.line_count, 2);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect_neq(r.o.lines[1].verdict, ES_NOT_TESTED);
    cr_expect_eq(r.traces, 2);
    cr_expect(r.o.procedures[0].completed);
    bool noted = false;
    for (size_t i = 0; i < r.b->event_count; i++)
        noted |= r.b->event_kinds[i] == ES_EVENT_NOTE && strstr(r.b->events[i], "was not held") != NULL;
    cr_expect(noted, "nobody was told while it ran");
    done(&r);
}

/* Somebody else's program shuts the supply between the wait and the recording: what happened on a bench. */
Test(held, supply_that_goes_after_the_wait)
{
    struct ran r;

    make(&r,
         SUPPLY_ON
         "{\"do\": \"wait\", \"role\": \"supply pressure\", \"near\": \"4 bar\", \"within\": \"100 mbar\", "
         "\"at most\": \"9 s\"}, {\"do\": \"hold\", \"for\": \"3 s\"}," RECORD("a", THROUGHOUT(NEAR_4)),
         LEVEL("a", "line"));
    r.b->trouble = (struct fake_trouble){"a", ES_ROLE_SUPPLY_PRESSURE, 0, 9, false, ES_GOOD, 0};
    go(&r);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect_not_null(strstr(r.o.lines[0].reason, "0.00 bar at 0.0 s"));
    done(&r);
}

Test(held, where_fitted_goes_without)
{
    struct ran r;

    make(&r,
         RECORD("a", ", \"throughout\": [{\"role\": \"feedback current\", \"above\": \"3 mA\"},"
                     " {\"role\": \"output 2 pressure\", \"above\": \"3 bar\"}]"),
         LEVEL("a", "line"));
    r.b->fitted[ES_ROLE_FEEDBACK_CURRENT] = r.b->view.roles[ES_ROLE_FEEDBACK_CURRENT].present = false;
    go(&r);
    cr_expect_neq(r.o.lines[0].verdict, ES_NOT_TESTED); /* a single-acting unit has no output 2 either */
    done(&r);
}

Test(held, outputs_are_held_by_what_was_written)
{
    struct ran r;

    make(&r,
         "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
         " \"throughout\": [{\"role\": \"output 1 vent valve\", \"near\": \"open\"}], \"steps\": ["
         "{\"do\": \"hold\", \"for\": \"2 s\"}, {\"do\": \"set\", \"role\": \"output 1 vent valve\", \"to\": "
         "\"shut\"}, {\"do\": \"hold\", \"for\": \"1 s\"}]},"
         "{\"do\": \"record\", \"name\": \"b\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"2 "
         "s\","
         " \"throughout\": [{\"role\": \"output 1 vent valve\", \"near\": \"shut\"}]}",
         LEVEL("a", "one") "," LEVEL("b", "two"));
    go(&r);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect_not_null(strstr(r.o.lines[0].reason, "the output 1 vent valve was not held during \"a\""), "%s",
                       r.o.lines[0].reason);
    cr_expect_not_null(strstr(r.o.lines[0].reason, "at 2.0 s, expected open"), "%s", r.o.lines[0].reason);
    cr_expect_neq(r.o.lines[1].verdict, ES_NOT_TESTED);
    done(&r);

    make(&r, RECORD("a", THROUGHOUT("{\"role\": \"output 1 vent valve\", \"near\": \"open\"}")),
         LEVEL("a", "one"));
    r.b->quality[ES_ROLE_OUTPUT_1_VENT] = ES_FAILED; /* a write that nobody answered */
    go(&r);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect_not_null(strstr(r.o.lines[0].reason, "not known where it stands"), "%s", r.o.lines[0].reason);
    done(&r);
}

/* A supply that is read 10 times a second does not slow a recording of 50 Hz down, and is recorded along. */
Test(held, slower_channels_are_recorded_along)
{
    static const struct {
        double rate;
        const char *more;
        size_t samples;
    } cases[] = {{200, THROUGHOUT(NEAR_4), 251},
                 {10, THROUGHOUT(NEAR_4), 51},
                 {10, ", \"along\": [\"supply pressure\"]", 51},
                 {3, ", \"along\": [\"supply pressure\"]", 0}};

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char steps[900];
        struct ran r;
        (void)snprintf(steps, sizeof steps, SUPPLY_ON RECORD("a", "%s"), cases[i].more);
        make(&r, steps, LEVEL("a", "line"));
        r.b->view.roles[ES_ROLE_SUPPLY_PRESSURE].rate = cases[i].rate;
        go(&r);
        cr_expect_eq(r.supply_samples, cases[i].samples, "case %zu: %zu", i, r.supply_samples);
        cr_expect_neq(r.o.lines[0].verdict, ES_NOT_TESTED);
        done(&r);
    }
}

/* ---- The proof ---- */

struct refusal {
    const char *name, *steps, *words;
};

static const struct refusal refusals[] = {
    {"not among the needs", RECORD("a", THROUGHOUT("{\"role\": \"loop voltage\", \"above\": \"9 V\"}")),
     "stands under \"needs\""},
    {"along, not among the needs", RECORD("a", ", \"along\": [\"loop voltage\"]"), "stands under \"needs\""},
    {"along, an output", RECORD("a", ", \"along\": [\"supply demand\"]"), "that is measured"},
    {"too slow", RECORD("a", THROUGHOUT("{\"role\": \"sensor ratio\", \"above\": \"1 %\"}")),
     "at least 4 times a second"},
    {"empty band",
     RECORD("a", THROUGHOUT("{\"role\": \"supply pressure\", \"above\": \"2 bar\", \"below\": \"1 bar\"}")),
     "nothing is between"},
    {"unknown quantity",
     RECORD("a", THROUGHOUT("{\"role\": \"supply pressure\", \"above\": \"lowest suply\"}")),
     "no quantity \"lowest suply\""},
    {"quantity of another dimension",
     RECORD("a", THROUGHOUT("{\"role\": \"supply pressure\", \"above\": \"loop low\"}")), "is a current"},
    {"output elsewhere", RECORD("a", THROUGHOUT("{\"role\": \"output 1 vent valve\", \"near\": \"shut\"}")),
     "put where it must be throughout"},
    {"output left on the way",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"throughout\": "
     "[{\"role\": \"output 1 vent valve\", \"near\": \"open\"}], \"steps\": [{\"do\": \"set\", \"role\": "
     "\"output 1 vent valve\", \"to\": \"shut\"}]}",
     "put where it must be throughout"},
};

Test(held, the_proof_refuses)
{
    struct es_type *type = load_type(LINEAR);
    struct fake_bench *b = fake_bench_new(type);

    b->view.roles[ES_ROLE_SENSOR_RATIO].rate = 3;
    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        struct es_procedure *p = must_read(refusals[i].steps, "");
        struct es_findings f = {0};
        struct es_check_report report;
        struct es_error err;
        cr_expect_eq(es_procedure_check(p, &b->view, type, &f, &report, &err), ES_BAD_INPUT, "%s",
                     refusals[i].name);
        cr_expect_eq(f.count, 1, "%s: %zu findings", refusals[i].name, f.count);
        cr_expect(told(&f, refusals[i].words), "%s: told \"%s\"", refusals[i].name,
                  f.count > 0 ? f.items[0].expected : "nothing");
        cr_expect(f.count > 0 && f.items[0].line > 0 && f.items[0].column > 0);
        es_check_report_free(&report);
        es_findings_free(&f);
        es_procedure_free(p);
    }
    fake_bench_free(b);
    es_type_free(type);
}

Test(held, the_proof_tells_what_nobody_watches)
{
    struct es_type *type = load_type(LINEAR);
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p =
        must_read(RECORD("a", THROUGHOUT("{\"role\": \"feedback current\", \"above\": \"3 mA\"}")), "");
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;

    b->view.roles[ES_ROLE_FEEDBACK_CURRENT].present = false;
    cr_assert_eq(es_procedure_check(p, &b->view, type, &f, &report, &err), ES_OK);
    cr_assert_eq(report.remark_count, 1);
    cr_expect_str_eq(report.remarks[0], "nothing watches feedback current during \"a\": the bench has none");
    es_check_report_free(&report);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

Test(held, reading_tells_each_fault)
{
    static const struct {
        const char *condition, *words;
    } faults[] = {
        {"{\"near\": \"4 bar\"}", "role"},
        {"{\"role\": \"supply pressure\"}", "no condition"},
        {"{\"role\": \"supply pressure\", \"within\": \"1 bar\"}", "no condition"},
        {"{\"role\": \"supply pressure\", \"near\": \"1 bar\"}", "how near"},
        {"{\"role\": \"supply pressure\", \"near\": \"1 bar\", \"within\": \"1 bar\", \"above\": \"1 bar\"}",
         "either"},
        {"{\"role\": \"supply pressure\", \"above\": \"1 mA\"}", "a pressure"},
        {"{\"role\": \"supply presure\", \"above\": \"1 bar\"}", "\"supply pressure\" meant"},
        {"{\"role\": \"output 1 vent valve\", \"near\": \"1\"}", "\"open\" or \"shut\""},
        {"{\"role\": \"supply pressure\", \"above\": \"1 bar\", \"for\": \"1 s\"}", "for"},
        {"7", "a condition"},
    };

    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        char steps[600];
        struct es_findings f = {0};
        (void)snprintf(steps, sizeof steps, RECORD("a", ", \"throughout\": [%s]"), faults[i].condition);
        char *text = make_procedure(steps, "");
        struct es_procedure *p = try_read(text, &f);
        cr_expect_null(p, "%s", faults[i].condition);
        cr_expect(told(&f, faults[i].words), "%s: told \"%s\" \"%s\"", faults[i].condition,
                  f.count > 0 ? f.items[0].found : "", f.count > 0 ? f.items[0].expected : "");
        es_procedure_free(p);
        es_findings_free(&f);
        free(text);
    }
}

Test(held, the_sheet_says_it)
{
    struct es_type *type = load_type(LINEAR);
    struct es_procedure *p = must_read(
        RECORD("a", ", \"along\": [\"shaft angle\"], \"throughout\": [{\"role\": \"supply pressure\", "
                    "\"near\": \"nominal supply\", \"within\": \"100 mbar\"},"
                    " {\"role\": \"loop current\", \"below\": \"0.2 mA\"},"
                    " {\"role\": \"output 1 vent valve\", \"near\": \"open\"}]"),
        "");
    char text[800];

    (void)es_explain_step(&p->steps[0], type, text, sizeof text);
    cr_expect_str_eq(text,
                     "Record \"a\": travel, at 50 Hz, for 5 s. Along with it, where the bench reads it: "
                     "shaft angle. It counts only if the supply pressure stays within 100 mbar of nominal "
                     "supply (4.0 bar), the loop current stays below 0.2 mA and the output 1 vent valve "
                     "stays open "
                     "throughout; otherwise nothing is measured from it.");
    es_procedure_free(p);
    es_type_free(type);
}

/* ---- Runs without a person ---- */

Test(held, an_unattended_run_that_would_ask_is_refused)
{
    static const char steps[] = "{\"do\": \"turn shaft\", \"to\": \"-10 deg\", \"at\": \"9 deg/s\", "
                                "\"text\": \"t\", \"at most\": \"9 s\"},"
                                "{\"do\": \"sweep shaft\", \"from\": \"-10 deg\", \"to\": \"10 deg\", "
                                "\"at\": \"9 deg/s\", \"times\": 1, "
                                "\"text\": \"t\", \"at most\": \"9 s\"}";
    struct es_type *type = load_type(LINEAR);
    struct fake_bench *b = fake_bench_new(type);
    struct es_plan *plan = must_plan(steps, ""),
                   *asking = must_plan("{\"do\": \"repeat\", \"times\": 2, \"steps\": "
                                       "[{\"do\": \"ask\", \"text\": \"t\", "
                                       "\"at most\": \"9 s\"}]}",
                                       "");
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;

    cr_expect_eq(es_plan_check_unattended(plan, &b->view, type, &f, &report, &err), ES_OK);
    cr_expect_eq(report.operator_time, 0);
    es_check_report_free(&report);
    b->view.roles[ES_ROLE_SHAFT_DRIVE] = (struct es_station_role){0}; /* as a bench file without it gives */
    cr_expect_eq(es_plan_check(plan, &b->view, type, &f, &report, &err), ES_OK);
    es_check_report_free(&report);
    cr_expect_eq(es_plan_check_unattended(plan, &b->view, type, &f, &report, &err), ES_BAD_INPUT);
    cr_assert_eq(f.count, 2);
    cr_expect_str_eq(f.items[0].found, "turn shaft");
    cr_expect_str_eq(f.items[1].found, "sweep shaft");
    cr_expect(f.items[0].line > 0 && told(&f, "a shaft motor"));
    es_check_report_free(&report);
    es_findings_free(&f);

    cr_expect_eq(es_plan_check_unattended(asking, &b->view, type, &f, &report, &err), ES_BAD_INPUT);
    cr_expect_eq(f.count, 1);
    cr_expect_str_eq(f.items[0].found, "ask");
    es_check_report_free(&report);
    es_findings_free(&f);

    /* What this bench does not run at all asks nobody. */
    b->view.roles[ES_ROLE_SENSOR_RATIO].present = false;
    cr_expect_eq(es_plan_check_unattended(asking, &b->view, type, &f, &report, &err), ES_OK);
    es_check_report_free(&report);
    es_plan_free(asking);
    es_plan_free(plan);
    fake_bench_free(b);
    es_type_free(type);
}

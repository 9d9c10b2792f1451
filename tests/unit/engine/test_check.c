/* The proof: one test for each kind of refusal, the durations, and what it says when it cannot know. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

struct refusal {
    const char *name, *steps, *measurands, *words;
};

#define RECORD_A                                                                                             \
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"2 s\"}"
#define TIMES_5(steps)    "{\"do\": \"repeat\", \"times\": 5, \"steps\": [" steps "]}"
#define TIMES_1000(steps) "{\"do\": \"repeat\", \"times\": 1000, \"steps\": [" steps "]}"
#define LEVEL(recording, limit)                                                                              \
    "{\"measure\": \"level\", \"recordings\": {\"recording\": \"" recording                                  \
    "\"}, \"with\": {\"channel\": \"travel\"},"                                                              \
    " \"results\": [{\"name\": \"line\", \"output\": \"value\", \"limit\": \"" limit "\"}]}"
#define STEP_RESPONSE                                                                                        \
    "{\"measure\": \"step response\", \"recordings\": {\"recording\": \"a\"},"                               \
    " \"results\": [{\"name\": \"line\", \"output\": \"dead time\", \"limit\": \"step dead time\"}]}"

#define RECORD_P                                                                                             \
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"output 1 pressure\", \"output 1 flow\"], "          \
    "\"rate\": \"50 Hz\", \"for\": \"2 s\"}"
#define FILLING(volume)                                                                                      \
    "{\"measure\": \"filling\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"volume\": \"" volume    \
    "\"},"                                                                                                   \
    " \"results\": [{\"name\": \"line\", \"output\": \"difference\", \"limit\": \"cross-talk\"}]}"
#define STAIRCASE(low)                                                                                       \
    "{\"measure\": \"staircase\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"response low\": "     \
    "\"" low "\"},"                                                                                          \
    " \"results\": [{\"name\": \"line\", \"output\": \"hysteresis\", \"limit\": \"cross-talk\"}]}"

static const struct refusal refusals[] = {
    /* ceilings, by every way that a value can be commanded; the bench allows 7 bar, the type 6.5 bar */
    {"set above the bench's ceiling", "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"7.1 bar\"}",
     "", "bench's ceiling of 7.00 bar"},
    {"set above the type's ceiling", "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"6.6 bar\"}",
     "", "type sheet allows for supply demand: 6.50 bar"},
    {"set below the bench's floor", "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"-1 mA\"}", "",
     "bench's floor"},
    {"share above the ceiling", "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"120 %\"}", "",
     "bench's ceiling of 22.0"},
    {"ramp", "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"8 bar\", \"at\": \"1 bar/s\"}", "",
     "bench's ceiling"},
    {"step",
     "{\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"4 mA\", \"23 mA\", \"4 mA\"], \"hold\": "
     "\"1 s\"}",
     "", "bench's ceiling"},
    {"staircase",
     "{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"4 mA\", \"to\": \"24 mA\", \"stairs\": "
     "4, \"hold\": \"1 s\"}",
     "", "bench's ceiling"},
    {"sweep",
     "{\"do\": \"turn shaft\", \"to\": \"-10 deg\", \"at\": \"9 deg/s\", \"text\": \"t\", \"at most\": \"9 "
     "s\"},"
     "{\"do\": \"sweep shaft\", \"from\": \"-10 deg\", \"to\": \"80 deg\", \"at\": \"9 deg/s\", \"times\": "
     "1, \"text\": \"t\", \"at most\": \"9 s\"}",
     "", "bench's ceiling of 75.00 deg"},
    {"repeat",
     "{\"do\": \"repeat\", \"times\": 3, \"steps\": [{\"do\": \"set\", \"role\": \"supply demand\", \"to\": "
     "\"9 bar\"}]}",
     "", "bench's ceiling"},
    {"inside a recording",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"steps\": ["
     "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"9 bar\"}]}",
     "", "bench's ceiling"},
    /* slew: the shaft drive may turn at 90 deg/s */
    {"ramp too fast",
     "{\"do\": \"ramp\", \"role\": \"shaft drive\", \"to\": \"5 deg\", \"at\": \"91 deg/s\", \"where "
     "fitted\": true}",
     "", "slew limit"},
    {"turn too fast",
     "{\"do\": \"turn shaft\", \"to\": \"5 deg\", \"at\": \"91 deg/s\", \"text\": \"t\", \"at most\": \"9 "
     "s\"}",
     "", "slew limit"},
    {"jump where a ramp is due",
     "{\"do\": \"set\", \"role\": \"shaft drive\", \"to\": \"5 deg\", \"where fitted\": true}", "", "a ramp"},
    /* names */
    {"angle of travel for a linear unit",
     "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"10 deg\", \"at most\": \"3 s\"}", "",
     "a length, for a linear unit"},
    {"unknown quantity", "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"nominal suply\"}", "",
     "no quantity \"nominal suply\""},
    {"quantity of another dimension", "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"loop high\"}",
     "", "is a current"},
    {"named time that is none", "{\"do\": \"hold\", \"for\": \"loop high\"}", "", "a time"},
    {"recording that nobody makes", RECORD_A, LEVEL("b", "travel"), "recording that the steps make"},
    {"recording for other units only",
     "{\"do\": \"record\", \"when\": \"double-acting\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": "
     "\"50 Hz\", \"for\": \"2 s\"}",
     LEVEL("a", "travel"), "recording that the steps make for this type"},
    {"recording without the role",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"shaft angle\"], \"rate\": \"50 Hz\", \"for\": \"2 "
     "s\"}",
     LEVEL("a", "travel"), "a recording of this role"},
    {"unknown limit", RECORD_A, LEVEL("a", "trvel"), "none of this name"},
    {"limit of another dimension", RECORD_A, LEVEL("a", "stroke time up"), "same dimension"},
    {"two results of one name", RECORD_A, LEVEL("a", "travel") "," LEVEL("a", "lower end"), "another name"},
    {"two recordings of one name", RECORD_A "," RECORD_A, LEVEL("a", "travel"),
     "an earlier recording has this one"},
    {"role not among the needs", "{\"do\": \"set\", \"role\": \"watchdog\", \"to\": \"1\"}", "",
     "stands under \"needs\""},
    {"writing what is measured", "{\"do\": \"set\", \"role\": \"supply pressure\", \"to\": \"1 bar\"}", "",
     "can be commanded"},
    {"waiting for what is commanded",
     "{\"do\": \"wait\", \"role\": \"supply demand\", \"above\": \"1 bar\", \"at most\": \"3 s\"}", "",
     "that is measured"},
    {"optional role without where fitted",
     "{\"do\": \"set\", \"role\": \"auxiliary supply\", \"to\": \"on\"}", "", "\"where fitted\": true"},
    {"where fitted without a role", "{\"do\": \"hold\", \"for\": \"1 s\", \"where fitted\": true}", "",
     "only with a step that has"},
    {"role of double-acting units for all",
     "{\"do\": \"set\", \"role\": \"output 2 vent valve\", \"to\": \"open\"}", "",
     "\"when\": \"double-acting\""},
    /* facts: a misspelt name in "with"; a name that stands by default has something in its place */
    {"fact that nobody gives", RECORD_A, FILLING("output 1 volum"), "\"output 1 volum\" is not"},
    {"another measure's fact, misspelt", RECORD_A, STAIRCASE("lowr end"), "\"lowr end\" is not"},
    {"fact that is known", RECORD_P, FILLING("output 2 volume"), ""},
    /* times and bounds */
    {"a wait without end",
     "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\", \"at most\": \"inf s\"}", "",
     "no quantity \"inf s\""},
    {"a hold without end", "{\"do\": \"hold\", \"for\": \"for ever\"}", "", "no quantity \"for ever\""},
    {"for longer than at most",
     "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\", \"for\": \"5 s\", \"at most\": \"3 s\"}",
     "", "at least as long as"},
    {"empty band",
     "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"2 mm\", \"below\": \"1 mm\", \"at most\": \"3 "
     "s\"}",
     "", "nothing is between"},
    {"a day and more", "{\"do\": \"hold\", \"for\": \"90000 s\"}", "", "up to 24 h"},
    {"settled for longer than at most",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
     " \"until settled\": {\"role\": \"travel\", \"within\": \"1 mm\", \"for\": \"9 s\", \"at most\": \"4 "
     "s\"}}",
     "", "at least as long as"},
    {"repetitions within each other, each a doubling of the proof's walk",
     TIMES_5(TIMES_5(TIMES_5(TIMES_5(TIMES_5("{\"do\": \"hold\", \"for\": \"1 s\"}"))))), "",
     "at most 4 repetitions within each other"},
    {"four repetitions within each other",
     TIMES_5(TIMES_5(TIMES_5(TIMES_5("{\"do\": \"hold\", \"for\": \"1 s\"}")))), "", ""},
    {"a repetition of years", TIMES_1000(TIMES_1000(TIMES_1000("{\"do\": \"hold\", \"for\": \"1 s\"}"))), "",
     "within 100 days"},
    /* recordings */
    {"recording in a repetition", "{\"do\": \"repeat\", \"times\": 2, \"steps\": [" RECORD_A "]}", "",
     "outside \"repeat\""},
    {"faster than the bench can",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"250 Hz\", \"for\": \"2 s\"}",
     "", "what this bench reaches"},
    {"faster than anything",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"1e5 Hz\", \"for\": \"2 s\"}",
     "", "up to 2000 Hz"},
    {"more samples than memory",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"200 Hz\", \"for\": \"86400 "
     "s\"}",
     LEVEL("a", "travel"), ""},
    {"too slow for the limit",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"10 Hz\", \"for\": \"2 s\"}",
     STEP_RESPONSE, "a recording of at least 50 Hz"},
    {"at least more than the rate",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"at least\": \"60 "
     "Hz\", \"for\": \"2 s\"}",
     "", "at most the rate itself"},
    {"drawn but not recorded",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"2 s\", "
     "\"draw\": [\"shaft angle\"]}",
     "", "only roles that are recorded"},
    {"settled by what is not recorded",
     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"shaft angle\"], \"rate\": \"50 Hz\","
     " \"until settled\": {\"role\": \"travel\", \"within\": \"1 mm\", \"for\": \"1 s\", \"at most\": \"4 "
     "s\"}}",
     "", "a role that is recorded"},
    /* the shaft */
    {"sweep from nowhere",
     "{\"do\": \"sweep shaft\", \"from\": \"-10 deg\", \"to\": \"10 deg\", \"at\": \"9 deg/s\", \"times\": "
     "1, \"text\": \"t\", \"at most\": \"9 s\"}",
     "", "turn it there"},
    {"sweep over nothing",
     "{\"do\": \"turn shaft\", \"to\": \"10 deg\", \"at\": \"9 deg/s\", \"text\": \"t\", \"at most\": \"9 "
     "s\"},"
     "{\"do\": \"sweep shaft\", \"from\": \"10 deg\", \"to\": \"10 deg\", \"at\": \"9 deg/s\", \"times\": 1, "
     "\"text\": \"t\", \"at most\": \"9 s\"}",
     "", "another angle"},
};

static enum es_status check(struct es_procedure *p, const struct es_station_view *view,
                            const struct es_type *type, struct es_findings *f, struct es_check_report *report)
{
    struct es_error err;
    return es_procedure_check(p, view, type, f, report, &err);
}

Test(proof, refuses)
{
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);

    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        const struct refusal *r = &refusals[i];
        struct es_procedure *p = must_read(r->steps, r->measurands);
        struct es_findings f = {0};
        struct es_check_report report;
        if (r->words[0] == '\0') { /* 200 Hz for a day: 17 million samples, still accepted; 201 Hz not */
            cr_expect_eq(check(p, &b->view, type, &f, &report), ES_OK, "%s", r->name);
        } else {
            cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT, "%s", r->name);
            cr_expect(told(&f, r->words), "%s: told \"%s\"", r->name,
                      f.count > 0 ? f.items[0].expected : "nothing");
            cr_expect(f.count > 0 && f.items[0].line > 0 && f.items[0].column > 0, "%s: no place", r->name);
        }
        es_check_report_free(&report);
        es_findings_free(&f);
        es_procedure_free(p);
    }
    fake_bench_free(b);
    es_type_free(type);
}

static struct es_type_quantity *quantity(struct es_type *type, const char *name)
{
    for (size_t i = 0; i < type->quantity_count; i++)
        if (strcmp(type->quantities[i].name, name) == 0)
            return &type->quantities[i];
    cr_assert_fail("the type sheet has no %s", name);
    return NULL;
}

/* A procedure that was written for another type sheet: what a name stands for is looked at, too. */
Test(proof, refuses_names_that_stand_for_nothing)
{
    static const struct {
        const char *quantity, *value, *steps, *words;
    } cases[] = {
        {"travel tolerance", "0 mm",
         "{\"do\": \"wait\", \"role\": \"travel\", \"near\": \"1 mm\", \"within\": \"travel tolerance\", "
         "\"at most\": \"9 s\"}",
         "more than nothing"},
        {"minimum supply", "-1 bar",
         "{\"do\": \"isolate and vent\", \"outputs\": [\"output 1\"], \"below\": \"minimum supply\", \"at "
         "most\": \"9 s\"}",
         "more than nothing"},
        {"sweep low", "0 deg/s",
         "{\"do\": \"turn shaft\", \"to\": \"1 deg\", \"at\": \"sweep low\", \"text\": \"t\", \"at most\": "
         "\"9 s\"}",
         "more than nothing"},
        {"minimum supply", "0 bar/s",
         "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"1 bar\", \"at\": \"minimum supply\"}",
         "more than nothing"},
        {"maximum supply", "0 s", "{\"do\": \"hold\", \"for\": \"maximum supply\"}",
         "above 0 s and up to 24 h"},
        {"maximum supply", "25 h", "{\"do\": \"hold\", \"for\": \"maximum supply\"}",
         "above 0 s and up to 24 h"},
        {"full travel", "30 bar",
         "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"50 %\", \"at most\": \"9 s\"}",
         "is not a length"},
        {"loop high", "20 bar", "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"50 %\"}",
         "is not a current"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_type *type = load_type("linear-single-acting");
        struct fake_bench *b = fake_bench_new(type);
        struct es_procedure *p = must_read(cases[i].steps, "");
        struct es_findings f = {0};
        struct es_check_report report;
        struct es_error err;
        cr_assert_eq(es_quantity_parse(cases[i].value, &quantity(type, cases[i].quantity)->written, &err),
                     ES_OK, "%s", err.text);
        cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT, "%s = %s", cases[i].quantity,
                     cases[i].value);
        cr_expect(told(&f, cases[i].words), "%s = %s: \"%s\"", cases[i].quantity, cases[i].value,
                  f.count > 0 ? f.items[0].expected : "");
        es_check_report_free(&report);
        es_findings_free(&f);
        es_procedure_free(p);
        fake_bench_free(b);
        es_type_free(type);
    }
}

/* A share of the travel, or of the loop, of a type sheet that does not say what the whole is. */
Test(proof, refuses_a_share_of_nobody_knows_what)
{
    static const char *const whole[] = {"full travel", "loop low", "loop high"};

    for (size_t i = 0; i < sizeof whole / sizeof whole[0]; i++) {
        struct es_type *type = load_type("linear-single-acting");
        struct fake_bench *b = fake_bench_new(type);
        struct es_procedure *p = must_read(
            i == 0 ? "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"50 %\", \"at most\": \"9 s\"}"
                   : "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"50 %\"}",
            "");
        struct es_findings f = {0};
        struct es_check_report report;
        quantity(type, whole[i])->name[0] = 'x';
        cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT);
        cr_expect(told(&f, whole[i]) && told(&f, "which a share needs"), "%s", whole[i]);
        es_check_report_free(&report);
        es_findings_free(&f);
        es_procedure_free(p);
        fake_bench_free(b);
        es_type_free(type);
    }
}

/* The bench's own volume is not in its file: refused before air moves, with what to do. */
Test(proof, refuses_a_bench_without_the_volume_that_a_measure_needs)
{
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read(RECORD_P, FILLING("output 1 volume"));
    struct es_findings f = {0};
    struct es_check_report report;

    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_OK);
    es_check_report_free(&report);
    b->view.facts.count = 0;
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT);
    cr_expect(told(&f, "\"output 1 volume\" is not: give it in the bench file"));
    es_check_report_free(&report);
    es_findings_free(&f);
    cr_expect_eq(check(p, NULL, type, &f, &report), ES_OK);
    cr_expect(report.not_checked_count > 0);
    es_check_report_free(&report);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

Test(proof, refuses_too_many_samples)
{
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p =
        must_read("{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\", \"shaft angle\"],"
                  " \"rate\": \"200 Hz\", \"for\": \"86400 s\"}",
                  "");
    struct es_findings f = {0};
    struct es_check_report report;

    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT);
    cr_expect(told(&f, "million samples"));
    es_check_report_free(&report);
    es_findings_free(&f);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

/* A slower bench will do down to "at least"; the limit's need is then compared with what it reaches. */
Test(proof, adapts_the_rate_to_the_bench)
{
    static const char record[] =
        "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"100 Hz\","
        " \"at least\": \"30 Hz\", \"for\": \"2 s\"}";
    static const struct {
        double bench, rate;
        bool told_rate, told_limit;
    } cases[] = {{200, 100, false, false},
                 {95, 100, false, false},
                 {60, 60, false, false},
                 {40, 40, false, true},
                 {29, 0, true, false}};
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read(record, STEP_RESPONSE); /* dead time 0.4 s: 50 Hz */

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_findings f = {0};
        struct es_check_report report;
        b->view.roles[ES_ROLE_TRAVEL].rate = cases[i].bench;
        (void)!check(p, &b->view, type, &f, &report);
        cr_expect_eq(told(&f, "what this bench reaches"), cases[i].told_rate, "%zu", i);
        cr_expect_eq(told(&f, "a recording of at least"), cases[i].told_limit, "%zu", i);
        cr_expect_float_eq(report.lines[0].rate, cases[i].rate, 1e-9, "%zu: %g", i, report.lines[0].rate);
        es_check_report_free(&report);
        es_findings_free(&f);
    }
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

/* A recording made for double-acting units only cannot serve a measurand of all units. */
Test(proof, refuses_conditional_recordings_without_type)
{
    struct es_procedure *p = must_read("{\"do\": \"record\", \"when\": \"double-acting\", \"name\": \"a\", "
                                       "\"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"2 s\"}",
                                       LEVEL("a", "travel"));
    struct es_findings f = {0};
    struct es_check_report report;

    cr_expect_eq(check(p, NULL, NULL, &f, &report), ES_BAD_INPUT);
    cr_expect(told(&f, "\"when\": \"double-acting\" with the measurand"));
    es_check_report_free(&report);
    es_findings_free(&f);
    es_procedure_free(p);
}

Test(proof, refuses_a_poor_ratio_and_prints_all)
{
    struct es_type *type = load_type("linear-single-acting"); /* travel 29 to 31 mm */
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read(RECORD_A, LEVEL("a", "travel"));
    struct es_findings f = {0};
    struct es_check_report report;

    b->view.roles[ES_ROLE_TRAVEL].u = (struct es_channel_uncertainty){.offset = 0.1e-3, .dof = INFINITY};
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_OK);
    /* width 2 mm over 2 U, U = 2 * 0.1 mm */
    cr_expect_float_eq(report.lines[0].tur, 2 / (2 * 2 * 0.1), 0.01, "%g", report.lines[0].tur);
    es_check_report_free(&report);

    b->view.roles[ES_ROLE_TRAVEL].u.offset = 0.25e-3; /* ratio 2: remarked */
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_OK);
    cr_expect_eq(report.remark_count, 1);
    es_check_report_free(&report);

    b->view.roles[ES_ROLE_TRAVEL].u.offset = 0.6e-3; /* ratio 0.83: refused */
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT);
    cr_expect(told(&f, "test uncertainty ratio"));
    es_check_report_free(&report);
    es_findings_free(&f);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

struct timed {
    const char *steps;
    double seconds; /* beyond safe state, evaluation */
    double people;
};

Test(proof, knows_the_longest_duration)
{
    static const struct timed cases[] = {
        {"{\"do\": \"hold\", \"for\": \"7 s\"}", 7, 0},
        {"{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}", ES_ALLOW_WRITE, 0},
        {"{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"4 bar\", \"at\": \"0.5 bar/s\"}",
         8 + 2 * ES_ALLOW_WRITE, 0},
        {"{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\", \"for\": \"1 s\", \"at most\": \"9 "
         "s\"}",
         9, 0},
        {"{\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"5 mA\", \"6 mA\"], \"hold\": \"3 "
         "s\"}",
         2 * (3 + ES_ALLOW_WRITE), 0},
        {"{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"4 mA\", \"to\": \"8 mA\", "
         "\"stairs\": 2, \"and back\": true,"
         " \"times\": 3, \"hold\": \"1 s\"}",
         13 * (1 + ES_ALLOW_WRITE), 0},
        {"{\"do\": \"repeat\", \"times\": 10, \"steps\": [{\"do\": \"hold\", \"for\": \"2 s\"}, {\"do\": "
         "\"repeat\", \"times\": 3,"
         " \"steps\": [{\"do\": \"hold\", \"for\": \"1 s\"}]}]}",
         50, 0},
        /* begun just before the longest time; or over before it */
        {"{\"do\": \"repeat\", \"times\": 10, \"at most\": \"7 s\", \"steps\": [{\"do\": \"hold\", \"for\": "
         "\"2 s\"}]}",
         9, 0},
        {"{\"do\": \"repeat\", \"times\": 3, \"at most\": \"70 s\", \"steps\": [{\"do\": \"hold\", \"for\": "
         "\"2 s\"}]}",
         6, 0},
        /* a ramp in a repetition: from the safe state or from where the last turn left it */
        {"{\"do\": \"repeat\", \"times\": 4, \"steps\": ["
         "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"3 bar\", \"at\": \"1 bar/s\"},"
         "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"1 bar\", \"at\": \"1 bar/s\"}]}",
         4 * (3 + 2 + 4 * ES_ALLOW_WRITE), 0},
        {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"steps\": "
         "[{\"do\": \"hold\", \"for\": \"4 s\"}]}",
         4 + ES_ALLOW_RECORD, 0},
        {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
         " \"until settled\": {\"role\": \"travel\", \"within\": \"1 mm\", \"for\": \"1 s\", \"at most\": "
         "\"6 s\"}}",
         6 + ES_ALLOW_RECORD, 0},
        {"{\"do\": \"ask\", \"text\": \"t\", \"at most\": \"90 s\"}", 0, 90},
        /* other units' steps take no time */
        {"{\"do\": \"hold\", \"for\": \"7 s\", \"when\": \"double-acting\"}", 0, 0},
        {"{\"do\": \"hold\", \"for\": \"7 s\", \"when\": \"linear\"}", 7, 0},
    };
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_procedure *p = must_read(cases[i].steps, "");
        struct es_findings f = {0};
        struct es_check_report report;
        cr_assert_eq(check(p, &b->view, type, &f, &report), ES_OK, "%zu", i);
        cr_expect_float_eq(report.bench_time, cases[i].seconds + b->view.safe_within + ES_ALLOW_EVALUATE,
                           1e-9, "%zu: %g", i, report.bench_time);
        cr_expect_float_eq(report.operator_time, cases[i].people + ES_QUESTION_TIMEOUT, 1e-9);
        es_check_report_free(&report);
        es_procedure_free(p);
    }
    fake_bench_free(b);
    es_type_free(type);
}

Test(proof, refuses_a_bench_that_moves_the_other_way)
{
    struct es_type *type = load_type("part-turn-double-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read("{\"do\": \"hold\", \"for\": \"1 s\"}", "");
    struct es_findings f = {0};
    struct es_check_report report;

    b->view.roles[ES_ROLE_TRAVEL].dimension = ES_DIM_LENGTH;
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT);
    cr_expect(told(&f, "for a part-turn unit"));
    es_check_report_free(&report);
    es_findings_free(&f);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

Test(proof, refuses_a_ramp_from_an_unknown_start)
{
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read(
        "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"4 bar\", \"at\": \"0.5 bar/s\"}", "");
    struct es_findings f = {0};
    struct es_check_report report;

    b->view.roles[ES_ROLE_SUPPLY_DEMAND].safe_known = false;
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_BAD_INPUT);
    cr_expect(told(&f, "a start that is known"));
    es_check_report_free(&report);
    es_findings_free(&f);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

Test(proof, says_what_it_could_not_check)
{
    struct es_procedure *p =
        must_read("{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"nominal supply\"}," RECORD_A,
                  LEVEL("a", "travel"));
    struct es_findings f = {0};
    struct es_check_report report;
    bool bench = false, sheet = false;

    cr_expect_eq(check(p, NULL, NULL, &f, &report), ES_OK);
    for (size_t i = 0; i < report.not_checked_count; i++) {
        bench = bench || strstr(report.not_checked[i], "no bench file") != NULL;
        sheet = sheet || strstr(report.not_checked[i], "no type sheet") != NULL;
    }
    cr_expect(bench && sheet);
    es_check_report_free(&report);
    es_procedure_free(p);
}

Test(proof, tells_what_a_bench_lacks)
{
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read(RECORD_A, LEVEL("a", "travel"));
    struct es_findings f = {0};
    struct es_check_report report;

    b->view.roles[ES_ROLE_SENSOR_RATIO].present = false;
    cr_expect_eq(check(p, &b->view, type, &f, &report), ES_OK);
    cr_expect_str_eq(report.lines[0].not_tested, "the bench has no sensor ratio");
    cr_assert_eq(report.remark_count, 1);
    cr_expect(strstr(report.remarks[0], "not run") != NULL);
    es_check_report_free(&report);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

Test(proof, report_as_table_and_json)
{
    struct es_type *type = load_type("linear-single-acting");
    struct fake_bench *b = fake_bench_new(type);
    struct es_procedure *p = must_read(RECORD_A, LEVEL("a", "travel"));
    struct es_findings f = {0};
    struct es_check_report report;
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);

    cr_assert_eq(check(p, &b->view, type, &f, &report), ES_OK);
    es_check_print(&report, 98, to);
    (void)fclose(to);
    cr_expect_not_null(strstr(text, "29.00 to 31.00 mm"));
    cr_expect_not_null(strstr(text, "Altogether at most"));
    cr_expect_not_null(strstr(text, "U expected is of the instruments alone"));
    free(text);
    to = open_memstream(&text, &size);
    es_check_print(&report, 40, to);
    (void)fclose(to);
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_expect_leq(strlen(line), 40, "%s", line);
    free(text);
    cJSON *json = es_check_json(&report);
    cr_assert_not_null(json);
    const cJSON *line = cJSON_GetArrayItem(cJSON_GetObjectItem(json, "lines"), 0);
    cr_expect_str_eq(cJSON_GetObjectItem(line, "unit")->valuestring, "mm");
    cr_expect_float_eq(cJSON_GetObjectItem(line, "upper")->valuedouble, 31, 1e-9);
    cr_expect(cJSON_IsNumber(cJSON_GetObjectItem(line, "testUncertaintyRatio")));
    cJSON_Delete(json);
    es_check_report_free(&report);
    es_procedure_free(p);
    fake_bench_free(b);
    es_type_free(type);
}

/* Reading: every fault of a file at once, each with its place; and what is read is what was written. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/engine/documents.h"

struct fault {
    const char *steps, *measurands, *words;
};

#define A                                                                                                    \
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"2 s\"}"

static const struct fault faults[] = {
    {"{\"do\": \"jump\"}", "", "a kind of step"},
    {"{\"do\": \"stair case\"}", "", "\"staircase\" meant"},
    {"{\"role\": \"travel\"}", "", "\"do\""},
    {"7", "", "\"do\""},
    {"{\"do\": \"hold\"}", "", "for"},
    {"{\"do\": \"hold\", \"for\": \"2\"}", "", "time"},
    {"{\"do\": \"hold\", \"for\": \"2 bar\"}", "", "time"},
    {"{\"do\": \"hold\", \"for\": \"0 s\"}", "", "more than nothing"},
    {"{\"do\": \"hold\", \"for\": 2}", "", "a time with its unit"},
    {"{\"do\": \"hold\", \"for\": \"2,5 s\"}", "", "2,5"},
    {"{\"do\": \"hold\", \"for\": \"2 s\", \"loud\": true}", "", "loud"},
    {"{\"do\": \"hold\", \"for\": \"2 s\", \"when\": \"quadruple-acting\"}", "", "double-acting"},
    {"{\"do\": \"set\", \"role\": \"suply demand\", \"to\": \"1 bar\"}", "", "\"supply demand\" meant"},
    {"{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"10 mA\"}", "", "a pressure"},
    {"{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"10 %\"}", "", "a pressure"},
    {"{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"1\"}", "", "\"open\" or \"shut\""},
    {"{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"on\"}", "", "\"open\" or \"shut\""},
    {"{\"do\": \"ramp\", \"role\": \"supply valve\", \"to\": \"open\", \"at\": \"1 bar/s\"}", "",
     "not ramped"},
    {"{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"1 bar\", \"at\": \"1 bar\"}", "", "bar/s"},
    {"{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"1 bar\", \"at\": \"-1 bar/s\"}", "",
     "more than nothing"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\"}", "", "at most"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"at most\": \"3 s\"}", "", "no condition"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"near\": \"1 mm\", \"at most\": \"3 s\"}", "", "how near"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"near\": \"1 mm\", \"above\": \"1 mm\", \"at most\": \"3 "
     "s\"}",
     "", "either"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"within\": \"1 mm\", \"at most\": \"3 s\"}", "",
     "how long it must be steady"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\", \"at most\": \"3 s\", \"otherwise\": "
     "\"cry\"}",
     "", "go on"},
    {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\"}", "",
     "when the recording ends"},
    {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [], \"rate\": \"50 Hz\", \"for\": \"1 s\"}", "",
     "roles"},
    {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\", \"travel\"], \"rate\": \"50 Hz\", "
     "\"for\": \"1 s\"}",
     "", "each role once"},
    {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 s\", \"for\": \"1 s\"}",
     "", "frequency"},
    {"{\"do\": \"ask\", \"text\": \"t\", \"at most\": \"9 s\", \"unit\": \"bars\"}", "", "a unit"},
    {"{\"do\": \"ask\", \"text\": \"t\", \"at most\": \"9 s\", \"unit\": \"bar\", \"options\": [\"a\", "
     "\"b\"]}",
     "", "one of them"},
    {"{\"do\": \"repeat\", \"times\": 0, \"steps\": [" A "]}", "", "times"},
    {"{\"do\": \"repeat\", \"times\": 2, \"steps\": [{\"do\": \"hold\"}]}", "", "for"},
    {"{\"do\": \"isolate and vent\", \"outputs\": [\"output 3\"], \"below\": \"1 mbar\", \"at most\": \"9 "
     "s\"}",
     "", "\"output 1\" or \"output 2\""},
    {"{\"do\": \"skip the rest unless\", \"role\": \"travel\", \"within\": \"1 mm\", \"reason\": \"r\"}", "",
     "no condition"},
    {A,
     "{\"measure\": \"levle\", \"recordings\": {\"recording\": \"a\"}, \"results\": [{\"name\": \"n\", "
     "\"output\": \"value\", \"limit\": \"l\"}]}",
     "\"level\" meant"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recordin\": \"a\"}, \"with\": {\"channel\": \"travel\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\", \"limit\": \"l\"}]}",
     "\"recording\" meant"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {}, \"with\": {\"channel\": \"travel\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\", \"limit\": \"l\"}]}",
     "at least one"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"travel\", "
     "\"chanel\": 1},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\", \"limit\": \"l\"}]}",
     "chanel"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\", \"limit\": \"l\"}]}",
     "\"with\" with \"channel\""},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"travel\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"valeu\", \"limit\": \"l\"}]}",
     "\"value\" meant"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"travel\"}, "
     "\"results\": []}",
     "results"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"travel\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\"}]}",
     "limit"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"travel\"}, "
     "\"results\": [3]}",
     "name, output and limit"},
    /* every step that could wait for ever: for air, for rest, for people */
    {"{\"do\": \"isolate and vent\", \"outputs\": [\"output 1\"], \"below\": \"1 mbar\"}", "", "at most"},
    {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
     " \"until settled\": {\"role\": \"travel\", \"within\": \"1 mm\", \"for\": \"1 s\"}}",
     "", "at most"},
    {"{\"do\": \"ask\", \"text\": \"t\"}", "", "at most"},
    {"{\"do\": \"confirm\", \"text\": \"t\"}", "", "at most"},
    {"{\"do\": \"turn shaft\", \"to\": \"1 deg\", \"at\": \"9 deg/s\", \"text\": \"t\"}", "", "at most"},
    {"{\"do\": \"sweep shaft\", \"from\": \"1 deg\", \"to\": \"2 deg\", \"at\": \"9 deg/s\", \"times\": 1, "
     "\"text\": \"t\"}",
     "", "at most"},
    {"{\"do\": \"repeat\", \"steps\": [" A "]}", "", "times"},
    {"{\"do\": \"repeat\", \"times\": 1e300, \"steps\": [" A "]}", "", "times"},
    {"{\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"5 mA\"]}", "", "hold"},
    {"{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"5 mA\", \"to\": \"6 mA\", \"stairs\": "
     "3}",
     "", "hold"},
    {"{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\", \"at most\": \"-1 s\"}", "",
     "more than nothing"},
    /* names and texts that are none */
    {"{\"do\": \"set\", \"role\": \"air\", \"to\": \"1 bar\"}", "", "docs/bench-file.md lists them"},
    {"{\"do\": \"record\", \"name\": \"a\", \"roles\": [7], \"rate\": \"50 Hz\", \"for\": \"1 s\"}", "",
     "the name of a role"},
    {"{\"do\": \"ask\", \"text\": \"t\", \"at most\": \"9 s\", \"options\": [\"a\", 7]}", "", "a text"},
    {A,
     "{\"measure\": \"astrology\", \"recordings\": {\"recording\": \"a\"}, \"results\": [{\"name\": \"n\", "
     "\"output\": \"value\", \"limit\": \"l\"}]}",
     "docs/measures.md lists them"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": 7}, \"with\": {\"channel\": \"travel\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\", \"limit\": \"l\"}]}",
     "the name of a recording"},
    {A,
     "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"trvel\"},"
     " \"results\": [{\"name\": \"n\", \"output\": \"value\", \"limit\": \"l\"}]}",
     "travel"},
    {A, "12", "measure, recordings and results"},
};

Test(reading, each_fault_is_told_with_its_place)
{
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct es_findings f = {0};
        char *text = make_procedure(faults[i].steps, faults[i].measurands);
        struct es_procedure *p = try_read(text, &f);
        cr_expect_null(p, "%s %s", faults[i].steps, faults[i].measurands);
        cr_expect(told(&f, faults[i].words), "%s %s: told \"%s\" \"%s\"", faults[i].steps,
                  faults[i].measurands, f.count > 0 ? f.items[0].found : "",
                  f.count > 0 ? f.items[0].expected : "");
        for (size_t k = 0; k < f.count; k++)
            cr_expect(f.items[k].line > 0 && f.items[k].column > 0, "%s: no place", faults[i].steps);
        es_procedure_free(p);
        es_findings_free(&f);
        free(text);
    }
}

Test(reading, all_faults_at_once_in_their_lines)
{
    struct es_findings f = {0};
    char *text = make_procedure(
        "\n{\"do\": \"hold\", \"for\": \"2 bar\"},\n{\"do\": \"set\", \"role\": \"x\", \"to\": \"1 bar\"},\n"
        "{\"do\": \"jump\"}",
        "");
    cr_assert_null(try_read(text, &f));
    cr_assert_eq(f.count, 3);
    for (size_t i = 0; i < 3; i++)
        cr_expect_eq(f.items[i].line, 6 + i, "%u", f.items[i].line);
    es_findings_free(&f);
    free(text);
}

static void whole_document(const char *text, const char *words)
{
    struct es_findings f = {0};
    struct es_procedure *p = try_read(text, &f);

    cr_expect_null(p);
    cr_expect(told(&f, words), "%s: \"%s\"", words, f.count > 0 ? f.items[0].expected : "");
    es_procedure_free(p);
    es_findings_free(&f);
}

Test(reading, the_document_itself)
{
    whole_document("[]", "a procedure");
    whole_document("{}", "steps");
    whole_document("{\"endstop\": \"procedure/2\"}", "\"procedure/1\"");
    whole_document("{\"endstop\": \"procedure/1\", \"cautions\": []}", "cautions");
    whole_document("{\"endstop\": \"procedure/1\", \"needs\": {\"always\": [\"travel\"], \"double-acting\": "
                   "[\"travel\"]}}",
                   "each role once");
    whole_document("{\"endstop\": \"procedure/1\", \"needs\": {}}", "the roles that the steps use");
    whole_document("{\"endstop\": \"procedure/1\"", "");
}

Test(reading, what_is_read_is_what_was_written)
{
    struct es_procedure *p = must_read(
        "{\"do\": \"wait\", \"role\": \"travel\", \"near\": \"50 %\", \"within\": \"travel tolerance\", "
        "\"for\": \"2 s\","
        " \"at most\": \"12 s\", \"otherwise\": \"go on\", \"when\": \"part-turn\", \"why\": \"because\", "
        "\"note\": \"ignored\"}",
        "{\"measure\": \"level\", \"when\": \"single-acting\", \"recordings\": {\"recording\": \"a\"}, "
        "\"with\": {\"channel\": \"travel\"},"
        " \"results\": [{\"name\": \"n\", \"output\": \"spread\", \"limit\": \"l\", \"required\": false}]}");
    const struct es_step *s = &p->steps[0];

    cr_expect_eq(s->kind, ES_STEP_WAIT);
    cr_expect_eq(s->role, ES_ROLE_TRAVEL);
    cr_expect_eq(s->near.kind, ES_AMOUNT_SHARE);
    cr_expect_float_eq(s->near.value, 0.5, 1e-12);
    cr_expect_eq(s->within.kind, ES_AMOUNT_NAMED);
    cr_expect_str_eq(s->within.text, "travel tolerance");
    cr_expect_eq(s->within.use, ES_AMOUNT_DIFFERENCE);
    cr_expect_eq(s->duration.value, 2);
    cr_expect_eq(s->otherwise, ES_ELSE_GO_ON);
    cr_expect_eq(s->when, ES_WHEN_PART_TURN);
    cr_expect_eq(p->measurands[0].when, ES_WHEN_SINGLE);
    cr_expect_str_eq(p->measurands[0].measure->outputs[p->measurands[0].results[0].output].name, "spread");
    cr_expect(!p->measurands[0].results[0].required);
    cr_expect_eq(strlen(p->digest), 64);
    es_procedure_free(p);
}

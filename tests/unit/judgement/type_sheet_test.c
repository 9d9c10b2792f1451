#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/judgement/type_sheet.h"

#define HEAD                                                                                                 \
    "{\"endstop\": \"type-sheet/1\", \"name\": \"example-x\", \"title\": \"Example X\", \"version\": "       \
    "\"3\",\n"                                                                                               \
    " \"action\": \"double-acting\", \"motion\": \"part-turn\",\n"                                           \
    " \"ceilings\": {\"supply pressure\": \"7 bar\", \"loop current\": \"22 mA\"},\n"
#define QUANTITIES " \"quantities\": {\"nominal supply\": \"4.0 bar\", \"full travel\": \"90 deg\"},\n"
#define LIMITS     " \"limits\": {\"leak\": {\"upper\": \"3.0 Nl/h\", \"source\": \"test\"}}}\n"

static enum es_status read_sheet(const char *text, struct es_findings *findings, struct es_type **type)
{
    struct es_document *doc = NULL;
    struct es_error err;
    *findings = (struct es_findings){0};
    *type = NULL;
    enum es_status st = es_document_parse("x.json", text, strlen(text), findings, &doc, &err);
    if (st == ES_OK) {
        st = es_type_from_document(doc, findings, type, &err);
    }
    es_document_free(doc);
    return st;
}

static struct es_type *good(const char *text)
{
    struct es_findings findings;
    struct es_type *type;
    enum es_status st = read_sheet(text, &findings, &type);
    if (st != ES_OK) {
        es_findings_print(&findings, stderr);
    }
    cr_assert_eq(st, ES_OK);
    es_findings_free(&findings);
    return type;
}

/* Every finding's place, and a word of what was expected. */
struct wanted {
    unsigned line, column;
    const char *expected;
};

static void expect_faults(const char *text, const struct wanted *wanted, size_t count)
{
    struct es_findings findings;
    struct es_type *type;
    cr_expect_eq(read_sheet(text, &findings, &type), ES_BAD_INPUT);
    cr_expect_null(type);
    cr_expect_eq(findings.count, count, "%zu faults found in %s", findings.count, text);
    for (size_t i = 0; i < findings.count && i < count; i++) {
        const struct es_finding *f = &findings.items[i];
        cr_expect(f->line == wanted[i].line && f->column == wanted[i].column, "fault %zu at %u:%u (%s)", i,
                  f->line, f->column, f->expected);
        cr_expect(strstr(f->expected, wanted[i].expected) != NULL, "fault %zu: %s", i, f->expected);
    }
    es_findings_free(&findings);
}

Test(type_sheet, reads_all_of_it)
{
    struct es_type *t =
        good(HEAD QUANTITIES
             " \"limits\": {\"leak\": {\"upper\": \"3.0 Nl/h\", \"source\": \"common practice\"},\n"
             "\"angle\": {\"lower\": \"-45 deg\", \"upper\": \"45.5 deg\", \"rule\": \"non-binary\","
             "\"guard factor\": 0.5, \"required\": false, \"decimals\": 3, \"source\": \"s\"},"
             "\"count\": {\"upper\": \"0\", \"rule\": \"simple\", \"source\": \"s\"}}}");
    cr_expect_str_eq(t->name, "example-x");
    cr_expect_str_eq(t->title, "Example X");
    cr_expect_str_eq(t->version, "3");
    cr_expect_eq(strlen(t->digest), 64);
    cr_expect_eq(t->action, ES_DOUBLE_ACTING);
    cr_expect_eq(t->motion, ES_PART_TURN);
    cr_expect_float_eq(t->highest_supply, 7e5, 1e-6);
    cr_expect_float_eq(t->highest_loop, 0.022, 1e-12);
    const struct es_type_quantity *q = es_type_quantity(t, "nominal supply");
    cr_assert_not_null(q);
    cr_expect_float_eq(q->written.value, 4e5, 1e-6);
    cr_expect_eq(q->written.decimals, 1);
    cr_expect_null(es_type_quantity(t, "leak"));
    const struct es_limit *leak = es_type_limit(t, "leak");
    cr_assert_not_null(leak);
    cr_expect(isinf(leak->lower) && leak->lower < 0);
    cr_expect_eq(leak->rule, ES_RULE_GUARDED);
    cr_expect_eq(leak->guard_factor, 1);
    cr_expect(leak->required);
    cr_expect_eq(leak->decimals, 1);
    cr_expect_str_eq(leak->unit->name, "Nl/h");
    const struct es_limit *angle = es_type_limit(t, "angle");
    cr_expect_eq(angle->rule, ES_RULE_NON_BINARY);
    cr_expect_eq(angle->guard_factor, 0.5);
    cr_expect_not(angle->required);
    cr_expect_eq(angle->decimals, 3);
    cr_expect_float_eq(angle->lower, -M_PI / 4, 1e-15);
    cr_expect_eq(es_type_limit(t, "count")->guard_factor, 0);
    cr_expect_null(es_type_limit(t, "nominal supply"));
    es_type_free(t);
    es_type_free(NULL);
}

Test(type_sheet, all_faults_come_at_once_with_their_places)
{
    expect_faults(
        "{\"endstop\": \"type-sheet/1\", \"name\": \"Example X\", \"title\": \"t\", \"version\": \"1\",\n"
        " \"action\": \"single-acting\", \"motion\": \"linear\",\n"
        " \"ceilings\": {\"supply pressure\": \"7 mA\", \"loop current\": \"22 mA\"},\n"
        " \"quantities\": {\"nominal supply\": \"4.0 mm\",\n"
        "   \"full travel\": \"90 deg\", \"loop low\": 4},\n"
        " \"limits\": {\n"
        "  \"a\": {\"source\": \"s\"},\n"
        "  \"b\": {\"lower\": \"3 mm\", \"upper\": \"2 mm\", \"source\": \"s\"},\n"
        "  \"c\": {\"lower\": \"3 mm\", \"upper\": \"2 bar\", \"source\": \"s\"},\n"
        "  \"d\": {\"upper\": \"2 furlongs\", \"source\": \"s\"},\n"
        "  \"e\": {\"upper\": \"2 mm\", \"rule\": \"simple\", \"guard factor\": 1, \"source\": \"s\"},\n"
        "  \"f\": {\"upper\": \"2 mm\", \"rule\": \"non-binary\", \"guard factor\": 0, \"source\": \"s\"},\n"
        "  \"g\": 7}}",
        (struct wanted[]){{1, 37, "small letters"},
                          {3, 34, "pressure"},
                          {4, 35, "pressure"},
                          {5, 19, "length"},
                          {5, 41, "text"},
                          {7, 8, "\"lower\", \"upper\""},
                          {8, 35, "not less"},
                          {9, 35, "unit of \"lower\""},
                          {10, 18, "known unit"},
                          {11, 60, "no guard"},
                          {12, 64, "above 0"},
                          {13, 8, "object"}},
        12);
}

Test(type_sheet, orders_and_ceilings_hold)
{
    expect_faults(HEAD " \"quantities\": {\"minimum supply\": \"5 bar\", \"nominal supply\": \"4 bar\",\n"
                       "\"maximum supply\": \"8 bar\", \"loop low\": \"20 mA\", \"loop high\": \"20 mA\",\n"
                       "\"sweep low\": \"60 deg\", \"sweep high\": \"-60 deg\"},\n" LIMITS,
                  (struct wanted[]){{4, 62, "\"minimum supply\""},
                                    {5, 62, "above \"loop low\""},
                                    {6, 38, "above \"sweep low\""},
                                    {5, 19, "ceiling \"supply pressure\""}},
                  4);
}

Test(type_sheet, what_cannot_be_nothing_is_more)
{
    expect_faults(
        HEAD
        " \"quantities\": {\"minimum supply\": \"0 bar\", \"loop low\": \"-4 mA\",\n"
        "\"full travel\": \"-90 deg\", \"travel tolerance\": \"0 deg\", \"sweep low\": \"0 deg\"},\n" LIMITS,
        (struct wanted[]){{4, 35, "more than nothing"},
                          {4, 56, "more than nothing"},
                          {5, 16, "more than nothing"},
                          {5, 47, "more than nothing"}},
        4);
}

Test(type_sheet, another_kind_of_document_says_only_that)
{
    expect_faults("{\"endstop\": \"bench/1\", \"buses\": {}}", (struct wanted[]){{1, 13, "type-sheet/1"}}, 1);
    expect_faults("[1]", (struct wanted[]){{1, 1, "object"}}, 1);
}

Test(type_sheet, missing_and_unknown_members_are_named)
{
    struct es_findings findings;
    struct es_type *type;
    cr_expect_eq(read_sheet("{\"endstop\": \"type-sheet/1\", \"nmae\": \"x\"}", &findings, &type),
                 ES_BAD_INPUT);
    cr_expect_geq(findings.count, 9, "the unknown member and every missing one");
    es_findings_free(&findings);
    cr_expect_eq(read_sheet(HEAD QUANTITIES " \"limits\": {}}", &findings, &type), ES_BAD_INPUT);
    cr_expect_eq(findings.count, 1);
    es_findings_free(&findings);
}

Test(type_sheet, notes_are_allowed)
{
    struct es_type *t =
        good(HEAD " \"note\": \"n\", \"quantities\": {\"note\": \"n\", \"loop low\": \"4 mA\"},\n"
                  " \"limits\": {\"note\": \"n\", \"a\": {\"note\": \"n\", \"upper\": \"1\", "
                  "\"source\": \"s\"}}}");
    cr_expect_eq(t->quantity_count, 1);
    cr_expect_eq(t->limit_count, 1);
    es_type_free(t);
}

static void check_shipped(const char *name, enum es_action action, enum es_motion motion)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/procedures/types/%s.json", ES_SOURCE_DIR, name);
    struct es_findings findings = {0};
    struct es_type *t = NULL;
    struct es_error err;
    enum es_status st = es_type_load(path, &findings, &t, &err);
    es_findings_print(&findings, stderr);
    cr_assert_eq(st, ES_OK, "%s", err.text);
    cr_expect_eq(t->action, action);
    cr_expect_eq(t->motion, motion);
    cr_expect_float_eq(es_type_quantity(t, "minimum supply")->written.value, 1.4e5, 1e-6);
    cr_expect_float_eq(es_type_limit(t, "self-adjustment time")->upper, 240, 1e-9);
    cr_expect_str_eq(t->name, name);
    es_type_free(t);
    es_findings_free(&findings);
}

Test(type_sheet, shipped_types_are_sound)
{
    check_shipped("linear-single-acting", ES_SINGLE_ACTING, ES_LINEAR);
    check_shipped("part-turn-double-acting", ES_DOUBLE_ACTING, ES_PART_TURN);
}

#define START                                                                                                \
    "{\"endstop\": \"type-sheet/1\", \"name\": \"m\", \"title\": \"M\", \"version\": \"1\",\n"               \
    " \"action\": \"double-acting\", \"ceilings\": {\"supply pressure\": \"7 bar\", "                        \
    "\"loop current\": \"22 mA\"},\n"

Test(type_sheet, kinds_and_what_is_fitted)
{
    struct es_type *t = good(HEAD QUANTITIES LIMITS);
    cr_expect_eq(t->kind, ES_COMPLETE_UNIT);
    cr_expect_not(t->fitted[ES_FITTED_FEEDBACK] || t->fitted[ES_FITTED_SHUTDOWN]);
    cr_expect(es_type_has_role(t, ES_ROLE_TRAVEL) && !es_type_has_role(t, ES_ROLE_FEEDBACK_CURRENT));
    es_type_free(t);

    t = good(
        START
        "\"motion\": \"part-turn\", \"fitted\": [\"shutdown module\", \"position feedback\"],\n" QUANTITIES
            LIMITS);
    cr_expect(t->fitted[ES_FITTED_FEEDBACK] && t->fitted[ES_FITTED_SHUTDOWN]);
    cr_expect(es_type_has_role(t, ES_ROLE_FEEDBACK_CURRENT) && es_type_has_role(t, ES_ROLE_AUXILIARY_SUPPLY));
    cr_expect_str_eq(es_fitted_word(ES_FITTED_SHUTDOWN), "shutdown module");
    es_type_free(t);

    t = good(START "\"kind\": \"relay module\",\n \"quantities\": {},\n" LIMITS);
    cr_expect_eq(t->kind, ES_RELAY_MODULE);
    cr_expect_not(es_type_has_role(t, ES_ROLE_TRAVEL) || es_type_has_role(t, ES_ROLE_SENSOR_RATIO));
    cr_expect(es_type_has_role(t, ES_ROLE_OUTPUT_2_FLOW));
    cr_expect_str_eq(es_unit_kind_word(t->kind), "relay module");
    es_type_free(t);
}

Test(type_sheet, kinds_that_contradict_themselves_are_refused)
{
    static const char none[] = "\"quantities\": {},\n";
    char text[1000];
    static const struct {
        const char *members;
        struct wanted wanted;
    } cases[] = {
        {"", {1, 1, "\"linear\" or \"part-turn\""}},
        {"\"kind\": \"relay module\",\n\"motion\": \"linear\",\n", {4, 11, "moves nothing"}},
        {"\"kind\": \"relay module\",\n\"fitted\": [\"position feedback\"],\n", {4, 11, "neither feedback"}},
        {"\"motion\": \"linear\", \"fitted\": [\n\"wings\"],\n", {4, 1, "\"shutdown module\""}},
        {"\"motion\": \"linear\", \"fitted\": [\"position feedback\",\n\"position feedback\"],\n",
         {4, 1, "each thing once"}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        (void)snprintf(text, sizeof text, START "%s%s" LIMITS, cases[i].members, none);
        expect_faults(text, &cases[i].wanted, 1);
    }
}

Test(type_sheet, missing_file_is_not_found)
{
    struct es_findings findings = {0};
    struct es_type *t = NULL;
    struct es_error err;
    cr_expect_eq(es_type_load("/nonexistent/type.json", &findings, &t, &err), ES_NOT_FOUND);
    cr_expect_null(t);
    es_findings_free(&findings);
}

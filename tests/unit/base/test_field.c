#include <criterion/criterion.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

#include "rig/base/document.h"

struct target {
    char *text;
    bool flag;
    long whole;
    double number;
    double pressure;
    double count;
    int choice;
    const cJSON *object;
    const cJSON *list;
    const cJSON *any;
};

static const char *const words[] = {"first", "second", "third", NULL};

static const struct es_field rows[] = {
    {.name = "text",
     .kind = ES_FIELD_TEXT,
     .offset = offsetof(struct target, text),
     .min = 1,
     .max = 5,
     .required = true,
     .meaning = "a short text"},
    {.name = "flag", .kind = ES_FIELD_BOOL, .offset = offsetof(struct target, flag), .fallback = "true"},
    {.name = "whole",
     .kind = ES_FIELD_INTEGER,
     .offset = offsetof(struct target, whole),
     .min = -5,
     .max = 5,
     .fallback = "3"},
    {.name = "number",
     .kind = ES_FIELD_NUMBER,
     .offset = offsetof(struct target, number),
     .min = 0,
     .max = INFINITY,
     .fallback = "2.5"},
    {.name = "pressure",
     .kind = ES_FIELD_QUANTITY,
     .offset = offsetof(struct target, pressure),
     .dimension = ES_DIM_PRESSURE,
     .min = 0,
     .max = 1e6,
     .fallback = "1.4 bar"},
    {.name = "count",
     .kind = ES_FIELD_QUANTITY,
     .offset = offsetof(struct target, count),
     .dimension = ES_DIM_NUMBER},
    {.name = "choice",
     .kind = ES_FIELD_CHOICE,
     .offset = offsetof(struct target, choice),
     .choices = words,
     .fallback = "second"},
    {.name = "object", .kind = ES_FIELD_OBJECT, .offset = offsetof(struct target, object)},
    {.name = "list", .kind = ES_FIELD_ARRAY, .offset = offsetof(struct target, list), .min = 1, .max = 2},
    {.name = "any", .kind = ES_FIELD_ANY, .offset = offsetof(struct target, any)},
};
#define ROWS (sizeof rows / sizeof rows[0])

static struct es_document *doc;
static struct es_findings findings;

static bool read_into(const char *text, struct target *t)
{
    struct es_error err = {0};

    cr_assert_eq(es_document_parse("t.json", text, strlen(text), &findings, &doc, &err), ES_OK, "%s",
                 err.text);
    return es_fields_read(doc, es_document_root(doc), rows, ROWS, t, &findings);
}

static void done(struct target *t)
{
    es_fields_free(rows, ROWS, t);
    cr_expect_eq(t->text, NULL);
    es_findings_free(&findings);
    es_document_free(doc);
    doc = NULL;
}

Test(field, reads_every_kind)
{
    struct target t = {0};

    cr_assert(
        read_into("{\"text\":\"\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\",\"flag\":false,"
                  "\"whole\":-5,\"number\":0.5,\"pressure\":\"4.0 bar\",\"count\":7,"
                  "\"choice\":\"third\",\"object\":{},\"list\":[1],\"any\":null,\"note\":\"ignored\"}",
                  &t));
    cr_expect_eq(findings.count, 0);
    cr_expect_eq(strlen(t.text), 15, "length is counted in characters");
    cr_expect_not(t.flag);
    cr_expect_eq(t.whole, -5);
    cr_expect_eq(t.number, 0.5);
    cr_expect_eq(t.pressure, 4e5);
    cr_expect_eq(t.count, 7);
    cr_expect_eq(t.choice, 2);
    cr_expect(cJSON_IsObject(t.object));
    cr_expect(cJSON_IsArray(t.list));
    cr_expect(cJSON_IsNull(t.any));
    done(&t);
}

Test(field, defaults_stand_in)
{
    struct target t = {.count = 99};

    cr_assert(read_into("{\"text\":\"x\"}", &t));
    cr_expect(t.flag);
    cr_expect_eq(t.whole, 3);
    cr_expect_eq(t.number, 2.5);
    cr_expect_float_eq(t.pressure, 1.4e5, 1e-9);
    cr_expect_eq(t.choice, 1);
    cr_expect_eq(t.count, 99, "no default: left as it is");
    cr_expect_eq(t.object, NULL);
    done(&t);
}

Test(field, every_fault_in_one_go)
{
    struct target t = {0};

    cr_expect_not(
        read_into("{\"texd\": \"x\",\n\"flag\": 1,\n\"whole\": 1.5,\n\"number\": -1,\n"
                  "\"pressure\": \"4 mA\",\n\"choice\": \"secnd\",\n\"object\": [],\n\"list\": [],\n"
                  "\"note\": 3}",
                  &t));
    struct {
        unsigned line;
        const char *part;
    } const expected[] = {
        {1, "Did you mean \"text\"?"},
        {2, "true or false"},
        {3, "a whole number"},
        {4, "a number of at least 0"},
        {5, "a pressure in one of: bar"},
        {6, "Did you mean \"second\"?"},
        {7, "an object in { }"},
        {8, "a list of 1 to 2 elements"},
        {9, "a text for \"note\""},
        {1, "\"text\": a short text"},
    };
    cr_assert_eq(findings.count, sizeof expected / sizeof expected[0], "%zu", findings.count);
    for (size_t i = 0; i < findings.count; i++) {
        const struct es_finding *f = &findings.items[i];
        cr_expect_eq(f->line, expected[i].line, "%zu: %u", i, f->line);
        cr_expect(strstr(f->expected, expected[i].part) != NULL ||
                      strstr(f->advice, expected[i].part) != NULL,
                  "%zu: %s | %s", i, f->expected, f->advice);
    }
    done(&t);
}

static void refused(const char *text, const char *part)
{
    struct target t = {.whole = 1, .number = 1, .pressure = 1, .choice = 1};

    cr_expect_not(read_into(text, &t), "%s was taken", text);
    cr_assert_eq(findings.count, 1, "%s: %zu findings", text, findings.count);
    cr_expect_neq(strstr(findings.items[0].expected, part), NULL, "%s: %s", text, findings.items[0].expected);
    done(&t);
}

Test(field, limits_and_kinds)
{
    refused("{\"text\":\"\"}", "a text of 1 to 5 characters");
    refused("{\"text\":\"123456\"}", "a text of 1 to 5 characters");
    refused("{\"text\":5}", "a text in double quotes for \"text\"");
    refused("{\"text\":\"x\",\"whole\":6}", "-5 to 5");
    refused("{\"text\":\"x\",\"whole\":\"3\"}", "a whole number");
    refused("{\"text\":\"x\",\"number\":\"3\"}", "a number");
    refused("{\"text\":\"x\",\"pressure\":\"11 bar\"}", "a quantity from 0 bar to 10 bar for \"pressure\"");
    refused("{\"text\":\"x\",\"pressure\":\"200 psi\"}", "0 psi to 145.03");
    refused("{\"text\":\"x\",\"pressure\":4}", "a pressure with its unit, in double quotes");
    refused("{\"text\":\"x\",\"pressure\":\"4\"}", "a pressure in one of");
    refused("{\"text\":\"x\",\"pressure\":\"4,5 bar\"}", "not a comma");
    refused("{\"text\":\"x\",\"count\":\"4 bar\"}", "a plain number");
    refused("{\"text\":\"x\",\"count\":true}", "a number");
    refused("{\"text\":\"x\",\"choice\":1}", "one of \"first\", \"second\", \"third\"");
    refused("{\"text\":\"x\",\"choice\":\"Second\"}", "one of");
    refused("{\"text\":\"x\",\"list\":[1,2,3]}", "a list of 1 to 2 elements");
    refused("{\"text\":\"x\",\"list\":{}}", "a list in [ ]");
    refused("{\"text\":\"x\",\"TEXT\":\"y\"}", "one of");
    refused("[]", "an object");
}

Test(field, whole_numbers_up_to_what_a_double_holds)
{
    static const struct es_field row[] = {{.name = "n", .kind = ES_FIELD_INTEGER, .offset = 0}};
    static const struct {
        const char *text;
        bool good;
        long value;
    } cases[] = {{"{\"n\":9007199254740992}", true, 9007199254740992},
                 {"{\"n\":-9007199254740992}", true, -9007199254740992},
                 {"{\"n\":9007199254740994}", false, 0},
                 {"{\"n\":1e300}", false, 0},
                 {"{\"n\":1e3}", true, 1000}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        long n = 0;
        struct es_document *d = NULL;
        struct es_findings f = {0};
        cr_assert_eq(es_document_parse("t", cases[i].text, strlen(cases[i].text), &f, &d, NULL), ES_OK);
        cr_expect_eq(es_fields_read(d, es_document_root(d), row, 1, &n, &f), cases[i].good, "%s",
                     cases[i].text);
        cr_expect_eq(n, cases[i].value);
        es_findings_free(&f);
        es_document_free(d);
    }
}

Test(field, a_range_may_have_one_side)
{
    static const struct es_field row[] = {
        {.name = "t", .kind = ES_FIELD_QUANTITY, .dimension = ES_DIM_TIME, .min = -INFINITY, .max = 3600}};
    double t = 0;
    struct es_document *d = NULL;
    struct es_findings f = {0};
    static const char text[] = "{\"t\": \"61 min\"}";

    cr_assert_eq(es_document_parse("t", text, strlen(text), &f, &d, NULL), ES_OK);
    cr_expect_not(es_fields_read(d, es_document_root(d), row, 1, &t, &f));
    cr_assert_eq(f.count, 1);
    cr_expect_str_eq(f.items[0].expected, "a quantity of at most 60 min for \"t\"");
    es_findings_free(&f);
    es_document_free(d);
}

/* A default that does not fit its own row is a fault of the program, and is told. */
Test(field, bad_default_is_told)
{
    static const struct es_field bad[] = {
        {.name = "p", .kind = ES_FIELD_QUANTITY, .dimension = ES_DIM_PRESSURE, .fallback = "4 mA"}};
    double p = 0;
    struct es_document *d = NULL;
    struct es_findings f = {0};

    cr_assert_eq(es_document_parse("t", "{}", 2, &f, &d, NULL), ES_OK);
    cr_expect_not(es_fields_read(d, es_document_root(d), bad, 1, &p, &f));
    cr_expect_eq(f.count, 1);
    es_findings_free(&f);
    es_document_free(d);
}

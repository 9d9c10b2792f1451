/* RFC 8785 (JSON Canonicalization Scheme): the document's own figures stand in tests/reference/certificate.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "rig/base/document.h"

static char *canonical(const char *json)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_error err;
    char *out = NULL;
    size_t length = 0;
    cr_assert_eq(es_document_parse("x", json, strlen(json), &findings, &doc, &err), ES_OK, "%s", json);
    cr_assert_eq(es_canonical_write(es_document_root(doc), &out, &length, &err), ES_OK, "%s", err.text);
    cr_expect_eq(length, strlen(out));
    es_document_free(doc);
    es_findings_free(&findings);
    return out;
}

static void expect(const char *json, const char *want)
{
    char *got = canonical(json);
    cr_expect_str_eq(got, want);
    char *again = canonical(got);
    cr_expect_str_eq(again, got, "the canonical form is its own canonical form");
    free(again);
    free(got);
}

Test(canonical, white_space_goes_and_names_are_sorted)
{
    expect(" { \"b\" : [ 1 , 2.50 , { } , [ ] ] ,\n\"a\" : null , \"aa\" : true , \"\" : false } ",
           "{\"\":false,\"a\":null,\"aa\":true,\"b\":[1,2.5,{},[]]}");
}

Test(canonical, strings_are_escaped_as_little_as_possible)
{
    expect("\"\\u0001\\u0008\\u0009\\u000a\\u000B\\u000c\\u000d\\u001F\\\"\\\\\\/"
           "\\u007f\\u0041\\u00e4\\ud83d\\ude00\"",
           "\"\\u0001\\b\\t\\n\\u000b\\f\\r\\u001f\\\"\\\\/\x7f"
           "A\xC3\xA4\xF0\x9F\x98\x80\"");
}

Test(canonical, numbers)
{
    expect("[-0, 0.0, 1E2, 1e21, 123456789012345678901, 1e-6, 1e-7, 0.1, 100, -1.5e-10, 12345678.9]",
           "[0,0,100,1e+21,123456789012345680000,0.000001,1e-7,0.1,100,-1.5e-10,12345678.9]");
}

Test(canonical, one_member_can_be_left_out_at_the_top_only)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    const char *json = "{\"s\":1,\"a\":{\"s\":2},\"z\":3}";
    char *out = NULL;
    size_t length = 0;
    cr_assert_eq(es_document_parse("x", json, strlen(json), &findings, &doc, NULL), ES_OK);
    cr_assert_eq(es_canonical_write_without(es_document_root(doc), "s", &out, &length, NULL), ES_OK);
    cr_expect_str_eq(out, "{\"a\":{\"s\":2},\"z\":3}");
    free(out);
    es_document_free(doc);
}

static void refused(cJSON *tree, const char *why)
{
    char *out = (char *)"untouched";
    size_t length = 7;
    struct es_error err;
    cr_expect_eq(es_canonical_write(tree, &out, &length, &err), ES_BAD_INPUT);
    cr_expect(strstr(err.text, why) != NULL, "%s", err.text);
    cr_expect_str_eq(out, "untouched");
    cJSON_Delete(tree);
}

Test(canonical, what_has_no_canonical_form_is_refused)
{
    refused(cJSON_CreateNumber(NAN), "not finite");
    refused(cJSON_CreateNumber(INFINITY), "not finite");
    refused(cJSON_CreateNumber(-INFINITY), "not finite");
    refused(cJSON_CreateString("\xED\xA0\x80"), "UTF-8"); /* a lone surrogate */
    refused(cJSON_CreateString("\xFF"), "UTF-8");
    refused(cJSON_CreateString("a\xC3"), "UTF-8");
    refused(cJSON_CreateRaw("1"), "unknown kind");
    cJSON *twice = cJSON_CreateObject();
    cJSON_AddNumberToObject(twice, "b", 1);
    cJSON_AddNumberToObject(twice, "a", 1);
    cJSON_AddNumberToObject(twice, "b", 2);
    refused(twice, "twice");
    cJSON *name = cJSON_CreateObject();
    cJSON_AddNumberToObject(name, "\xED\xBF\xBF", 1);
    refused(name, "UTF-8");
    cJSON *deep = cJSON_CreateArray();
    for (int i = 0; i < 70; i++) {
        cJSON *outer = cJSON_CreateArray();
        cJSON_AddItemToArray(outer, deep);
        deep = outer;
    }
    refused(deep, "nested");
}

/* Shortest digits next to powers of two, where the nearest short decimal may not read back. */
Test(canonical, every_power_of_two_reads_back_with_at_most_17_digits)
{
    for (int e = -1074; e <= 1023; e++) {
        for (int by = -1; by <= 1; by++) {
            double v = ldexp(1, e);
            v = by < 0 ? nextafter(v, 0) : by > 0 ? nextafter(v, INFINITY) : v;
            char text[ES_CANONICAL_NUMBER_MAX];
            cr_assert(es_canonical_number(v, text));
            cr_assert_eq(strtod(text, NULL), v, "%a as %s", v, text);
        }
    }
    char text[ES_CANONICAL_NUMBER_MAX];
    cr_expect(es_canonical_number(ldexp(1, -44), text));
    cr_expect_str_eq(text, "5.684341886080802e-14");
}

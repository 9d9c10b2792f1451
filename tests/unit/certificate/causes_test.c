/* The interpretation in the certificate: there when somebody looked, marked as one, absent else. */
#include <cjson/cJSON.h>
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/likely.h"
#include "tests/unit/certificate/sample.h"

static struct es_likely *likely(enum es_likely_kind kind)
{
    struct es_likely *l = calloc(1, sizeof *l);
    cr_assert(l);
    l->kind = kind;
    if (kind == ES_LIKELY_UNKNOWN) {
        l->unknown = strdup("nothing was learned of the type \"x\"");
        return l;
    }
    l->basis = strdup("a study of 10 virtual units");
    l->repairs = 3;
    l->count = 1;
    l->causes[0] = (struct es_likely_cause){.name = strdup("spool worn"),
                                            .meaning = strdup("ports open"),
                                            .place = ES_CAUSE_UNIT,
                                            .probability = 0.8765,
                                            .assumed = 0.012,
                                            .rate = 0.0254};
    if (kind == ES_LIKELY_CAUSES) {
        l->causes[0].evidence[l->causes[0].evidence_count++] =
            strdup("leak failed: so in 98 %, in 1 % otherwise");
        l->no_fault = 0.01;
        l->check = strdup("Listen.");
        l->caution = strdup("Ears.");
        l->minutes = 2;
    } else {
        l->remaining = 0.001234;
        l->upper = 0.02;
        l->before = 0.1;
    }
    return l;
}

static cJSON *built(struct es_likely *l)
{
    struct es_outcome o = {0};
    struct es_error err = {0};
    struct es_key *key = sample_key();
    struct es_certificate_meta meta = sample_meta(key);
    char *bytes = NULL;
    size_t length = 0;
    sample_outcome(&o, 2, 0);
    o.likely = l;
    cr_assert_eq(es_certificate_build(&o, &meta, &bytes, &length, &err), ES_OK, "%s", err.text);
    cJSON *root = cJSON_ParseWithLength(bytes, length);
    cr_assert(root);
    free(bytes);
    es_outcome_free(&o);
    es_key_free(key);
    return root;
}

static const char *text(const cJSON *object, const char *name)
{
    const char *t = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return t ? t : "";
}

static double number(const cJSON *object, const char *name)
{
    return cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

static bool states_it(const cJSON *root)
{
    const cJSON *item;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(root, "statements"))
    {
        if (strstr(cJSON_GetStringValue(item), "7.8.7"))
            return true;
    }
    return false;
}

Test(causes, likely_causes_with_evidence_check_and_basis)
{
    cJSON *root = built(likely(ES_LIKELY_CAUSES));
    const cJSON *about = cJSON_GetObjectItemCaseSensitive(root, "interpretation");
    const cJSON *first = cJSON_GetArrayItem(cJSON_GetObjectItemCaseSensitive(about, "causes"), 0);
    cr_expect_str_eq(text(about, "about"), "likely causes");
    cr_expect_str_eq(text(first, "cause"), "spool worn");
    cr_expect_str_eq(text(first, "place"), "unit");
    cr_expect_float_eq(number(first, "probability"), 0.88, 1e-12);
    cr_expect_eq(cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(first, "evidence")), 1);
    cr_expect_str_eq(text(cJSON_GetObjectItemCaseSensitive(about, "next_check"), "caution"), "Ears.");
    cr_expect_float_eq(number(about, "confirmed_repairs"), 3, 0);
    const cJSON *prior = cJSON_GetObjectItemCaseSensitive(first, "prior");
    cr_expect_float_eq(number(prior, "assumed"), 0.012, 1e-12);
    cr_expect_float_eq(number(prior, "moved_to"), 0.025, 1e-12);
    cr_expect_geq(cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(about, "assumptions")), 4);
    cr_expect(states_it(root));
    cJSON_Delete(root);
}

Test(causes, undetected_fault_of_a_unit_that_passed)
{
    cJSON *root = built(likely(ES_LIKELY_REMAINING));
    const cJSON *about = cJSON_GetObjectItemCaseSensitive(root, "interpretation");
    cr_expect_str_eq(text(about, "about"), "undetected fault");
    cr_expect_float_eq(number(about, "probability"), 0.0012, 1e-12);
    cr_expect_float_eq(number(about, "at_most"), 0.02, 1e-12);
    cr_expect_eq(cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(about, "leading")), 1);
    cJSON_Delete(root);
}

Test(causes, nothing_known_says_why_and_nothing_else)
{
    cJSON *root = built(likely(ES_LIKELY_UNKNOWN));
    const cJSON *about = cJSON_GetObjectItemCaseSensitive(root, "interpretation");
    cr_expect_str_eq(text(about, "about"), "nothing known");
    cr_expect(strstr(text(about, "why"), "the type"));
    cr_expect_eq(cJSON_GetArraySize(about), 2);
    cJSON_Delete(root);
}

Test(causes, without_a_look_nothing)
{
    cJSON *root = built(NULL);
    cr_expect_null(cJSON_GetObjectItemCaseSensitive(root, "interpretation"));
    cr_expect(!states_it(root));
    cJSON_Delete(root);
}

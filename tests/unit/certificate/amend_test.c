/* Amending: what changes, what must not, and what is refused (ISO/IEC 17025:2017 7.8.8). */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/amend.h"
#include "results/certificate/content.h"
#include "tests/unit/certificate/sample.h"

static struct es_key *key;
static struct es_outcome outcome;
static struct es_error err;
static char *old;
static size_t old_length;

static void setup(void)
{
    key = sample_key();
    sample_outcome(&outcome, 4, 200);
    old = sample_signed(&outcome, key, &old_length);
}

static void teardown(void)
{
    free(old);
    es_outcome_free(&outcome);
    es_key_free(key);
}

TestSuite(amend, .init = setup, .fini = teardown);

static struct es_amendment order(void)
{
    return (struct es_amendment){.number = "EX-000002",
                                 .issued = "2026-02-04T08:00:00.000Z",
                                 .software_version = "9.9.9",
                                 .issuer_thumbprint = es_key_public(key)->thumbprint,
                                 .clock_synchronised = false,
                                 .because = "wrong lot on the order",
                                 .person = "C. Example"};
}

static cJSON *amended(const char *from, size_t length, const struct es_amendment *a)
{
    char *bytes = NULL;
    size_t size = 0;
    cr_assert_eq(es_certificate_amend(from, length, a, &bytes, &size, &err), ES_OK, "%s", err.text);
    cr_assert_eq(strlen(bytes), size);
    cJSON *root = cJSON_ParseWithLength(bytes, size);
    cr_assert(root);
    free(bytes);
    return root;
}

static const char *text(const cJSON *object, const char *name)
{
    const char *found = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return found ? found : "";
}

static const char *last_statement(const cJSON *root)
{
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(root, "statements");
    return cJSON_GetStringValue(cJSON_GetArrayItem(list, cJSON_GetArraySize(list) - 1));
}

Test(amend, names_the_old_one_the_reason_and_each_change)
{
    struct es_amendment a = order();
    a.texts[ES_AMEND_LOT] = "L-13";
    a.texts[ES_AMEND_REASON] = "relay \"R\" replaced";
    cJSON *root = amended(old, old_length, &a);
    cr_expect_str_eq(text(root, "number"), "EX-000002");
    cr_expect_str_eq(text(root, "issued"), "2026-02-04T08:00:00.000Z");
    cr_expect_str_eq(text(root, "replaces"), "EX-000001");
    cr_expect_str_eq(text(root, "replaces_because"), "wrong lot on the order");
    cr_expect_str_eq(text(root, "reason"), "relay \"R\" replaced");
    cr_expect_str_eq(text(cJSON_GetObjectItem(root, "unit"), "lot"), "L-13");
    const cJSON *issuer = cJSON_GetObjectItem(root, "issuer");
    cr_expect_str_eq(text(issuer, "software"), "endstop 9.9.9");
    cr_expect(cJSON_IsFalse(cJSON_GetObjectItem(issuer, "clock_synchronised")));
    const cJSON *list = cJSON_GetObjectItem(root, "amended");
    cr_assert_eq(cJSON_GetArraySize(list), 2);
    cr_expect_str_eq(text(cJSON_GetArrayItem(list, 0), "what"), "lot");
    cr_expect_not(cJSON_HasObjectItem(cJSON_GetArrayItem(list, 0), "was"));
    cr_expect_str_eq(text(cJSON_GetArrayItem(list, 1), "was"), "relay replaced");
    cr_expect_str_eq(
        last_statement(root),
        "This certificate amends EX-000001, as C. Example asked: lot is \"L-13\", was not given; "
        "reason is \"relay \"R\" replaced\", was \"relay replaced\"; the test, its values and its "
        "verdict are the same.");
    cr_expect_not(cJSON_HasObjectItem(root, "signatures"));
    cJSON_Delete(root);
}

/* All else is the same, member by member. */
Test(amend, touches_nothing_else)
{
    static const char *const may[] = {"number",  "issued", "issuer",     "replaces",  "replaces_because",
                                      "amended", "unit",   "statements", "signatures"};
    struct es_amendment a = order();
    a.texts[ES_AMEND_SUPPLIER] = "Example Spares";
    cJSON *root = amended(old, old_length, &a), *before = cJSON_ParseWithLength(old, old_length);
    const cJSON *item = NULL;
    size_t same = 0;
    cJSON_ArrayForEach(item, before)
    {
        bool allowed = false;
        for (size_t i = 0; i < sizeof may / sizeof may[0]; i++) {
            allowed = allowed || strcmp(item->string, may[i]) == 0;
        }
        if (!allowed) {
            cr_expect(cJSON_Compare(item, cJSON_GetObjectItemCaseSensitive(root, item->string), true), "%s",
                      item->string);
            same++;
        }
    }
    cr_expect_geq(same, 12);
    cr_expect_eq(cJSON_GetArraySize(root), cJSON_GetArraySize(before) - 1 + 3);
    cJSON_Delete(before);
    cJSON_Delete(root);
}

Test(amend, signs_and_verifies_like_any_other)
{
    struct es_amendment a = order();
    char *payload = NULL, *file = NULL;
    size_t length = 0, size = 0;
    struct es_certificate_report report;
    struct es_trusted_key trusted = {.key = *es_key_public(key), .name = "Bench 1"};
    a.texts[ES_AMEND_CUSTOMER] = "Example Quarry";
    cr_assert_eq(es_certificate_amend(old, old_length, &a, &payload, &length, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_certificate_sign(payload, length, key, "bench", a.issued, &file, &size, &err), ES_OK);
    cr_assert_eq(es_certificate_verify("c", file, size, &trusted, 1, &report, &err), ES_OK);
    cr_expect_eq(report.finding, ES_CERTIFICATE_VALID, "%s", report.text);
    free(file);
    free(payload);
}

/* What nobody had supplied and now somebody did is no longer listed as not given; the list goes with its
 * last. */
Test(amend, what_was_not_given_is_struck_out)
{
    struct es_amendment a = order();
    a.texts[ES_AMEND_CUSTOMER] = "Example Quarry";
    a.texts[ES_AMEND_CONTACT] = "quarry@example.test";
    a.texts[ES_AMEND_RECEIVED] = "2026-02-01";
    cJSON *root = amended(old, old_length, &a);
    cJSON *list = cJSON_GetObjectItem(root, "not_given");
    cr_assert_gt(cJSON_GetArraySize(list), 0);
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, list)
    {
        cr_expect_str_eq(item->valuestring, "condition on receipt");
    }
    cr_expect_str_eq(text(cJSON_GetObjectItem(root, "job"), "received"), "2026-02-01");
    char *printed = cJSON_PrintUnformatted(root);
    struct es_amendment b = order();
    b.texts[ES_AMEND_CONDITION] = "dented";
    cJSON *after = amended(printed, strlen(printed), &b);
    cr_expect_not(cJSON_HasObjectItem(after, "not_given"));
    cJSON_Delete(after);
    free(printed);
    cJSON_Delete(root);
}

/* A chain: each says only its own change, and one sentence of the kind. */
Test(amend, an_amended_one_can_be_amended)
{
    struct es_amendment a = order();
    a.texts[ES_AMEND_LOT] = "L-13";
    cJSON *root = amended(old, old_length, &a);
    char *printed = cJSON_PrintUnformatted(root);
    struct es_amendment b = order();
    b.number = "EX-000003";
    b.texts[ES_AMEND_LOT] = "L-14";
    cJSON *after = amended(printed, strlen(printed), &b);
    cr_expect_str_eq(text(after, "replaces"), "EX-000002");
    const cJSON *list = cJSON_GetObjectItem(after, "amended");
    cr_assert_eq(cJSON_GetArraySize(list), 1);
    cr_expect_str_eq(text(cJSON_GetArrayItem(list, 0), "was"), "L-13");
    cr_expect_eq(cJSON_GetArraySize(cJSON_GetObjectItem(after, "statements")),
                 cJSON_GetArraySize(cJSON_GetObjectItem(root, "statements")));
    cJSON_Delete(after);
    free(printed);
    cJSON_Delete(root);
}

static void refused(const char *bytes, size_t length, const struct es_amendment *a, enum es_status status,
                    const char *part)
{
    char *out = NULL;
    size_t size = 0;
    cr_expect_eq(es_certificate_amend(bytes, length, a, &out, &size, &err), status, "%s", err.text);
    cr_expect(strstr(err.text, part), "%s", err.text);
    cr_expect_null(out);
}

Test(amend, refuses_what_is_no_amendment)
{
    struct es_amendment a = order();
    refused(old, old_length, &a, ES_USAGE, "nothing to amend");
    a.texts[ES_AMEND_REASON] = "relay replaced";
    refused(old, old_length, &a, ES_USAGE, "says all of that already");
    a.texts[ES_AMEND_REASON] = "";
    refused(old, old_length, &a, ES_USAGE, "reason takes 1 to");
    a.texts[ES_AMEND_REASON] = "two\nlines";
    refused(old, old_length, &a, ES_USAGE, "nobody can see");
    a.texts[ES_AMEND_REASON] = "other";
    a.texts[ES_AMEND_RECEIVED] = "2026-02-30";
    refused(old, old_length, &a, ES_USAGE, "like 2026-02-01");
    a.texts[ES_AMEND_RECEIVED] = NULL;
    a.because = NULL;
    refused(old, old_length, &a, ES_USAGE, "says why");
    a = order();
    a.texts[ES_AMEND_LOT] = "L-13";
    refused("{\"a\":1}", 7, &a, ES_BAD_INPUT, "no certificate");
    refused(old, old_length - 3, &a, ES_BAD_INPUT, "certificate: 1 fault");
    a.person = NULL;
    refused(old, old_length, &a, ES_INTERNAL, "person");
}

Test(amend, refuses_a_record)
{
    struct es_amendment a = order();
    a.texts[ES_AMEND_LOT] = "L-13";
    outcome.completed = false;
    outcome.ended_because = strdup("stopped");
    size_t length = 0;
    char *record = sample_signed(&outcome, key, &length);
    refused(record, length, &a, ES_REFUSED, "not amended");
    free(record);
}

Test(amend, words_are_found_and_the_rest_named)
{
    enum es_amend what = ES_AMEND_COUNT;
    for (int i = 0; i < ES_AMEND_COUNT; i++) {
        cr_assert_eq(es_amend_find(es_amend_word((enum es_amend)i), &what, &err), ES_OK);
        cr_expect_eq((int)what, i);
    }
    cr_expect_eq(es_amend_find("serial", &what, &err), ES_USAGE);
    cr_expect(strstr(err.text, "new run") && strstr(err.text, "date of receipt"), "%s", err.text);
}

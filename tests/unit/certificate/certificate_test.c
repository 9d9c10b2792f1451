#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "tests/unit/certificate/sample.h"

static struct es_key *key;
static struct es_trusted_key trusted;
static struct es_outcome outcome;
static struct es_error err;

static void setup(void)
{
    key = sample_key();
    trusted = (struct es_trusted_key){.key = *es_key_public(key), .name = "Bench 1"};
    sample_outcome(&outcome, 4, 200);
}

static void teardown(void)
{
    es_key_free(key);
    es_outcome_free(&outcome);
}

TestSuite(certificate, .init = setup, .fini = teardown);

static enum es_certificate_finding check(const char *bytes, size_t length, const struct es_trusted_key *keys,
                                         size_t count, char *text)
{
    struct es_certificate_report report;
    cr_assert_eq(es_certificate_verify("c.json", bytes, length, keys, count, &report, &err), ES_OK, "%s",
                 err.text);
    if (text) {
        strcpy(text, report.text);
    }
    enum es_certificate_finding finding = report.finding;
    return finding;
}

static char *build(const struct es_certificate_meta *meta, size_t *length)
{
    char *bytes = NULL;
    cr_assert_eq(es_certificate_build(&outcome, meta, &bytes, length, &err), ES_OK, "%s", err.text);
    return bytes;
}

Test(certificate, signed_one_is_valid_and_says_by_whom)
{
    size_t length = 0;
    char *file = sample_signed(&outcome, key, &length);
    struct es_certificate_report report;
    cr_assert_eq(es_certificate_verify("c.json", file, length, &trusted, 1, &report, &err), ES_OK);
    cr_expect_eq(report.finding, ES_CERTIFICATE_VALID, "%s", report.text);
    cr_expect_eq(report.signature_count, 1);
    cr_expect_str_eq(report.signatures[0].role, "bench");
    cr_expect_str_eq(report.signatures[0].time, "2026-02-03T10:05:01.500Z");
    cr_expect_eq(report.signatures[0].trusted, &trusted);
    cr_expect_eq(strlen(report.digest), 64);
    cr_expect(strstr(report.text, "EX-000001") && strstr(report.text, "Bench 1"), "%s", report.text);
    cr_expect_eq(es_certificate_status(&report, &err), ES_OK);
    free(file);
}

Test(certificate, content_is_what_the_outcome_says)
{
    struct es_certificate_meta meta = sample_meta(key);
    size_t length = 0;
    char *bytes = build(&meta, &length);
    static const char *const parts[] = {
        "\"kind\":\"certificate\"",
        "\"verdict\":\"pass\"",
        "\"serial\":\"EX-000123\"",
        "\"tag\":\"PV-\xC3\x84\xE2\x82\xAC-7\"",
        "\"value\":0.4,",
        "\"U\":0.1501,",
        "\"k\":2.107,",
        "\"dof\":17.3",
        "\"guard_band\":0.1501",
        "\"rule\":\"guarded acceptance\"",
        "\"verdict\":\"not tested\"",
        "\"reason\":\"not settled at the end of the recording\"",
        "\"seed\":\"18446744073709551615\"",
        "\"reference_conditions\":{\"Nl/h\":\"0 degC, 101.325 kPa (DIN 1343)\"}",
        "\"virtual\":false",
        "except those of instruments without one: dew point",
        "not a safety device",
        "licensed people under local rules",
        "reproduced only in full",
        "relate only to the unit",
        "\"value\":21.5}",
        "\"upper\":3}",
    };
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        cr_expect(strstr(bytes, parts[i]) != NULL, "%s is missing in %s", parts[i], i == 0 ? bytes : "");
    }
    cr_expect_null(strstr(bytes, "signatures"));
    cr_expect_null(strstr(bytes, "\"lower\""), "an open side is left out");
    free(bytes);
}

Test(certificate, same_outcome_gives_same_bytes)
{
    struct es_certificate_meta meta = sample_meta(key);
    size_t length[2] = {0};
    char *first = build(&meta, &length[0]);
    char *second = build(&meta, &length[1]);
    cr_expect_str_eq(first, second);
    free(first);
    free(second);
}

Test(certificate, virtual_bench_is_said_first_and_plainly)
{
    struct es_certificate_meta meta = sample_meta(key);
    meta.virtual_bench = true;
    size_t length = 0;
    char *bytes = build(&meta, &length);
    cr_expect_not_null(strstr(bytes, "\"title\":\"Result from a virtual bench: no real unit was tested\""));
    cr_expect_not_null(strstr(bytes, "\"statements\":[\"VIRTUAL BENCH:"));
    cr_expect_not_null(strstr(bytes, "\"virtual\":true"));
    cr_expect_null(strstr(bytes, "Test certificate"));
    free(bytes);
}

Test(certificate, run_not_completed_gives_a_record_without_verdict)
{
    outcome.completed = false;
    outcome.verdict = ES_NOT_TESTED;
    outcome.ended_because = strdup("the guard was opened");
    outcome.safe_state_time = 0.4321;
    struct es_certificate_meta meta = sample_meta(key);
    size_t length = 0;
    char *bytes = build(&meta, &length);
    cr_expect_not_null(strstr(bytes, "\"kind\":\"record\""));
    cr_expect_not_null(strstr(bytes, "\"ended_because\":\"the guard was opened\""));
    cr_expect_not_null(strstr(bytes, "\"safe_state_after_s\":0.432"));
    cr_expect_not_null(strstr(bytes, "The test was not completed."));
    cr_expect_not_null(strstr(bytes, "\"value\":0.4}"), "what was measured stays");
    cr_expect_null(strstr(bytes, "verdict\""), "neither for the unit nor for a line");
    cr_expect_null(strstr(bytes, "false_acceptance\""));
    free(bytes);
}

Test(certificate, bare_record_of_an_interrupted_run)
{
    struct es_outcome bare;
    es_outcome_init(&bare);
    bare.run = strdup("r1");
    bare.began = strdup("2026-02-03T10:00:00Z");
    bare.ended_because = strdup("the program was killed; found at its next start");
    size_t length = 0;
    char *file = sample_signed(&bare, key, &length);
    cr_expect_eq(check(file, length, &trusted, 1, NULL), ES_CERTIFICATE_VALID);
    free(file);
    es_outcome_free(&bare);
}

Test(certificate, missing_parts_are_named)
{
    struct es_certificate_meta meta = sample_meta(key);
    char *bytes = NULL;
    size_t length = 0;
    meta.number = NULL;
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_BAD_INPUT);
    cr_expect(strstr(err.text, "its number") != NULL, "%s", err.text);
    meta = sample_meta(key);
    free(outcome.unit_serial);
    outcome.unit_serial = NULL;
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_BAD_INPUT);
    cr_expect(strstr(err.text, "serial") != NULL, "%s", err.text);
    outcome.unit_serial = strdup("bad \xFF");
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_BAD_INPUT);
    cr_expect(strstr(err.text, "UTF-8") != NULL, "%s", err.text);
    cr_expect_null(bytes);
}

/* [rule:no-pass-from-nothing] */
Test(certificate, pass_that_the_lines_do_not_give_is_refused)
{
    struct es_certificate_meta meta = sample_meta(key);
    char *bytes = NULL;
    size_t length = 0;
    outcome.lines[0].verdict = ES_FAIL;
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_INTERNAL);
    outcome.verdict = ES_CONDITIONAL_PASS;
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_INTERNAL);
    outcome.lines[0].verdict = ES_NOT_TESTED;
    outcome.verdict = ES_PASS;
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_INTERNAL);
    outcome.verdict = ES_FAIL;
    cr_expect_eq(es_certificate_build(&outcome, &meta, &bytes, &length, &err), ES_OK,
                 "a worse one may be said");
    free(bytes);
}

Test(certificate, size_stays_under_the_aim_and_curves_give_way)
{
    struct es_outcome large;
    sample_outcome(&large, 30, 20000);
    size_t length = 0;
    char *file = sample_signed(&large, key, &length);
    cr_expect_leq(length, ES_CERTIFICATE_AIM_BYTES, "%zu bytes", length);
    cr_expect_not_null(strstr(file, "\"curves\":[{"));
    cr_expect_eq(check(file, length, &trusted, 1, NULL), ES_CERTIFICATE_VALID);
    free(file);
    es_outcome_free(&large);
}

Test(certificate, keys_and_trust_have_their_own_findings)
{
    size_t length = 0;
    char text[640];
    char *file = sample_signed(&outcome, key, &length);
    struct es_key *other = NULL;
    cr_assert_eq(es_key_create(&other, NULL), ES_OK);
    struct es_trusted_key keys[2] = {{.key = *es_key_public(other)}, trusted};
    cr_expect_eq(check(file, length, NULL, 0, NULL), ES_CERTIFICATE_UNKNOWN_KEY);
    cr_expect_eq(check(file, length, keys, 1, text), ES_CERTIFICATE_OTHER_KEY);
    cr_expect(strstr(text, es_key_public(other)->thumbprint) && strstr(text, es_key_public(key)->thumbprint),
              "%s", text);
    cr_expect_eq(check(file, length, keys, 2, NULL), ES_CERTIFICATE_VALID);
    keys[1].revoked = "2026-02-03T10:05:01Z";
    cr_expect_eq(check(file, length, keys, 2, NULL), ES_CERTIFICATE_REVOKED);
    keys[1].revoked = "2026-02-03T10:05:02Z";
    cr_expect_eq(check(file, length, keys, 2, NULL), ES_CERTIFICATE_VALID, "signed before the revocation");
    struct es_trusted_key two_others[2] = {keys[0], keys[0]};
    cr_expect_eq(check(file, length, two_others, 2, NULL), ES_CERTIFICATE_UNKNOWN_KEY);
    es_key_free(other);
    free(file);
}

Test(certificate, second_person_signs_beside_the_bench)
{
    size_t length = 0;
    size_t both_length = 0;
    char *both = NULL;
    char *file = sample_signed(&outcome, key, &length);
    struct es_key *person = NULL;
    const char *when = "2026-02-04T08:00:00Z";
    cr_assert_eq(es_key_create(&person, NULL), ES_OK);
    cr_expect_eq(es_certificate_sign(file, length, person, "bench", when, &both, &both_length, &err),
                 ES_REFUSED, "only the issuing key signs as bench");
    cr_expect_eq(sample_release(file, length, key, when, &both, &both_length, &err), ES_REFUSED);
    cr_expect_eq(es_certificate_sign(file, length, person, "Release!", when, &both, &both_length, &err),
                 ES_USAGE);
    cr_expect_eq(es_certificate_sign(file, length, person, "witness", "yesterday", &both, &both_length, &err),
                 ES_USAGE);
    cr_assert_eq(sample_release(file, length, person, when, &both, &both_length, &err), ES_OK, "%s",
                 err.text);
    struct es_certificate_report report;
    cr_assert_eq(es_certificate_verify("c", both, both_length, &trusted, 1, &report, NULL), ES_OK);
    cr_expect_eq(report.finding, ES_CERTIFICATE_VALID, "%s", report.text);
    cr_expect_eq(report.signature_count, 2);
    cr_expect_null(report.signatures[1].trusted, "valid, and its signer still unknown");
    char *third = NULL;
    cr_expect_eq(sample_release(both, both_length, person, when, &third, &length, &err), ES_REFUSED);
    es_key_free(person);
    free(both);
    free(file);
}

Test(certificate, without_the_bench_signature_it_is_not_signed)
{
    struct es_certificate_meta meta = sample_meta(key);
    size_t length = 0;
    size_t signed_length = 0;
    char *signed_by_person = NULL;
    char *bytes = build(&meta, &length);
    cr_expect_eq(check(bytes, length, &trusted, 1, NULL), ES_CERTIFICATE_NOT_SIGNED);
    struct es_key *person = NULL;
    cr_assert_eq(es_key_create(&person, NULL), ES_OK);
    cr_assert_eq(sample_release(bytes, length, person, "2026-02-04T08:00:00Z", &signed_by_person,
                                &signed_length, &err),
                 ES_OK);
    cr_expect_eq(check(signed_by_person, signed_length, &trusted, 1, NULL), ES_CERTIFICATE_NOT_SIGNED);
    es_key_free(person);
    free(signed_by_person);
    free(bytes);
}

Test(certificate, reformatted_file_is_told_from_an_altered_one)
{
    size_t length = 0;
    char *file = sample_signed(&outcome, key, &length);
    cJSON *tree = cJSON_Parse(file);
    char *pretty = cJSON_Print(tree);
    cr_expect_eq(check(pretty, strlen(pretty), &trusted, 1, NULL), ES_CERTIFICATE_REFORMATTED);
    cJSON_SetValuestring(cJSON_GetObjectItem(tree, "customer"), "Somebody");
    char *altered = cJSON_Print(tree);
    cr_expect_eq(check(altered, strlen(altered), &trusted, 1, NULL), ES_CERTIFICATE_ALTERED);
    cJSON_Delete(tree);
    free(altered);
    free(pretty);
    free(file);
}

Test(certificate, foreign_files_get_a_clear_word)
{
    static const char *const rows[] = {
        "", "hello", "[]", "{}", "{\"endstop\":\"bench/1\"}", "7", "{\"a\":1,\"a\":2}"};
    char text[640];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect_eq(check(rows[i], strlen(rows[i]), &trusted, 1, text), ES_CERTIFICATE_NOT_ONE, "row %zu",
                     i);
        cr_expect_eq(strncmp(text, "Not a certificate", 17), 0, "%s", text);
    }
    struct es_certificate_report report;
    cr_assert_eq(es_certificate_verify("c", "x", 1, NULL, 0, &report, NULL), ES_OK);
    cr_expect_eq(es_certificate_status(&report, &err), ES_BAD_INPUT);
}

Test(certificate, signed_content_of_another_shape_is_no_certificate)
{
    char json[512];
    char *file = NULL;
    size_t length = 0;
    char text[640];
    (void)snprintf(json, sizeof json,
                   "{\"endstop\":\"certificate/1\",\"kind\":\"certificate\",\"issuer\":{\"key\":\"%s\"}}",
                   es_key_public(key)->thumbprint);
    cr_assert_eq(
        es_certificate_sign(json, strlen(json), key, "bench", "2026-02-03T10:00:00Z", &file, &length, &err),
        ES_OK);
    cr_expect_eq(check(file, length, &trusted, 1, text), ES_CERTIFICATE_NOT_ONE);
    cr_expect(strstr(text, "\"title\" is missing") != NULL, "%s", text);
    free(file);
}

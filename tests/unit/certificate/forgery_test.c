/* Signatures made by hand, as someone would who wants a document to pass for the bench's. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/format.h"
#include "rig/base/text.h"
#include "tests/unit/certificate/sample.h"

static struct es_key *bench, *stranger;
static struct es_trusted_key trusted;
static char *payload, *genuine;
static size_t payload_length, genuine_length;

static void setup(void)
{
    struct es_outcome outcome;
    bench = sample_key();
    cr_assert_eq(es_key_create(&stranger, NULL), ES_OK);
    trusted = (struct es_trusted_key){.key = *es_key_public(bench)};
    struct es_certificate_meta meta = sample_meta(bench);
    sample_outcome(&outcome, 1, 10);
    cr_assert_eq(es_certificate_build(&outcome, &meta, &payload, &payload_length, NULL), ES_OK);
    genuine = sample_signed(&outcome, bench, &genuine_length);
    es_outcome_free(&outcome);
}

static void teardown(void)
{
    es_key_free(bench);
    es_key_free(stranger);
    free(payload);
    free(genuine);
}

TestSuite(forgery, .init = setup, .fini = teardown);

/* One element of "signatures": `header` signed by `key`, with the public key of `beside`. */
static cJSON *make_entry(const char *header, const struct es_key *key, const struct es_key *beside)
{
    char *input = NULL;
    size_t length = 0;
    unsigned char signature[ES_SIGNATURE_SIZE];
    char jwk[ES_PUBLIC_KEY_TEXT_MAX];
    struct es_text jws = {0};
    cr_assert_eq(es_signing_input(header, strlen(header), payload, payload_length, &input, &length, NULL),
                 ES_OK);
    cr_assert_eq(es_key_sign(key, input, length, signature, NULL), ES_OK);
    es_text_base64url(&jws, header, strlen(header));
    es_text_add(&jws, "..");
    es_text_base64url(&jws, signature, sizeof signature);
    es_public_key_jwk(es_key_public(beside), jwk);
    cJSON *entry = cJSON_CreateObject();
    cJSON_AddStringToObject(entry, "jws", jws.bytes);
    cJSON_AddItemToObject(entry, "key", cJSON_Parse(jwk));
    es_text_free(&jws);
    free(input);
    return entry;
}

static void make_header(char out[static 400], const struct es_key *named, const char *role, const char *more)
{
    (void)snprintf(out, 400,
                   "{\"alg\":\"EdDSA\",\"kid\":\"%s\",\"role\":\"%s\",\"time\":\"2026-02-03T10:05:01Z\"%s}",
                   es_key_public(named)->thumbprint, role, more);
}

/* Takes `entries` over, appended to the payload (or to the genuine file). */
static enum es_certificate_finding check(const char *base, cJSON *const *entries, size_t count)
{
    cJSON *root = cJSON_Parse(base);
    cJSON *list = cJSON_GetObjectItem(root, "signatures");
    if (!list) {
        list = cJSON_AddArrayToObject(root, "signatures");
    }
    for (size_t i = 0; i < count; i++) {
        cJSON_AddItemToArray(list, entries[i]);
    }
    char *bytes = NULL;
    size_t length = 0;
    struct es_certificate_report report;
    cr_assert_eq(es_canonical_write(root, &bytes, &length, NULL), ES_OK);
    cr_assert_eq(es_certificate_verify("c", bytes, length, &trusted, 1, &report, NULL), ES_OK);
    enum es_certificate_finding finding = report.finding;
    free(bytes);
    cJSON_Delete(root);
    return finding;
}

static enum es_certificate_finding check_one(const char *base, cJSON *entry)
{
    return check(base, &entry, 1);
}

Test(forgery, by_hand_like_the_program_does_it_is_valid)
{
    char header[400];
    make_header(header, bench, "bench", "");
    cr_expect_eq(check_one(payload, make_entry(header, bench, bench)), ES_CERTIFICATE_VALID);
    make_header(header, bench, "bench", ",\"x-extra\":1");
    cr_expect_eq(check_one(payload, make_entry(header, bench, bench)), ES_CERTIFICATE_VALID,
                 "further header members are covered by the signature and harm nothing");
}

Test(forgery, the_benchs_name_on_a_strangers_signature)
{
    char header[400];
    make_header(header, bench, "bench", "");
    cr_expect_eq(check_one(payload, make_entry(header, stranger, stranger)), ES_CERTIFICATE_ALTERED,
                 "kid of the bench, key and signature of the stranger");
    cr_expect_eq(check_one(payload, make_entry(header, stranger, bench)), ES_CERTIFICATE_ALTERED,
                 "kid and key of the bench, signature of the stranger");
    make_header(header, stranger, "bench", "");
    cr_expect_eq(check_one(payload, make_entry(header, stranger, bench)), ES_CERTIFICATE_ALTERED);
    cr_expect_eq(check_one(payload, make_entry(header, stranger, stranger)), ES_CERTIFICATE_NOT_SIGNED,
                 "sound in itself, but the payload names the bench's key");
}

Test(forgery, a_stranger_beside_the_bench)
{
    char header[400];
    make_header(header, stranger, "bench", "");
    cr_expect_eq(check_one(genuine, make_entry(header, stranger, stranger)), ES_CERTIFICATE_NOT_SIGNED,
                 "nobody else signs as bench");
    make_header(header, stranger, "witness", "");
    cr_expect_eq(check_one(genuine, make_entry(header, stranger, stranger)), ES_CERTIFICATE_VALID);
    make_header(header, bench, "witness", "");
    cr_expect_eq(check_one(payload, make_entry(header, bench, bench)), ES_CERTIFICATE_NOT_SIGNED,
                 "the bench as something else is not the bench's signature");
    make_header(header, bench, "bench", "");
    cr_expect_eq(check_one(genuine, make_entry(header, bench, bench)), ES_CERTIFICATE_ALTERED,
                 "the same key twice");
}

Test(forgery, headers_that_ask_for_other_ways_of_checking)
{
    char kid[200];
    (void)snprintf(kid, sizeof kid, "\"kid\":\"%s\",\"role\":\"bench\",\"time\":\"2026-02-03T10:05:01Z\"",
                   es_key_public(bench)->thumbprint);
    static const char *const shapes[] = {
        "{\"alg\":\"none\",%s}",
        "{\"alg\":\"HS256\",%s}",
        "{%s}",
        "{\"alg\":\"EdDSA\",\"alg\":\"EdDSA\",%s}",
        "{\"alg\":\"EdDSA\",\"crit\":[\"b64\"],\"b64\":false,%s}",
        "{\"alg\":\"EdDSA\",\"crit\":[\"x\"],%s}",
        "[{\"alg\":\"EdDSA\",%s}]",
        "{\"alg\":\"EdDSA\",%s",
        "",
        "{\"alg\":\"EdDSA\"}",
    };
    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++) {
        char header[400];
        const char *at = strstr(shapes[i], "%s");
        (void)snprintf(header, sizeof header, "%.*s%s%s",
                       (int)(at ? at - shapes[i] : (long)strlen(shapes[i])), shapes[i], at ? kid : "",
                       at ? at + 2 : "");
        cr_expect_eq(check_one(payload, make_entry(header, bench, bench)), ES_CERTIFICATE_ALTERED, "%s",
                     header);
    }
}

Test(forgery, roles_and_times_must_be_said_in_their_form)
{
    static const char *const more[] = {
        "\"role\":\"\",\"time\":\"2026-02-03T10:05:01Z\"",
        "\"role\":7,\"time\":\"2026-02-03T10:05:01Z\"",
        "\"role\":\"bench\",\"time\":\"2026-02-03\"",
        "\"role\":\"bench\",\"time\":\"2026-02-03T10:05:01+01:00\"",
        "\"role\":\"bench\",\"time\":\"2026-02-03T10:05:01.Z\"",
        "\"role\":\"bench\"",
        "\"role\":\"a role that is longer than any signer could have\",\"time\":\"2026-02-03T10:05:01Z\"",
    };
    for (size_t i = 0; i < sizeof more / sizeof more[0]; i++) {
        char header[400];
        (void)snprintf(header, sizeof header, "{\"alg\":\"EdDSA\",\"kid\":\"%s\",%s}",
                       es_key_public(bench)->thumbprint, more[i]);
        cr_expect_eq(check_one(payload, make_entry(header, bench, bench)), ES_CERTIFICATE_ALTERED, "%s",
                     header);
    }
}

Test(forgery, entries_hold_nothing_else)
{
    char header[400];
    make_header(header, bench, "bench", "");
    cJSON *entry = make_entry(header, bench, bench);
    cJSON_AddStringToObject(entry, "note", "trust me");
    cr_expect_eq(check_one(payload, entry), ES_CERTIFICATE_ALTERED);
    entry = make_entry(header, bench, bench);
    cJSON_AddStringToObject(cJSON_GetObjectItem(entry, "key"), "use", "sig");
    cr_expect_eq(check_one(payload, entry), ES_CERTIFICATE_ALTERED);
    entry = make_entry(header, bench, bench);
    cJSON_DeleteItemFromObject(cJSON_GetObjectItem(entry, "key"), "kid");
    cr_expect_eq(check_one(payload, entry), ES_CERTIFICATE_ALTERED);
    entry = make_entry(header, bench, bench);
    cJSON_SetValuestring(cJSON_GetObjectItem(entry, "jws"), "e30..AAAA");
    cr_expect_eq(check_one(payload, entry), ES_CERTIFICATE_ALTERED);
    cr_expect_eq(check_one(payload, cJSON_CreateNull()), ES_CERTIFICATE_ALTERED);
    cr_expect_eq(check_one(payload, cJSON_CreateArray()), ES_CERTIFICATE_ALTERED);
}

Test(forgery, more_signatures_than_there_is_room_for)
{
    cJSON *entries[ES_CERTIFICATE_SIGNATURES_MAX];
    for (size_t i = 0; i < ES_CERTIFICATE_SIGNATURES_MAX; i++) {
        entries[i] = cJSON_CreateObject();
    }
    cr_expect_eq(check(genuine, entries, ES_CERTIFICATE_SIGNATURES_MAX), ES_CERTIFICATE_NOT_ONE);
}

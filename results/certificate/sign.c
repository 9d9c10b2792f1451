/* Adds a detached JWS (RFC 7515 App. F, RFC 8037) to a certificate. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/certificate.h"
#include "results/certificate/format.h"
#include "results/certificate/tree.h"
#include "rig/base/text.h"

static bool is_role(const char *role)
{
    size_t n = strlen(role);
    return n > 0 && n < sizeof((struct es_certificate_signature *)0)->role &&
           strspn(role, "abcdefghijklmnopqrstuvwxyz-") == n;
}

static bool fits(const char *text, size_t size)
{
    return !text || (text[0] && strlen(text) < size);
}

static enum es_status check_signing(const struct es_signing *s, struct es_error *err)
{
    static const struct es_certificate_signature *const room = NULL;
    bool is_void = strcmp(s->role, ES_ROLE_OF_VOID) == 0;
    bool by_person = is_void || strcmp(s->role, ES_ROLE_OF_RELEASE) == 0;
    if (!is_role(s->role) || !es_is_utc_time(s->when)) {
        return es_fail(err, ES_USAGE,
                       "a signature needs a role of small letters and a time in UTC (RFC 3339)");
    }
    if (!fits(s->name, sizeof room->name) || !fits(s->reason, sizeof room->reason)) {
        return es_fail(err, ES_USAGE, "a signer's name has 1 to %zu bytes, a reason 1 to %zu",
                       sizeof room->name - 1, sizeof room->reason - 1);
    }
    if (by_person && !s->name) {
        return es_fail(err, ES_USAGE, "who releases a certificate or makes it void must be named");
    }
    if (is_void && !s->reason) {
        return es_fail(err, ES_USAGE, "a certificate is not made void without a reason");
    }
    return ES_OK;
}

/* What the header of an earlier signature says; "" when it cannot be read. */
static void role_of(const cJSON *entry, char *role, size_t size)
{
    char header[1024];
    size_t length = 0;
    const char *jws = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(entry, "jws"));
    role[0] = 0;
    if (!jws ||
        es_base64url_decode(jws, strcspn(jws, "."), header, sizeof header - 1, &length, NULL) != ES_OK) {
        return;
    }
    cJSON *parsed = cJSON_ParseWithLength(header, length);
    const char *found = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(parsed, "role"));
    (void)snprintf(role, size, "%s", found ? found : "");
    cJSON_Delete(parsed);
}

static const char *kid_of(const cJSON *entry)
{
    const cJSON *key = cJSON_GetObjectItemCaseSensitive(entry, "key");
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(key, "kid"));
}

static enum es_status check_earlier(const cJSON *root, const char *thumbprint, const char *role,
                                    struct es_error *err)
{
    const cJSON *entries = cJSON_GetObjectItemCaseSensitive(root, ES_SIGNATURES_MEMBER);
    const cJSON *entry = NULL;
    char earlier[32];
    cJSON_ArrayForEach(entry, entries)
    {
        const char *kid = kid_of(entry);
        role_of(entry, earlier, sizeof earlier);
        if (kid && strcmp(kid, thumbprint) == 0 && strcmp(earlier, role) == 0) {
            return es_fail(err, ES_REFUSED, "this key has signed the certificate already");
        }
        if (strcmp(earlier, ES_ROLE_OF_VOID) == 0) {
            return es_fail(err, ES_REFUSED, "the certificate was made void; nobody signs it any more");
        }
    }
    if (cJSON_GetArraySize(entries) >= ES_CERTIFICATE_SIGNATURES_MAX) {
        return es_fail(err, ES_REFUSED, "the certificate has %d signatures, and there is room for no more",
                       ES_CERTIFICATE_SIGNATURES_MAX);
    }
    return ES_OK;
}

static enum es_status check_request(const cJSON *root, const struct es_key *key,
                                    const struct es_signing *signing, struct es_error *err)
{
    const char *role = signing->role;
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "endstop"));
    if (!format || strcmp(format, ES_CERTIFICATE_FORMAT) != 0) {
        return es_fail(err, ES_BAD_INPUT,
                       "this is not a certificate (\"endstop\": \"" ES_CERTIFICATE_FORMAT "\")");
    }
    enum es_status st = check_signing(signing, err);
    if (st != ES_OK) {
        return st;
    }
    const char *thumbprint = es_key_public(key)->thumbprint;
    const cJSON *issuer = cJSON_GetObjectItemCaseSensitive(root, "issuer");
    const char *named = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(issuer, "key"));
    bool is_issuer = named && strcmp(named, thumbprint) == 0;
    if (is_issuer != (strcmp(role, ES_ROLE_OF_BENCH) == 0)) {
        return es_fail(err, ES_REFUSED,
                       "the role \"" ES_ROLE_OF_BENCH "\" is for the key that the certificate names "
                       "as issuer (%.60s), and only that one; this key is %s",
                       named ? named : "none", thumbprint);
    }
    return check_earlier(root, thumbprint, role, err);
}

/* The protected header, canonical. */
static enum es_status make_header(const struct es_key *key, const struct es_signing *signing, char **out,
                                  size_t *length, struct es_error *err)
{
    struct es_tree t = {0};
    cJSON *header = cJSON_CreateObject();
    es_tree_text(&t, header, "alg", "EdDSA");
    es_tree_text(&t, header, "kid", es_key_public(key)->thumbprint);
    es_tree_text(&t, header, "name", signing->name);
    es_tree_text(&t, header, "reason", signing->reason);
    es_tree_text(&t, header, "role", signing->role);
    es_tree_text(&t, header, "time", signing->when);
    enum es_status st = t.out_of_memory ? es_fail(err, ES_NO_MEMORY, "no memory for a signature")
                                        : es_canonical_write(header, out, length, err);
    cJSON_Delete(header);
    return st;
}

/* "base64url(header)..base64url(signature)" */
static enum es_status make_jws(const struct es_key *key, const struct es_signing *signing,
                               const char *payload, size_t payload_length, char **out, struct es_error *err)
{
    char *header = NULL;
    size_t header_length = 0;
    char *input = NULL;
    size_t input_length = 0;
    unsigned char signature[ES_SIGNATURE_SIZE];
    struct es_text jws = {0};
    enum es_status st = make_header(key, signing, &header, &header_length, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_signing_input(header, header_length, payload, payload_length, &input, &input_length, err);
    if (st != ES_OK) {
        goto free_header;
    }
    st = es_key_sign(key, input, input_length, signature, err);
    if (st == ES_OK) {
        es_text_base64url(&jws, header, header_length);
        es_text_add(&jws, "..");
        es_text_base64url(&jws, signature, sizeof signature);
        st = es_text_take(&jws, out, err);
        es_text_free(&jws);
    }
    free(input);
free_header:
    free(header);
    return st;
}

static enum es_status add_entry(cJSON *root, const struct es_key *key, const char *jws, struct es_error *err)
{
    struct es_tree t = {0};
    cJSON *entries = cJSON_GetObjectItemCaseSensitive(root, ES_SIGNATURES_MEMBER);
    if (!entries) {
        entries = es_tree_array(&t, root, ES_SIGNATURES_MEMBER);
    }
    char jwk[ES_PUBLIC_KEY_TEXT_MAX];
    es_public_key_jwk(es_key_public(key), jwk);
    cJSON *entry = es_tree_object(&t, entries, NULL);
    es_tree_text(&t, entry, "jws", jws);
    es_tree_item(&t, entry, "key", cJSON_Parse(jwk));
    return t.out_of_memory ? es_fail(err, ES_NO_MEMORY, "no memory for a signature") : ES_OK;
}

static enum es_status sign_tree(cJSON *root, const struct es_key *key, const struct es_signing *signing,
                                char **out, size_t *out_length, struct es_error *err)
{
    char *payload = NULL;
    size_t length = 0;
    char *jws = NULL;
    enum es_status st = check_request(root, key, signing, err);
    if (st == ES_OK) {
        st = es_canonical_write_without(root, ES_SIGNATURES_MEMBER, &payload, &length, err);
    }
    if (st == ES_OK) {
        st = make_jws(key, signing, payload, length, &jws, err);
    }
    if (st == ES_OK) {
        st = add_entry(root, key, jws, err);
    }
    if (st == ES_OK) {
        st = es_canonical_write(root, out, out_length, err);
    }
    free(jws);
    free(payload);
    return st;
}

enum es_status es_certificate_sign_as(const char *document, size_t length, const struct es_key *key,
                                      const struct es_signing *signing, char **out, size_t *out_length,
                                      struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse("certificate", document, length, &findings, &doc, err);
    if (st == ES_BAD_INPUT) {
        st = es_findings_status(&findings, err);
    }
    es_findings_free(&findings);
    if (st != ES_OK) {
        return st;
    }
    cJSON *copy = cJSON_Duplicate(es_document_root(doc), 1); /* a document is immutable */
    if (copy) {
        st = sign_tree(copy, key, signing, out, out_length, err);
    } else {
        st = es_fail(err, ES_NO_MEMORY, "no memory for a signature");
    }
    cJSON_Delete(copy);
    es_document_free(doc);
    return st;
}

enum es_status es_certificate_sign(const char *document, size_t length, const struct es_key *key,
                                   const char *role, const char *when, char **out, size_t *out_length,
                                   struct es_error *err)
{
    const struct es_signing signing = {.role = role, .when = when};
    return es_certificate_sign_as(document, length, key, &signing, out, out_length, err);
}

/* One signature after the other: taken apart, and held against the payload. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/format.h"
#include "results/certificate/verify_parts.h"
#include "rig/base/text.h"

#define HEADER_MAX 1024
#define JWS_MAX    2048

struct parts {
    char header[HEADER_MAX]; /* JSON text, NUL-terminated */
    const char *header_64;   /* as it stands in the JWS */
    size_t header_64_length, header_length;
    unsigned char signature[ES_SIGNATURE_SIZE];
    struct es_public_key key;
};

/* A key that is trusted was found to be a usable point when it was read, which costs as much as a signature.
 */
static bool is_trusted_text(const struct es_check *c, struct es_span jwk, struct es_public_key *key)
{
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    for (size_t i = 0; i < c->trusted_count; i++) {
        es_public_key_jwk(&c->trusted[i].key, text);
        if (strlen(text) == jwk.length && memcmp(text, jwk.at, jwk.length) == 0) {
            *key = c->trusted[i].key;
            return true;
        }
    }
    return false;
}

/* Only a lack of memory is a failure here; a bad key leaves *good false. Nothing but the four members, each
 * as this program writes it. */
static enum es_status read_key(const struct es_check *c, struct es_span jwk, struct es_public_key *key,
                               bool *good, struct es_error *err)
{
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    *good = is_trusted_text(c, jwk, key);
    if (*good) {
        return ES_OK;
    }
    enum es_status st = es_public_key_parse("key", jwk.at, jwk.length, key, err);
    if (st == ES_OK) {
        es_public_key_jwk(key, text);
        *good = strlen(text) == jwk.length && memcmp(text, jwk.at, jwk.length) == 0;
    }
    return st == ES_NO_MEMORY ? st : ES_OK;
}

/* {"jws":"...","key":{...}} and nothing else. */
static bool split_entry(struct es_span entry, struct es_span *jws, struct es_span *key)
{
    const char *cursor = NULL;
    struct es_span name[3] = {0};
    struct es_span value[3] = {0};
    size_t count = 0;
    if (*entry.at != '{') {
        return false;
    }
    while (count < 3 && es_span_next(entry, &cursor, &name[count], &value[count])) {
        count++;
    }
    *jws = value[0];
    *key = value[1];
    return count == 2 && es_span_is(name[0], "jws") && es_span_is(name[1], "key") && *value[1].at == '{';
}

/* Everything about an entry that can be told without the payload. `jws`: room that the parts point into.
 * *fault: what is wrong, or NULL. */
static enum es_status take_apart(const struct es_check *c, struct es_span entry, char jws[static JWS_MAX],
                                 struct parts *p, const char **fault, struct es_error *err)
{
    struct es_span text;
    struct es_span key;
    bool whole = split_entry(entry, &text, &key) && es_span_text(text, jws, JWS_MAX);
    const char *dots = whole ? strstr(jws, "..") : NULL;
    *fault = NULL;
    if (!dots) {
        *fault = "is not a detached JWS with its public key";
        return ES_OK;
    }
    p->header_64 = jws;
    p->header_64_length = (size_t)(dots - jws);
    if (es_base64url_decode(jws, p->header_64_length, p->header, sizeof p->header - 1, &p->header_length,
                            NULL) != ES_OK) {
        *fault = "has a header that cannot be read";
        return ES_OK;
    }
    p->header[p->header_length] = 0;
    size_t written = 0;
    if (es_base64url_decode(dots + 2, strlen(dots + 2), p->signature, sizeof p->signature, &written, NULL) !=
            ES_OK ||
        written != sizeof p->signature) {
        *fault = "is not 64 bytes long";
        return ES_OK;
    }
    bool good = false;
    enum es_status st = read_key(c, key, &p->key, &good, err);
    *fault = good ? NULL : "carries a public key that is none";
    return st;
}

/* ---- The header ---- */

/* Copies the member where it is there; false when it does not fit or is no text. */
static bool copy_text(const cJSON *header, const char *name, bool required, char *out, size_t size)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(header, name);
    out[0] = 0;
    if (!item) {
        return !required;
    }
    if (!cJSON_IsString(item) || !item->valuestring[0] || strlen(item->valuestring) >= size) {
        return false;
    }
    (void)snprintf(out, size, "%s", item->valuestring);
    return true;
}

/* Fills `s` from the header's members. NULL, or what is wrong. */
static const char *header_fault(const cJSON *header, const char *thumbprint,
                                struct es_certificate_signature *s)
{
    const char *alg = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(header, "alg"));
    if (!alg || strcmp(alg, "EdDSA") != 0 || cJSON_HasObjectItem(header, "crit") ||
        cJSON_HasObjectItem(header, "b64")) {
        return "is not a plain EdDSA signature";
    }
    if (!copy_text(header, "kid", true, s->kid, sizeof s->kid) || strcmp(s->kid, thumbprint) != 0) {
        return "names another key than the one that stands beside it";
    }
    if (!copy_text(header, "role", true, s->role, sizeof s->role) ||
        !copy_text(header, "time", true, s->time, sizeof s->time) || !es_is_utc_time(s->time)) {
        return "does not say its role and time";
    }
    bool person = strcmp(s->role, ES_ROLE_OF_RELEASE) == 0 || strcmp(s->role, ES_ROLE_OF_VOID) == 0;
    if (!copy_text(header, "name", person, s->name, sizeof s->name)) {
        return "does not say who released it or made it void";
    }
    return copy_text(header, "reason", strcmp(s->role, ES_ROLE_OF_VOID) == 0, s->reason, sizeof s->reason)
               ? NULL
               : "does not say why";
}

/* Reads the protected header into `s`. *fault: what is wrong, or NULL. */
static enum es_status read_header(const struct parts *p, struct es_certificate_signature *s,
                                  const char **fault, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse("header", p->header, p->header_length, &findings, &doc, err);
    *fault = st == ES_OK ? header_fault(es_document_root(doc), p->key.thumbprint, s)
                         : "has a header that is not strict JSON";
    es_document_free(doc);
    es_findings_free(&findings);
    return st == ES_NO_MEMORY ? st : ES_OK;
}

/* A key speaks once in a role, and after a void nothing more is said. */
static const char *order_fault(const struct es_certificate_report *r,
                               const struct es_certificate_signature *s)
{
    for (size_t i = 0; i < r->signature_count; i++) {
        if (strcmp(r->signatures[i].kid, s->kid) == 0 && strcmp(r->signatures[i].role, s->role) == 0) {
            return "is the second one by the same key";
        }
        if (strcmp(r->signatures[i].role, ES_ROLE_OF_VOID) == 0) {
            return "follows one by which the certificate was made void";
        }
    }
    return NULL;
}

static enum es_status check_signature(struct es_check *c, struct es_span entry, bool *good,
                                      struct es_error *err)
{
    struct es_certificate_report *r = c->report;
    size_t number = r->signature_count + 1;
    struct es_certificate_signature s = {0};
    struct parts p;
    char jws[JWS_MAX];
    const char *fault = NULL;
    enum es_status st = take_apart(c, entry, jws, &p, &fault, err);
    if (st == ES_OK && !fault) {
        st = read_header(&p, &s, &fault, err);
    }
    if (st != ES_OK) {
        return st;
    }
    fault = fault ? fault : order_fault(r, &s);
    if (fault) {
        *good = es_found(r, ES_CERTIFICATE_ALTERED, "Altered: signature %zu %s.", number, fault);
        return ES_OK;
    }
    char *input = NULL;
    size_t length = 0;
    st = es_signing_input(p.header, p.header_length, c->payload, c->payload_length, &input, &length, err);
    if (st != ES_OK) {
        return st;
    }
    if (es_public_key_verify(&p.key, input, length, p.signature)) {
        r->signatures[r->signature_count++] = s;
    } else {
        *good = es_found(
            r, ES_CERTIFICATE_ALTERED,
            "Altered: signature %zu (%s, key %s) does not hold over this content. Somebody or something "
            "changed it after it was signed.",
            number, s.role, s.kid);
    }
    free(input);
    return ES_OK;
}

enum es_status es_check_signatures(struct es_check *c, bool *good, struct es_error *err)
{
    struct es_certificate_report *r = c->report;
    struct es_span list = es_members_find(&c->root, ES_SIGNATURES_MEMBER);
    struct es_span entry = {0};
    const char *cursor = NULL;
    if (!list.at || *list.at != '[' || list.length == 2) {
        *good = es_found(r, ES_CERTIFICATE_NOT_SIGNED, "Not signed: there is no signature in it.");
        return ES_OK;
    }
    size_t count = 0;
    while (es_span_next(list, &cursor, &entry, &entry)) {
        count++;
    }
    if (count > ES_CERTIFICATE_SIGNATURES_MAX) {
        *good = es_found(r, ES_CERTIFICATE_NOT_ONE, "Not a certificate: it has more than %d signatures.",
                         ES_CERTIFICATE_SIGNATURES_MAX);
        return ES_OK;
    }
    cursor = NULL;
    while (es_span_next(list, &cursor, &entry, &entry)) {
        enum es_status st = check_signature(c, entry, good, err);
        if (st != ES_OK || !*good) {
            return st;
        }
    }
    return ES_OK;
}

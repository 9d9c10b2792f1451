/* Checking a certificate. In order: is it strict JSON of this format; does every signature hold over the
 * content; is the content complete; is the file canonical; has the issuing key signed; is that key trusted.
 * The first that fails is the finding, so that "altered" is never hidden behind "key unknown". */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/certificate.h"
#include "results/certificate/format.h"
#include "rig/base/digest.h"
#include "rig/base/text.h"

#define HEADER_MAX 512

struct check {
    const struct es_trusted_key *trusted;
    size_t trusted_count;
    const cJSON *root;
    const char *payload;
    size_t payload_length;
    struct es_certificate_report *report;
};

/* Sets the finding; false so that a check can `return found(...)`. */
static bool ES_PRINTF(3, 4)
    found(struct es_certificate_report *r, enum es_certificate_finding finding, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    r->finding = finding;
    (void)vsnprintf(r->text, sizeof r->text, format, args);
    va_end(args);
    return false;
}

static const char *text_of(const cJSON *object, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

static bool has_only(const cJSON *object, const char *const *names, size_t count)
{
    for (const cJSON *m = object->child; m; m = m->next) {
        size_t i = 0;
        while (i < count && strcmp(m->string, names[i]) != 0) {
            i++;
        }
        if (i == count) {
            return false;
        }
    }
    return true;
}

/* ---- One signature ---- */

struct parts {
    char header[HEADER_MAX]; /* JSON text, NUL-terminated */
    size_t header_length;
    unsigned char signature[ES_SIGNATURE_SIZE];
    struct es_public_key key;
};

/* Text of the JWK -> key. Only a lack of memory is a failure here; a bad key leaves *good false. */
static enum es_status read_key(const cJSON *jwk, struct es_public_key *key, bool *good, struct es_error *err)
{
    char *text = NULL;
    size_t length = 0;
    enum es_status st = es_canonical_write(jwk, &text, &length, err);
    if (st == ES_OK) {
        st = es_public_key_parse("key", text, length, key, err);
        free(text);
    }
    *good = st == ES_OK && text_of(jwk, "kid");
    return st == ES_NO_MEMORY ? st : ES_OK;
}

/* Everything about an entry that can be told without the payload. *fault: what is wrong, or NULL. */
static enum es_status take_apart(const cJSON *entry, struct parts *p, const char **fault,
                                 struct es_error *err)
{
    static const char *const members[] = {"jws", "key"};
    static const char *const key_members[] = {"crv", "kid", "kty", "x"};
    const char *jws = text_of(entry, "jws");
    const cJSON *key = cJSON_GetObjectItemCaseSensitive(entry, "key");
    const char *dots = jws ? strstr(jws, "..") : NULL;
    *fault = NULL;
    if (!cJSON_IsObject(entry) || !dots || !cJSON_IsObject(key) || !has_only(entry, members, 2) ||
        !has_only(key, key_members, 4)) {
        *fault = "is not a detached JWS with its public key";
        return ES_OK;
    }
    if (es_base64url_decode(jws, (size_t)(dots - jws), p->header, sizeof p->header - 1, &p->header_length,
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
    enum es_status st = read_key(key, &p->key, &good, err);
    *fault = good ? NULL : "carries a public key that is none";
    return st;
}

/* Fills `s` from the header's members. NULL, or what is wrong. */
static const char *header_fault(const cJSON *header, const char *thumbprint,
                                struct es_certificate_signature *s)
{
    const char *alg = text_of(header, "alg");
    const char *kid = text_of(header, "kid");
    const char *role = text_of(header, "role");
    const char *time = text_of(header, "time");
    if (!alg || strcmp(alg, "EdDSA") != 0 || cJSON_HasObjectItem(header, "crit") ||
        cJSON_HasObjectItem(header, "b64")) {
        return "is not a plain EdDSA signature";
    }
    if (!kid || strcmp(kid, thumbprint) != 0) {
        return "names another key than the one that stands beside it";
    }
    if (!role || !role[0] || strlen(role) >= sizeof s->role || !time || !es_is_utc_time(time) ||
        strlen(time) >= sizeof s->time) {
        return "does not say its role and time";
    }
    (void)snprintf(s->kid, sizeof s->kid, "%s", kid);
    (void)snprintf(s->role, sizeof s->role, "%s", role);
    (void)snprintf(s->time, sizeof s->time, "%s", time);
    return NULL;
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

static const struct es_trusted_key *find_trusted(const struct check *c, const char *kid)
{
    for (size_t i = 0; i < c->trusted_count; i++) {
        if (strcmp(c->trusted[i].key.thumbprint, kid) == 0) {
            return &c->trusted[i];
        }
    }
    return NULL;
}

static enum es_status check_signature(struct check *c, const cJSON *entry, bool *good, struct es_error *err)
{
    struct es_certificate_report *r = c->report;
    size_t number = r->signature_count + 1;
    struct es_certificate_signature s = {0};
    struct parts p;
    const char *fault = NULL;
    enum es_status st = take_apart(entry, &p, &fault, err);
    if (st == ES_OK && !fault) {
        st = read_header(&p, &s, &fault, err);
    }
    if (st != ES_OK) {
        return st;
    }
    for (size_t i = 0; !fault && i < r->signature_count; i++) {
        fault = strcmp(r->signatures[i].kid, s.kid) == 0 ? "is the second one by the same key" : NULL;
    }
    if (fault) {
        *good = found(r, ES_CERTIFICATE_ALTERED, "Altered: signature %zu %s.", number, fault);
        return ES_OK;
    }
    char *input = NULL;
    size_t length = 0;
    st = es_signing_input(p.header, p.header_length, c->payload, c->payload_length, &input, &length, err);
    if (st != ES_OK) {
        return st;
    }
    if (es_public_key_verify(&p.key, input, length, p.signature)) {
        s.trusted = find_trusted(c, s.kid);
        r->signatures[r->signature_count++] = s;
    } else {
        *good = found(
            r, ES_CERTIFICATE_ALTERED,
            "Altered: signature %zu (%s, key %s) does not hold over this content. Somebody or something "
            "changed it after it was signed.",
            number, s.role, s.kid);
    }
    free(input);
    return ES_OK;
}

/* ---- The whole ---- */

static enum es_status check_signatures(struct check *c, bool *good, struct es_error *err)
{
    struct es_certificate_report *r = c->report;
    const cJSON *entries = cJSON_GetObjectItemCaseSensitive(c->root, ES_SIGNATURES_MEMBER);
    if (!cJSON_IsArray(entries) || cJSON_GetArraySize(entries) == 0) {
        *good = found(r, ES_CERTIFICATE_NOT_SIGNED, "Not signed: there is no signature in it.");
        return ES_OK;
    }
    if (cJSON_GetArraySize(entries) > ES_CERTIFICATE_SIGNATURES_MAX) {
        *good = found(r, ES_CERTIFICATE_NOT_ONE, "Not a certificate: it has more than %d signatures.",
                      ES_CERTIFICATE_SIGNATURES_MAX);
        return ES_OK;
    }
    const cJSON *entry = NULL;
    cJSON_ArrayForEach(entry, entries)
    {
        enum es_status st = check_signature(c, entry, good, err);
        if (st != ES_OK || !*good) {
            return st;
        }
    }
    return ES_OK;
}

/* The entry by which the issuing key signed as such; NULL and the finding set when it did not. */
static const struct es_certificate_signature *find_issuer(struct check *c)
{
    const char *key = text_of(cJSON_GetObjectItemCaseSensitive(c->root, "issuer"), "key");
    const struct es_certificate_signature *issuer = NULL;
    for (size_t i = 0; i < c->report->signature_count; i++) {
        const struct es_certificate_signature *s = &c->report->signatures[i];
        bool is_bench = strcmp(s->role, ES_ROLE_OF_ISSUER) == 0;
        bool is_issuer = strcmp(s->kid, key) == 0;
        if (is_bench != is_issuer) {
            (void)found(c->report, ES_CERTIFICATE_NOT_SIGNED,
                        "Not signed by its issuer: key %s signed as \"%s\", but the issuing key is %.60s.",
                        s->kid, s->role, key);
            return NULL;
        }
        issuer = is_issuer ? s : issuer;
    }
    if (!issuer) {
        (void)found(c->report, ES_CERTIFICATE_NOT_SIGNED,
                    "Not signed by its issuer: the signature of key %.60s is missing.", key);
    }
    return issuer;
}

/* Only the part down to the second is compared; within the same second a key counts as revoked. */
static bool is_revoked(const struct es_trusted_key *trusted, const char *signed_at)
{
    return trusted->revoked && strncmp(signed_at, trusted->revoked, strlen("2026-02-03T10:11:12")) >= 0;
}

static bool check_trust(struct check *c, const struct es_certificate_signature *issuer)
{
    struct es_certificate_report *r = c->report;
    const struct es_trusted_key *t = issuer->trusted;
    if (!t && c->trusted_count == 1) {
        return found(
            r, ES_CERTIFICATE_OTHER_KEY,
            "Signed by another key: the content is as signed by key %s, but the key that you trust is %s.",
            issuer->kid, c->trusted[0].key.thumbprint);
    }
    if (!t) {
        return found(r, ES_CERTIFICATE_UNKNOWN_KEY,
                     "Key unknown: the content is as signed by key %s, which is not among the %zu keys that "
                     "you trust. "
                     "Anyone can make a key: get its public half from the issuer by a way that you trust.",
                     issuer->kid, c->trusted_count);
    }
    if (is_revoked(t, issuer->time)) {
        return found(
            r, ES_CERTIFICATE_REVOKED,
            "Key revoked: the content is as signed by key %s on %s, but that key is revoked from %s on.",
            issuer->kid, issuer->time, t->revoked);
    }
    const char *number = text_of(c->root, "number");
    r->finding = ES_CERTIFICATE_VALID;
    (void)snprintf(r->text, sizeof r->text, "Valid: %.80s is as signed by key %s%s%.80s%s on %s.", number,
                   issuer->kid, t->name ? " (" : "", t->name ? t->name : "", t->name ? ")" : "",
                   issuer->time);
    return true;
}

/* Everything after the signatures. `canonical`: of the whole document. */
static void check_rest(struct check *c, const char *bytes, size_t length, const char *canonical,
                       size_t canonical_length)
{
    struct es_certificate_report *r = c->report;
    char room[256];
    const char *fault = es_certificate_fault(c->root, room, sizeof room);
    if (fault) {
        (void)found(r, ES_CERTIFICATE_NOT_ONE, "Not a certificate, although it is signed: %s.", fault);
        return;
    }
    if (length != canonical_length || memcmp(bytes, canonical, length) != 0) {
        (void)found(r, ES_CERTIFICATE_REFORMATTED,
                    "Reformatted: the content is as signed, but the file is not in its canonical form (RFC "
                    "8785). Ask "
                    "for the file as it was issued.");
        return;
    }
    const struct es_certificate_signature *issuer = find_issuer(c);
    if (issuer) {
        (void)check_trust(c, issuer);
    }
}

static enum es_status check_document(struct check *c, const char *bytes, size_t length, struct es_error *err)
{
    struct es_certificate_report *r = c->report;
    const char *format = text_of(c->root, "endstop");
    if (!cJSON_IsObject(c->root) || !format || strcmp(format, ES_CERTIFICATE_FORMAT) != 0) {
        (void)found(r, ES_CERTIFICATE_NOT_ONE,
                    "Not a certificate: expected an object with \"endstop\": "
                    "\"" ES_CERTIFICATE_FORMAT "\"%s%.60s%s.",
                    format ? ", found \"" : "", format ? format : "", format ? "\"" : "");
        return ES_OK;
    }
    char *payload = NULL;
    char *whole = NULL;
    size_t whole_length = 0;
    bool good = true;
    enum es_status st =
        es_canonical_write_without(c->root, ES_SIGNATURES_MEMBER, &payload, &c->payload_length, err);
    if (st != ES_OK) {
        return st;
    }
    c->payload = payload;
    st = check_signatures(c, &good, err);
    if (st == ES_OK && good) {
        st = es_canonical_write(c->root, &whole, &whole_length, err);
    }
    if (st == ES_OK && good) {
        check_rest(c, bytes, length, whole, whole_length);
    }
    free(whole);
    free(payload);
    return st;
}

enum es_status es_certificate_verify(const char *name, const char *bytes, size_t length,
                                     const struct es_trusted_key *trusted, size_t trusted_count,
                                     struct es_certificate_report *report, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_error local = {0};
    *report = (struct es_certificate_report){.finding = ES_CERTIFICATE_NOT_ONE};
    es_digest_hex(bytes, length, report->digest);
    enum es_status st = es_document_parse(name, bytes, length, &findings, &report->document, &local);
    if (st == ES_OK) {
        struct check c = {.trusted = trusted,
                          .trusted_count = trusted_count,
                          .root = es_document_root(report->document),
                          .report = report};
        st = check_document(&c, bytes, length, &local);
    } else if (st != ES_NO_MEMORY) {
        bool told = st == ES_BAD_INPUT && es_findings_status(&findings, &local) != ES_OK;
        (void)found(report, ES_CERTIFICATE_NOT_ONE, "Not a certificate: %.600s",
                    told || local.text[0] ? local.text : "it cannot be read");
        st = ES_OK;
    }
    es_findings_free(&findings);
    if (st != ES_OK) {
        es_certificate_report_clear(report);
        return es_fail(err, st, "%s: could not be checked: %.500s", name, local.text);
    }
    return ES_OK;
}

void es_certificate_report_clear(struct es_certificate_report *report)
{
    es_document_free(report->document);
    *report = (struct es_certificate_report){.finding = ES_CERTIFICATE_NOT_ONE};
}

const char *es_certificate_finding_word(enum es_certificate_finding finding)
{
    switch (finding) {
    case ES_CERTIFICATE_VALID:
        return "valid";
    case ES_CERTIFICATE_NOT_ONE:
        return "not a certificate";
    case ES_CERTIFICATE_NOT_SIGNED:
        return "not signed";
    case ES_CERTIFICATE_ALTERED:
        return "altered";
    case ES_CERTIFICATE_REFORMATTED:
        return "reformatted";
    case ES_CERTIFICATE_OTHER_KEY:
        return "signed by another key";
    case ES_CERTIFICATE_UNKNOWN_KEY:
        return "key unknown";
    case ES_CERTIFICATE_REVOKED:
        return "key revoked";
    }
    return "not a certificate";
}

enum es_status es_certificate_status(const struct es_certificate_report *report, struct es_error *err)
{
    if (report->finding == ES_CERTIFICATE_VALID) {
        return ES_OK;
    }
    enum es_status st = report->finding == ES_CERTIFICATE_NOT_ONE ? ES_BAD_INPUT : ES_NOT_VALID;
    return es_fail(err, st, "%s", report->text);
}

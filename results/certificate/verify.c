/* Checking a certificate. In order: is it strict JSON of this format; does every signature hold over the
 * content; is the content complete; is the file canonical; has the issuing key signed; is that key trusted;
 * was it taken out of force. The first that fails is the finding, so that "altered" is never hidden behind
 * "key unknown".
 *
 * A file in canonical form, as all are, is looked at where it stands (span.h): no tree is made. Another one
 * is read strictly, so that its faults can be told, and written canonically first. */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/format.h"
#include "results/certificate/verify_parts.h"
#include "rig/base/digest.h"

bool es_found(struct es_certificate_report *r, enum es_certificate_finding finding, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    r->finding = finding;
    (void)vsnprintf(r->text, sizeof r->text, format, args);
    va_end(args);
    return false;
}

/* The canonical bytes without the member "signatures". */
static enum es_status cut_payload(const struct es_members *root, const char *bytes, size_t length, char **out,
                                  size_t *out_length, struct es_error *err)
{
    char *copy = malloc(length + 1);
    if (!copy) {
        return es_fail(err, ES_NO_MEMORY, "no memory to check a certificate");
    }
    size_t from = length;
    size_t to = length;
    for (size_t i = 0; i < root->count; i++) {
        if (es_span_is(root->names[i], ES_SIGNATURES_MEMBER)) {
            from = (size_t)(root->names[i].at - bytes);
            to = (size_t)(root->values[i].at - bytes) + root->values[i].length;
            if (bytes[to] == ',') {
                to++; /* the comma behind it, or for the last member the one before it */
            } else if (from > 1) {
                from--;
            }
        }
    }
    memcpy(copy, bytes, from);
    memcpy(copy + from, bytes + to, length - to);
    *out_length = length - (to - from);
    copy[*out_length] = 0;
    *out = copy;
    return ES_OK;
}

static void check_content(struct es_check *c, bool reformatted)
{
    struct es_certificate_report *r = c->report;
    char room[256];
    const char *fault = es_certificate_fault(&c->root, room, sizeof room);
    if (fault) {
        (void)es_found(r, ES_CERTIFICATE_NOT_ONE, "Not a certificate, although it is signed: %s.", fault);
    } else if (reformatted) {
        (void)es_found(
            r, ES_CERTIFICATE_REFORMATTED,
            "Reformatted: the content is as signed, but the file is not in its canonical form (RFC "
            "8785). Ask for the file as it was issued.");
    } else {
        es_check_trust(c);
    }
}

/* `bytes`: in canonical form. */
static enum es_status check_canonical(struct es_check *c, const char *bytes, size_t length, bool reformatted,
                                      struct es_error *err)
{
    struct es_certificate_report *r = c->report;
    char *payload = NULL;
    bool good = true;
    struct es_span format = es_members_find(&c->root, "endstop");
    if (!es_span_is(format, ES_CERTIFICATE_FORMAT)) {
        const char *strange = es_certificate_strange(&c->root);
        (void)es_found(r, ES_CERTIFICATE_NOT_ONE, "Not a certificate: %s%.*s%s", strange,
                       format.length > 60 ? 60 : (int)format.length, format.at ? format.at : "",
                       format.at ? "." : "");
        return ES_OK;
    }
    enum es_status st = cut_payload(&c->root, bytes, length, &payload, &c->payload_length, err);
    if (st != ES_OK) {
        return st;
    }
    c->payload = payload;
    st = es_check_signatures(c, &good, err);
    if (st == ES_OK && good) {
        check_content(c, reformatted);
    }
    free(payload);
    return st;
}

/* Not canonical: read strictly, so that what is wrong can be told, then written anew. */
static enum es_status check_other(struct es_check *c, const char *name, const char *bytes, size_t length,
                                  struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    char *canonical = NULL;
    size_t size = 0;
    enum es_status st = es_document_parse(name, bytes, length, &findings, &doc, err);
    if (st == ES_OK && !cJSON_IsObject(es_document_root(doc))) {
        (void)es_found(c->report, ES_CERTIFICATE_NOT_ONE,
                       "Not a certificate: it is JSON, but no object; expected {\"endstop\": "
                       "\"" ES_CERTIFICATE_FORMAT "\", ...}.");
        goto free_document;
    }
    if (st == ES_OK) {
        st = es_canonical_write(es_document_root(doc), &canonical, &size, err);
    } else if (st == ES_BAD_INPUT) {
        st = es_findings_status(&findings, err);
    }
    if (st == ES_OK && (!canonical || !es_span_scan(canonical, size, &c->root))) {
        st = es_fail(err, ES_INTERNAL, "the canonical form of this file is not taken for one");
    }
    if (st == ES_OK) {
        st = check_canonical(c, canonical, size, true, err);
    }
    free(canonical);
free_document:
    es_document_free(doc);
    es_findings_free(&findings);
    return st;
}

enum es_status es_certificate_verify(const char *name, const char *bytes, size_t length,
                                     const struct es_trusted_key *trusted, size_t trusted_count,
                                     struct es_certificate_report *report, struct es_error *err)
{
    struct es_error local = {0};
    *report = (struct es_certificate_report){.finding = ES_CERTIFICATE_NOT_ONE};
    es_digest_hex(bytes, length, report->digest);
    struct es_check c = {.trusted = trusted, .trusted_count = trusted_count, .report = report};
    enum es_status st = es_span_scan(bytes, length, &c.root)
                            ? check_canonical(&c, bytes, length, false, &local)
                            : check_other(&c, name, bytes, length, &local);
    if (st != ES_OK && st != ES_NO_MEMORY) {
        (void)es_found(report, ES_CERTIFICATE_NOT_ONE, "Not a certificate: %.600s",
                       local.text[0] ? local.text : "it cannot be read");
        st = ES_OK;
    }
    if (st != ES_OK) {
        *report = (struct es_certificate_report){.finding = ES_CERTIFICATE_NOT_ONE};
        return es_fail(err, st, "%s: could not be checked: %.500s", name, local.text);
    }
    return ES_OK;
}

const char *es_certificate_finding_word(enum es_certificate_finding finding)
{
    static const char *const words[] = {
        [ES_CERTIFICATE_VALID] = "valid",
        [ES_CERTIFICATE_NOT_ONE] = "not a certificate",
        [ES_CERTIFICATE_NOT_SIGNED] = "not signed",
        [ES_CERTIFICATE_ALTERED] = "altered",
        [ES_CERTIFICATE_REFORMATTED] = "reformatted",
        [ES_CERTIFICATE_OTHER_KEY] = "signed by another key",
        [ES_CERTIFICATE_UNKNOWN_KEY] = "key unknown",
        [ES_CERTIFICATE_REVOKED] = "key not in force",
        [ES_CERTIFICATE_WRONG_ROLE] = "key not for this",
        [ES_CERTIFICATE_VOID] = "void",
    };
    return finding <= ES_CERTIFICATE_VOID ? words[finding] : words[ES_CERTIFICATE_NOT_ONE];
}

enum es_status es_certificate_status(const struct es_certificate_report *report, struct es_error *err)
{
    if (report->finding == ES_CERTIFICATE_VALID) {
        return ES_OK;
    }
    enum es_status st = report->finding == ES_CERTIFICATE_NOT_ONE ? ES_BAD_INPUT : ES_NOT_VALID;
    return es_fail(err, st, "%s", report->text);
}

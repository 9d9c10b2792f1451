#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/derive.h"
#include "results/archive/integrity_parts.h"
#include "results/store/signed.h"

/* The leaf, if any, whose bytes these are. */
static const struct es_log_leaf *leaf_of(const struct es_log *log, const char *bytes, size_t length)
{
    struct es_hash hash;
    es_merkle_leaf(bytes, length, &hash);
    for (uint64_t i = 0; i < es_log_size(log); i++) {
        if (es_hash_equal(&es_log_leaf(log, i)->hash, &hash)) {
            return es_log_leaf(log, i);
        }
    }
    return NULL;
}

static enum es_status check_seal(struct es_integrity *i, const struct es_log_leaf *leaf, const char *bytes,
                                 size_t length, struct es_error *err)
{
    const struct es_integrity_order *o = i->order;
    const char *number = leaf->number;
    struct es_findings findings = {0};
    struct es_log_proof proof = {.head = NULL};
    struct es_log_head head;
    struct es_error why = {0};
    char *path = NULL, *text = NULL;
    size_t size = 0;
    enum es_status st = es_store_seal_path(o->store, number, leaf->version, &path, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_file_read(NULL, path, 1 << 20, &text, &size, &why);
    if (st == ES_OK) {
        st = es_log_proof_read("seal", text, size, &findings, &proof, &why);
    }
    if (st == ES_OK) {
        st = es_log_proof_check(&proof, bytes, length, o->trusted, o->trusted_count, &head, &why);
    }
    if (st == ES_OK && strcmp(proof.number, number) != 0) {
        st = es_fail(&why, ES_NOT_VALID, "it names %s", proof.number);
    }
    if (st == ES_OK) {
        struct es_log_growth growth;
        st = es_log_prove_growth(i->log, proof.head, &growth, &why);
        if (st == ES_OK) {
            es_log_growth_clear(&growth);
        }
    }
    if (st != ES_OK && st != ES_NO_MEMORY) {
        es_integrity_found(i, "seal", number, "its seal does not hold: %s", why.text);
    }
    es_log_proof_clear(&proof);
    es_findings_free(&findings);
    free(text);
    free(path);
    return st == ES_NO_MEMORY ? es_fail(err, st, "no memory to check a seal") : ES_OK;
}

/* " with 2 signatures" for the later files of a certificate, as text of a finding. */
static const char *which(const struct es_log_leaf *leaf, char room[static 48])
{
    room[0] = '\0';
    if (leaf->version > 1)
        (void)snprintf(room, 48, " with %zu signatures", leaf->version);
    return room;
}

/* Bytes that are not what was logged: whose are they, what do they say of themselves? */
static void tell_altered(struct es_integrity *i, const struct es_log_leaf *leaf, const char *bytes,
                         size_t length, const struct es_certificate_report *report,
                         const struct es_content *c)
{
    char room[48];
    const struct es_log_leaf *other = leaf_of(i->log, bytes, length);
    if (other && strcmp(other->number, leaf->number) != 0) {
        es_integrity_found(i, "moved", leaf->number, "its file%s holds what was logged as %s",
                           which(leaf, room), other->number);
    } else if (other) {
        es_integrity_found(i, "altered", leaf->number, "its file%s holds the one with %zu: %s",
                           which(leaf, room), other->version,
                           other->version < leaf->version ? "a later signature was taken away"
                                                          : "a signature was put in that came later");
    } else if (c && strcmp(c->issued, leaf->issued) < 0) {
        es_integrity_found(i, "back-dated", leaf->number, "says it was issued %s; logged as issued %s (%s)",
                           c->issued, leaf->issued, es_certificate_finding_word(report->finding));
    } else {
        es_integrity_found(i, "altered", leaf->number, "its file%s is not what was logged: %s",
                           which(leaf, room), report->text);
    }
}

static enum es_status check_content(struct es_integrity *i, const struct es_log_leaf *leaf, const char *bytes,
                                    size_t length, const struct es_certificate_report *report,
                                    const struct es_content *c, struct es_error *err)
{
    struct es_hash hash;
    es_merkle_leaf(bytes, length, &hash);
    if (!es_hash_equal(&hash, &leaf->hash)) {
        tell_altered(i, leaf, bytes, length, report, c);
        return ES_OK;
    }
    if (report->finding != ES_CERTIFICATE_VALID && report->finding != ES_CERTIFICATE_VOID) {
        es_integrity_found(i, "signature", leaf->number, "%s", report->text);
    }
    if (c && strcmp(c->issued, leaf->issued) != 0) {
        es_integrity_found(i, "back-dated", leaf->number, "the log says issued %s, the certificate %s",
                           leaf->issued, c->issued);
    }
    enum es_status st = check_seal(i, leaf, bytes, length, err);
    if (st == ES_OK && c && leaf->version == 1 && !i->order->skip_recordings) {
        st = es_integrity_recordings(i, c, err);
    }
    return st;
}

static void tell_missing(struct es_integrity *i, const struct es_log_leaf *leaf, enum es_status st,
                         const struct es_error *why)
{
    char room[48];
    if (st == ES_NOT_FOUND) {
        es_integrity_found(i, "missing", leaf->number, "its file%s was logged (issued %s) and is not there",
                           which(leaf, room), leaf->issued);
    } else {
        es_integrity_found(i, "missing", leaf->number, "its file%s cannot be read: %s", which(leaf, room),
                           why->text);
    }
}

static enum es_status check_bytes(struct es_integrity *i, const struct es_log_leaf *leaf, const char *bytes,
                                  size_t length, struct es_certificate_report *report, struct es_error *err)
{
    const struct es_integrity_order *o = i->order;
    struct es_derived derived;
    struct es_error why = {0};
    enum es_status st =
        es_certificate_verify(leaf->number, bytes, length, o->trusted, o->trusted_count, report, err);
    if (st != ES_OK) {
        return st;
    }
    enum es_status said = es_derive(bytes, length, &derived, &why);
    if (said == ES_NO_MEMORY) {
        return es_fail(err, said, "%s", why.text);
    }
    st = check_content(i, leaf, bytes, length, report, said == ES_OK ? &derived.content : NULL, err);
    if (said == ES_OK) {
        es_derived_clear(&derived);
    }
    return st;
}

static enum es_status check_file(struct es_integrity *i, const struct es_log_leaf *leaf, struct es_error *err)
{
    struct es_certificate_report *report = calloc(1, sizeof *report);
    struct es_error why = {0};
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st =
        report ? es_store_version(i->order->store, leaf->number, leaf->version, &bytes, &length, &why)
               : es_fail(&why, ES_NO_MEMORY, "no memory to check a certificate");
    if (st == ES_OK) {
        i->report->certificates += leaf->version == 1;
        st = check_bytes(i, leaf, bytes, length, report, err);
    } else if (st == ES_NO_MEMORY) {
        st = es_fail(err, st, "%s", why.text);
    } else {
        tell_missing(i, leaf, st, &why);
        st = ES_OK;
    }
    free(report);
    free(bytes);
    return st;
}

/* Files with further signatures that are not in the log. */
static enum es_status check_unlogged_signed(struct es_integrity *i, struct es_error *err)
{
    struct es_store_signed *items = NULL;
    size_t count = 0;
    struct es_text strange = {0};
    enum es_status st = es_store_signed_list(i->order->store, &items, &count, &strange, err);
    for (size_t k = 0; st == ES_OK && k < count; k++) {
        uint64_t index;
        const struct es_store_signed *s = &items[k];
        bool known = es_log_find(i->log, s->number, &index);
        size_t logged = known ? es_log_leaf(i->log, index)->version : 0;
        if (s->signatures == logged + 1 && known) {
            es_integrity_found(i, "not sealed", s->number,
                               "got a signature that is not in the log yet: the daemon enters it when it "
                               "starts");
        } else if (s->signatures > logged) {
            es_integrity_found(i, "added", s->number,
                               "a file with %zu signatures is there, and the log knows %zu", s->signatures,
                               logged);
        }
    }
    st = st == ES_OK ? es_text_status(&strange, err) : st;
    if (st == ES_OK && strange.length > 0) {
        es_integrity_found(i, "added", NULL, "among the signed certificates lie files that are none: %.300s",
                           strange.bytes);
    }
    es_text_free(&strange);
    free(items);
    return st;
}

/* Files that were never logged. After the last logged number they may be from a moment ago. */
static enum es_status check_unlogged(struct es_integrity *i, struct es_error *err)
{
    char **numbers = NULL;
    size_t count = 0;
    uint64_t size = es_log_size(i->log), index;
    const char *last = size > 0 ? es_log_leaf(i->log, size - 1)->number : "";
    enum es_status st = es_store_all_numbers(i->order->store, &numbers, &count, err);
    size_t last_at = 0;
    for (size_t k = 0; st == ES_OK && k < count; k++) {
        last_at = strcmp(numbers[k], last) == 0 ? k + 1 : last_at;
    }
    for (size_t k = 0; st == ES_OK && k < count; k++) {
        if (es_log_find(i->log, numbers[k], &index)) {
            continue;
        }
        bool may_be_new = k >= last_at;
        es_integrity_found(i, may_be_new ? "not sealed" : "added", numbers[k],
                           may_be_new ? "is not in the log yet: the daemon enters it when it starts"
                                      : "stands among the logged ones and was never logged");
    }
    for (size_t k = 0; k < count; k++) {
        free(numbers[k]);
    }
    free(numbers);
    return st;
}

enum es_status es_integrity_files(struct es_integrity *i, struct es_error *err)
{
    enum es_status st = ES_OK;
    for (uint64_t at = 0; at < es_log_size(i->log) && st == ES_OK; at++) {
        st = check_file(i, es_log_leaf(i->log, at), err);
    }
    if (st == ES_OK) {
        st = check_unlogged(i, err);
    }
    if (st == ES_OK) {
        st = check_unlogged_signed(i, err);
    }
    return st == ES_OK ? es_integrity_books(i, err) : st;
}

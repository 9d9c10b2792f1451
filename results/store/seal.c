/* Entering certificates in the log. A certificate is durable first and logged after: killed in between, it is
 * found by the next es_store_seal of all. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "results/log/log.h"
#include "results/store/inner.h"
#include "results/store/signed.h"

enum es_status es_store_log_path(const struct es_store *store, char **path, struct es_error *err)
{
    char *made = es_store_path(store, "log", "certificates.log", err);
    if (!made) {
        return ES_NO_MEMORY;
    }
    *path = made;
    return ES_OK;
}

enum es_status es_store_seal_path(const struct es_store *store, const char *number, size_t signatures,
                                  char **path, struct es_error *err)
{
    if (!es_store_is_name(number, ES_STORE_NUMBER_MAX - 1)) {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is not a certificate's number", number);
    }
    char *made = es_store_version_path(store, number, signatures, ".seal.json", err);
    if (!made) {
        return ES_NO_MEMORY;
    }
    *path = made;
    return ES_OK;
}

enum es_status es_store_all_numbers(const struct es_store *store, char ***numbers, size_t *count,
                                    struct es_error *err)
{
    struct es_names names;
    enum es_status st = es_store_numbers(store, &names, err);
    if (st == ES_OK) {
        *numbers = names.items;
        *count = names.count;
    }
    return st;
}

static enum es_status open_log(struct es_store *store, struct es_error *err)
{
    char *path = NULL;
    enum es_status st = store->log ? ES_OK : es_store_log_path(store, &path, err);
    if (st == ES_OK && !store->log) {
        st = es_log_open(store->ops, path, &store->log, err);
    }
    free(path);
    return st;
}

static enum es_status keep_proof(struct es_store *store, const struct es_log_proof *proof, size_t version,
                                 struct es_error *err)
{
    char *path = NULL;
    char *text = NULL;
    enum es_status st = es_store_seal_path(store, proof->number, version, &path, err);
    if (st == ES_OK) {
        st = es_log_proof_write(proof, &text, err);
    }
    if (st == ES_OK) {
        st = es_file_write(store->ops, path, ES_FILE_REPLACE, 0640, text, strlen(text), err);
    }
    free(text);
    free(path);
    return st;
}

struct sealing {
    struct es_store *store;
    const struct es_key *key;
    const char *when;
};

/* When the certificate says it was issued; allocated. */
static enum es_status read_issued(const char *number, const char *bytes, size_t length, char **issued,
                                  struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(number, bytes, length, &findings, &doc, err);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
    if (st == ES_OK) {
        *issued = es_store_member(es_document_root(doc), "issued");
        st = *issued ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory to seal a certificate");
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return st;
}

/* A later file is the one before it with one signature more, and nothing else. */
static enum es_status check_grown(struct es_store *store, const char *number, size_t version,
                                  const char *bytes, size_t length, struct es_error *err)
{
    char *before = NULL, *cut = NULL, *whole = NULL;
    size_t before_length = 0, cut_length = 0, whole_length = 0;
    enum es_status st = es_store_version(store, number, version - 1, &before, &before_length, err);
    if (st == ES_OK) {
        st = es_certificate_leaf(bytes, length, version, &whole, &whole_length, err);
    }
    if (st == ES_OK) {
        st = es_certificate_leaf(bytes, length, version - 1, &cut, &cut_length, err);
    }
    bool grown = st == ES_OK && cut_length == before_length && memcmp(cut, before, cut_length) == 0 &&
                 whole_length == length && memcmp(whole, bytes, length) == 0;
    if (st == ES_OK && !grown) {
        st = es_fail(err, ES_BAD_INPUT,
                     "its file with %zu signatures is not the one with %zu and one signature more", version,
                     version - 1);
    }
    free(whole);
    free(cut);
    free(before);
    return st == ES_NOT_FOUND ? es_fail(err, ES_BAD_INPUT, "its file with %zu signatures has fewer", version)
                              : st;
}

/* One leaf: the file with `version` signatures, byte for byte. */
static enum es_status seal_version(const struct sealing *s, const char *number, size_t version,
                                   const char *bytes, size_t length, struct es_error *err)
{
    char *issued = NULL;
    struct es_hash hash;
    struct es_log_proof proof;
    enum es_status st = read_issued(number, bytes, length, &issued, err);
    if (st == ES_OK && version > 1) {
        st = check_grown(s->store, number, version, bytes, length, err);
    }
    if (st == ES_OK) {
        es_merkle_leaf(bytes, length, &hash);
        st = es_log_append(s->store->log, &hash, number, issued, s->key, s->when, &proof, err);
    }
    if (st == ES_OK) {
        st = keep_proof(s->store, &proof, version, err);
        es_log_proof_clear(&proof);
    }
    free(issued);
    return st;
}

static enum es_status seal_number(const struct sealing *s, const char *number, struct es_error *err)
{
    uint64_t index = 0;
    bool known = es_log_find(s->store->log, number, &index);
    enum es_status st = ES_OK;
    for (size_t v = known ? es_log_leaf(s->store->log, index)->version + 1 : 1;
         st == ES_OK && v <= ES_CERTIFICATE_SIGNATURES_MAX; v++) {
        char *bytes = NULL;
        size_t length = 0;
        st = es_store_version(s->store, number, v, &bytes, &length, err);
        if (st == ES_NOT_FOUND && v > 1) {
            return ES_OK;
        }
        if (st == ES_OK) {
            st = seal_version(s, number, v, bytes, length, err);
        }
        free(bytes);
    }
    return st == ES_OK ? st : es_error_context(err, st, "certificate %s is not sealed", number);
}

/* Killed between the log and the proof: only the last leaf can be without. */
static enum es_status prove_last(struct es_store *store, struct es_error *err)
{
    struct es_log_proof proof;
    struct stat info;
    uint64_t size = es_log_size(store->log);
    char *path = NULL;
    if (size == 0) {
        return ES_OK;
    }
    const struct es_log_leaf *last = es_log_leaf(store->log, size - 1);
    enum es_status st = es_store_seal_path(store, last->number, last->version, &path, err);
    if (st != ES_OK) {
        return st;
    }
    bool there = stat(path, &info) == 0 && info.st_size > 0;
    free(path);
    st = there ? ES_OK : es_log_prove(store->log, size - 1, &proof, err);
    if (st == ES_OK && !there) {
        st = keep_proof(store, &proof, last->version, err);
        es_log_proof_clear(&proof);
    }
    return st;
}

/* A damaged file must not keep the others out: the first such fault is kept, and told at the end. */
static enum es_status seal_or_note(const struct sealing *s, const char *number, struct es_error *first,
                                   struct es_error *err)
{
    enum es_status st = seal_number(s, number, err);
    if (st == ES_BAD_INPUT || st == ES_NOT_FOUND) {
        *first = first->text[0] ? *first : *err;
        return ES_OK;
    }
    return st;
}

/* Those that got a signature since they were logged. */
static enum es_status seal_signed(const struct sealing *s, struct es_error *first, struct es_error *err)
{
    struct es_store_signed *items = NULL;
    size_t count = 0;
    enum es_status st = es_store_signed_list(s->store, &items, &count, NULL, err);
    for (size_t i = 0; i < count && st == ES_OK; i++) {
        uint64_t index;
        if (es_log_find(s->store->log, items[i].number, &index) &&
            es_log_leaf(s->store->log, index)->version < items[i].signatures) {
            st = seal_or_note(s, items[i].number, first, err);
        }
    }
    free(items);
    return st;
}

static enum es_status seal_all(const struct sealing *s, struct es_error *err)
{
    struct es_names numbers = {0};
    struct es_error first = {0};
    enum es_status st = prove_last(s->store, err);
    st = st == ES_OK ? es_store_numbers(s->store, &numbers, err) : st;
    if (st != ES_OK) {
        return st;
    }
    for (size_t i = 0; i < numbers.count && st == ES_OK; i++) {
        uint64_t index;
        if (!es_log_find(s->store->log, numbers.items[i], &index)) {
            st = seal_or_note(s, numbers.items[i], &first, err);
        }
    }
    es_names_free(&numbers);
    if (st == ES_OK) {
        st = seal_signed(s, &first, err);
    }
    s->store->caught_up = st == ES_OK;
    if (st == ES_OK && first.text[0]) {
        return es_fail(err, first.status, "%s", first.text);
    }
    return st;
}

enum es_status es_store_seal(struct es_store *store, const struct es_key *key, const char *number,
                             const char *when, struct es_error *err)
{
    struct es_error ignored = {0};
    const struct sealing s = {.store = store, .key = key, .when = when};
    err = err ? err : &ignored;
    enum es_status st = es_store_may_write(store, err);
    if (st == ES_OK) {
        st = open_log(store, err);
    }
    if (st == ES_OK) {
        st = number && store->caught_up ? seal_number(&s, number, err) : seal_all(&s, err);
    }
    bool of_a_file = st == ES_BAD_INPUT || st == ES_NOT_FOUND;
    if (st != ES_OK && st != ES_DISABLED && !of_a_file) { /* what is on the disk is looked at anew */
        es_log_close(store->log);
        store->log = NULL;
        store->caught_up = false;
    }
    return st;
}

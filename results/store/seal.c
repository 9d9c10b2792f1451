/* Entering certificates in the log. A certificate is durable first and logged after: killed in between, it is
 * found by the next es_store_seal of all. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "results/log/log.h"
#include "results/store/inner.h"

enum es_status es_store_log_path(const struct es_store *store, char **path, struct es_error *err)
{
    char *made = es_store_path(store, "log", "certificates.log", err);
    if (!made) {
        return ES_NO_MEMORY;
    }
    *path = made;
    return ES_OK;
}

static char *beside(const struct es_store *store, const char *number, const char *ending,
                    struct es_error *err)
{
    char name[ES_STORE_NUMBER_MAX + 16];
    (void)snprintf(name, sizeof name, "%s%s", number, ending);
    return es_store_path(store, "certificates", name, err);
}

enum es_status es_store_seal_path(const struct es_store *store, const char *number, char **path,
                                  struct es_error *err)
{
    if (!es_store_is_name(number, ES_STORE_NUMBER_MAX - 1)) {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is not a certificate's number", number);
    }
    char *made = beside(store, number, ".seal.json", err);
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

static enum es_status keep_proof(struct es_store *store, const struct es_log_proof *proof,
                                 struct es_error *err)
{
    char *path = beside(store, proof->number, ".seal.json", err);
    char *text = NULL;
    enum es_status st = path ? es_log_proof_write(proof, &text, err) : ES_NO_MEMORY;
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

/* One leaf: the file with its first `version` signatures. */
static enum es_status seal_version(const struct sealing *s, const char *number, const char *issued,
                                   const char *bytes, size_t length, size_t version, struct es_error *err)
{
    char *leaf = NULL;
    size_t leaf_length = 0;
    struct es_hash hash;
    struct es_log_proof proof;
    enum es_status st = es_certificate_leaf(bytes, length, version, &leaf, &leaf_length, err);
    if (st != ES_OK) {
        return st;
    }
    es_merkle_leaf(leaf, leaf_length, &hash);
    free(leaf);
    st = es_log_append(s->store->log, &hash, number, issued, s->key, s->when, &proof, err);
    if (st == ES_OK) {
        st = keep_proof(s->store, &proof, err);
        es_log_proof_clear(&proof);
    }
    return st;
}

static enum es_status seal_document(const struct sealing *s, const char *number, const char *bytes,
                                    size_t length, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(number, bytes, length, &findings, &doc, err);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
    es_findings_free(&findings);
    if (st != ES_OK) {
        return st;
    }
    const cJSON *root = es_document_root(doc);
    size_t versions = (size_t)cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(root, "signatures"));
    char *issued = es_store_member(root, "issued");
    uint64_t index = 0;
    size_t logged =
        es_log_find(s->store->log, number, &index) ? es_log_leaf(s->store->log, index)->version : 0;
    st = issued ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory to seal a certificate");
    for (size_t v = logged + 1; v <= versions && st == ES_OK; v++) {
        st = seal_version(s, number, issued, bytes, length, v, err);
    }
    free(issued);
    es_document_free(doc);
    return st;
}

static enum es_status seal_number(const struct sealing *s, const char *number, struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = es_store_certificate(s->store, number, &bytes, &length, err);
    if (st == ES_OK) {
        st = seal_document(s, number, bytes, length, err);
        free(bytes);
    }
    return st == ES_OK ? st : es_error_context(err, st, "certificate %s is not sealed", number);
}

/* Changed since the log was: it may have got a signature. */
static bool is_newer(const struct es_store *store, const char *number, const struct stat *log)
{
    struct stat file;
    char *path = beside(store, number, ".json", NULL);
    bool newer =
        path && stat(path, &file) == 0 &&
        (file.st_mtim.tv_sec > log->st_mtim.tv_sec ||
         (file.st_mtim.tv_sec == log->st_mtim.tv_sec && file.st_mtim.tv_nsec >= log->st_mtim.tv_nsec));
    free(path);
    return newer;
}

/* Killed between the log and the proof: only the last leaf can be without. */
static enum es_status prove_last(struct es_store *store, struct es_error *err)
{
    struct es_log_proof proof;
    struct stat info;
    uint64_t size = es_log_size(store->log);
    if (size == 0) {
        return ES_OK;
    }
    char *path = beside(store, es_log_leaf(store->log, size - 1)->number, ".seal.json", err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    bool there = stat(path, &info) == 0 && info.st_size > 0;
    free(path);
    enum es_status st = there ? ES_OK : es_log_prove(store->log, size - 1, &proof, err);
    if (st == ES_OK && !there) {
        st = keep_proof(store, &proof, err);
        es_log_proof_clear(&proof);
    }
    return st;
}

static enum es_status seal_all(const struct sealing *s, struct es_error *err)
{
    struct es_names numbers;
    struct stat info = {0};
    struct es_error first = {0};
    char *path = NULL;
    enum es_status st = es_store_log_path(s->store, &path, err);
    if (st == ES_OK && stat(path, &info) != 0) {
        info = (struct stat){0};
    }
    free(path);
    st = st == ES_OK ? prove_last(s->store, err) : st;
    st = st == ES_OK ? es_store_numbers(s->store, &numbers, err) : st;
    if (st != ES_OK) {
        return st;
    }
    for (size_t i = 0; i < numbers.count && st == ES_OK; i++) {
        uint64_t index;
        const char *number = numbers.items[i];
        if (es_log_find(s->store->log, number, &index) && !is_newer(s->store, number, &info)) {
            continue;
        }
        st = seal_number(s, number, err);
        if (st == ES_BAD_INPUT || st == ES_NOT_FOUND) { /* a damaged file must not keep the others out */
            first = first.text[0] ? first : *err;
            st = ES_OK;
        }
    }
    es_names_free(&numbers);
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

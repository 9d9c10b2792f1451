#include <errno.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

#include "results/archive/integrity_parts.h"
#include "rig/base/digest.h"

#define PIECE         65536
#define DOCUMENT_MOST (64u << 20)

/* SHA-256 of what the gzip file holds; false with `why` when it cannot be read whole. */
static bool digest_file(const char *path, char digest[static 65], char why[static 128])
{
    crypto_hash_sha256_state state;
    unsigned char hash[crypto_hash_sha256_BYTES];
    unsigned char *piece = malloc(PIECE);
    gzFile file = piece ? gzopen(path, "rb") : NULL;
    int n = -1, code = Z_OK;
    (void)crypto_hash_sha256_init(&state);
    while (file && (n = gzread(file, piece, PIECE)) > 0) {
        (void)crypto_hash_sha256_update(&state, piece, (unsigned long long)n);
    }
    if (file) {
        (void)gzerror(file, &code);
        code = gzclose(file) == Z_OK ? code : Z_BUF_ERROR; /* cut off */
    }
    free(piece);
    (void)crypto_hash_sha256_final(&state, hash);
    es_hex(hash, sizeof hash, digest);
    if (n != 0 || (code != Z_OK && code != Z_STREAM_END)) {
        (void)snprintf(why, 128, "%s", file ? "the file is cut off or damaged" : "the file cannot be read");
        return false;
    }
    return true;
}

static enum es_status check_one(struct es_integrity *i, const char *number,
                                const struct es_content_recording *r, struct es_error *err)
{
    char digest[65], why[128];
    struct es_text path = {0};
    es_text_printf(&path, "%s/recordings/%.64s.recording.gz", es_store_folder(i->order->store), r->sha256);
    enum es_status st = es_text_status(&path, err);
    if (st == ES_OK) {
        i->report->recordings++;
        if (access(path.bytes, F_OK) != 0) {
            es_integrity_found(i, "recording", number, "its recording \"%s\" (%.12s...) is not there",
                               r->name, r->sha256);
        } else if (!digest_file(path.bytes, digest, why)) {
            es_integrity_found(i, "recording", number, "its recording \"%s\": %s", r->name, why);
        } else if (strcmp(digest, r->sha256) != 0) {
            es_integrity_found(i, "recording", number, "its recording \"%s\" was altered", r->name);
        }
    }
    es_text_free(&path);
    return st;
}

/* Inputs, plan, type sheet and procedures, each under the digest of its bytes. */
static enum es_status check_document(struct es_integrity *i, const char *number, const char *what,
                                     const char *sha256, struct es_error *err)
{
    char digest[65];
    struct es_text path = {0};
    struct es_error why = {0};
    char *bytes = NULL;
    size_t length = 0;
    es_text_printf(&path, "%s/recordings/%.64s.json", es_store_folder(i->order->store), sha256);
    enum es_status st = es_text_status(&path, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_file_read(NULL, path.bytes, DOCUMENT_MOST, &bytes, &length, &why);
    if (st == ES_OK) {
        es_digest_hex(bytes, length, digest);
    }
    if (st == ES_OK && strcmp(digest, sha256) != 0) {
        es_integrity_found(i, "recording", number, "its %s (%.12s...) beside the recordings was altered",
                           what, sha256);
    } else if (st == ES_NOT_FOUND) {
        es_integrity_found(i, "recording", number, "its %s (%.12s...) beside the recordings is not there",
                           what, sha256);
    } else if (st != ES_OK && st != ES_NO_MEMORY) {
        es_integrity_found(i, "recording", number, "its %s: %s", what, why.text);
    }
    free(bytes);
    es_text_free(&path);
    return st == ES_NO_MEMORY ? es_fail(err, st, "%s", why.text) : ES_OK;
}

static enum es_status check_documents(struct es_integrity *i, const struct es_content *c,
                                      struct es_error *err)
{
    if (!c->inputs_sha256[0]) {
        return ES_OK; /* an older certificate: nobody kept them */
    }
    enum es_status st = check_document(i, c->number, "list of inputs", c->inputs_sha256, err);
    if (st == ES_OK && c->plan.sha256[0]) {
        st = check_document(i, c->number, "test plan", c->plan.sha256, err);
    }
    if (st == ES_OK && c->type_sheet.sha256[0]) {
        st = check_document(i, c->number, "type sheet", c->type_sheet.sha256, err);
    }
    for (size_t k = 0; k < c->procedure_count && st == ES_OK; k++) {
        if (c->procedures[k].d.sha256[0]) {
            st = check_document(i, c->number, "procedure", c->procedures[k].d.sha256, err);
        }
    }
    return st;
}

enum es_status es_integrity_recordings(struct es_integrity *i, const struct es_content *content,
                                       struct es_error *err)
{
    enum es_status st = ES_OK;
    for (size_t k = 0; k < content->recording_count && st == ES_OK; k++) {
        st = check_one(i, content->number, &content->recordings[k], err);
    }
    return st == ES_OK ? check_documents(i, content, err) : st;
}

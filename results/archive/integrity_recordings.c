#include <errno.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

#include "results/archive/integrity_parts.h"

#define PIECE 65536

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

enum es_status es_integrity_recordings(struct es_integrity *i, const struct es_content *content,
                                       struct es_error *err)
{
    enum es_status st = ES_OK;
    for (size_t k = 0; k < content->recording_count && st == ES_OK; k++) {
        st = check_one(i, content->number, &content->recordings[k], err);
    }
    return st;
}

#include "results/store/signed.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/store/inner.h"

#define PART "certificates/signed"

static char *signed_path(const struct es_store *store, const char *number, size_t signatures,
                         struct es_error *err)
{
    char name[ES_STORE_NUMBER_MAX + 32];
    (void)snprintf(name, sizeof name, "%s.%zu.json", number, signatures);
    return es_store_path(store, PART, name, err);
}

enum es_status es_store_latest(struct es_store *store, const char *number, char **bytes, size_t *length,
                               size_t *signatures, struct es_error *err)
{
    enum es_status st = es_store_certificate(store, number, bytes, length, err);
    size_t count = 1;
    while (st == ES_OK && count < ES_CERTIFICATE_SIGNATURES_MAX) {
        char *more = NULL;
        size_t more_length = 0;
        char *path = signed_path(store, number, count + 1, err);
        enum es_status read =
            path ? es_file_read(store->ops, path, ES_DOCUMENT_MAX, &more, &more_length, err) : ES_NO_MEMORY;
        free(path);
        if (read == ES_NOT_FOUND) {
            break;
        }
        free(*bytes);
        if (read != ES_OK) {
            return read;
        }
        *bytes = more;
        *length = more_length;
        count++;
    }
    if (st == ES_OK && signatures) {
        *signatures = count;
    }
    return st;
}

enum es_status es_store_sign(struct es_store *store, const char *number, const struct es_key *key,
                             const struct es_signing *signing, char **bytes, size_t *length,
                             struct es_error *err)
{
    char *old = NULL;
    char *fresh = NULL;
    size_t old_length = 0;
    size_t fresh_length = 0;
    size_t count = 0;
    enum es_status st = es_store_latest(store, number, &old, &old_length, &count, err);
    if (st == ES_OK) {
        st = es_certificate_sign_as(old, old_length, key, signing, &fresh, &fresh_length, err);
        free(old);
    }
    if (st != ES_OK) {
        return st;
    }
    char *folder = es_store_path(store, PART, NULL, err);
    char *path = folder ? signed_path(store, number, count + 1, err) : NULL;
    st = path ? es_folder_make(store->ops, folder, 0750, err) : ES_NO_MEMORY;
    if (st == ES_OK) {
        st = es_file_write(store->ops, path, ES_FILE_NEW, 0640, fresh, fresh_length, err);
    }
    free(path);
    free(folder);
    if (st != ES_OK) {
        free(fresh);
        return st;
    }
    *bytes = fresh;
    *length = fresh_length;
    return ES_OK;
}

#include "results/store/signed.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/store/inner.h"

#define PART   "certificates/signed"
#define ENDING ".json"
#define SEAL   ".seal.json"

char *es_store_version_path(const struct es_store *store, const char *number, size_t signatures,
                            const char *ending, struct es_error *err)
{
    char name[ES_STORE_NUMBER_MAX + 48];
    if (signatures == 1) {
        (void)snprintf(name, sizeof name, "%s%s", number, ending);
        return es_store_path(store, "certificates", name, err);
    }
    (void)snprintf(name, sizeof name, "%s.%zu%s", number, signatures, ending);
    return es_store_path(store, PART, name, err);
}

enum es_status es_store_version(struct es_store *store, const char *number, size_t signatures, char **bytes,
                                size_t *length, struct es_error *err)
{
    if (signatures == 1) {
        return es_store_certificate(store, number, bytes, length, err);
    }
    if (!es_store_is_name(number, ES_STORE_NUMBER_MAX - 1)) {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is not a certificate's number", number);
    }
    char *path = es_store_version_path(store, number, signatures, ENDING, err);
    enum es_status st =
        path ? es_file_read(store->ops, path, ES_DOCUMENT_MAX, bytes, length, err) : ES_NO_MEMORY;
    free(path);
    return st;
}

enum es_status es_store_latest(struct es_store *store, const char *number, char **bytes, size_t *length,
                               size_t *signatures, struct es_error *err)
{
    enum es_status st = es_store_certificate(store, number, bytes, length, err);
    size_t count = 1;
    while (st == ES_OK && count < ES_CERTIFICATE_SIGNATURES_MAX) {
        char *more = NULL;
        size_t more_length = 0;
        enum es_status read = es_store_version(store, number, count + 1, &more, &more_length, err);
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
                             size_t *signatures, struct es_error *err)
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
    char *path = folder ? es_store_version_path(store, number, count + 1, ENDING, err) : NULL;
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
    if (signatures) {
        *signatures = count + 1;
    }
    *bytes = fresh;
    *length = fresh_length;
    return ES_OK;
}

/* ---- Listing ---- */

static bool ends_with(const char *name, const char *ending)
{
    size_t length = strlen(name), tail = strlen(ending);
    return length > tail && strcmp(name + length - tail, ending) == 0;
}

/* "NUMBER.K.json" */
static bool take_name(const char *name, struct es_store_signed *out)
{
    size_t length = strlen(name) - (sizeof ENDING - 1);
    if (!ends_with(name, ENDING) || length < 3 || name[length - 2] != '.' || name[length - 1] < '2' ||
        name[length - 1] > '0' + ES_CERTIFICATE_SIGNATURES_MAX || length - 2 >= sizeof out->number) {
        return false;
    }
    *out = (struct es_store_signed){.signatures = (size_t)(name[length - 1] - '0')};
    memcpy(out->number, name, length - 2);
    return es_store_is_name(out->number, sizeof out->number - 1);
}

enum es_status es_store_signed_list(const struct es_store *store, struct es_store_signed **out, size_t *count,
                                    struct es_text *strange, struct es_error *err)
{
    struct es_names names = {0};
    enum es_status st = es_store_names(store, PART, &names, err);
    if (st != ES_OK) {
        return st;
    }
    struct es_store_signed *items = calloc(names.count + 1, sizeof *items);
    size_t n = 0;
    for (size_t i = 0; items && i < names.count; i++) {
        const char *name = names.items[i];
        if (ends_with(name, SEAL)) {
            continue;
        }
        if (take_name(name, &items[n])) {
            n++;
        } else if (strange) {
            es_text_printf(strange, "%s\n", name);
        }
    }
    es_names_free(&names);
    if (!items) {
        return es_fail(err, ES_NO_MEMORY, "no memory to list signed certificates");
    }
    *out = items;
    *count = n;
    return ES_OK;
}

#include <stdlib.h>
#include <string.h>

#include "results/store/key_register.h"
#include "rig/base/file.h"
#include "rig/client/trust.h"

#define LIST_LIMIT (4u << 20)

/* The same key in two places: a bound that stands in one of them holds. */
static void narrow(struct es_trusted_key *known, const struct es_trusted_key *again)
{
    if (known->from == NULL)
        known->from = again->from;
    if (known->until == NULL)
        known->until = again->until;
    if (known->roles == NULL)
        known->roles = again->roles;
    if (known->revoked == NULL || (again->revoked != NULL && strcmp(again->revoked, known->revoked) < 0)) {
        known->revoked = again->revoked;
        known->because = again->because;
    }
}

static enum es_status add(struct es_trust *trust, const struct es_trusted_key *key, const char *name,
                          struct es_error *err)
{
    for (size_t i = 0; i < trust->count; i++)
        if (strcmp(trust->keys[i].key.thumbprint, key->key.thumbprint) == 0) {
            narrow(&trust->keys[i], key);
            return ES_OK;
        }
    if (trust->count == ES_TRUST_MAX)
        return es_fail(err, ES_RANGE, "more than %d trusted keys are given", ES_TRUST_MAX);
    char *copy = strdup(name);
    if (copy == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the trusted keys");
    trust->names[trust->count] = copy;
    trust->keys[trust->count] = *key;
    trust->keys[trust->count].name = copy;
    trust->count++;
    return ES_OK;
}

static enum es_status add_file(struct es_trust *trust, const char *path, struct es_error *err)
{
    struct es_trusted_key key = {0};
    enum es_status s = es_public_key_load(path, &key.key, err);
    const char *slash = strrchr(path, '/');
    return s == ES_OK ? add(trust, &key, slash != NULL ? slash + 1 : path, err) : s;
}

static enum es_status add_all(struct es_trust *trust, const struct es_store_trust *list, struct es_error *err)
{
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < list->count; i++)
        s = add(trust, &list->items[i], list->items[i].name != NULL ? list->items[i].name : "", err);
    return s;
}

static enum es_status add_state(struct es_trust *trust, const char *state, struct es_error *err)
{
    struct es_store *store = NULL;
    enum es_status s = es_store_open(state, ES_STORE_READ, &store, err);
    if (s == ES_OK)
        s = es_store_trust(store, &trust->lists[trust->list_count], err);
    es_store_close(store);
    return s == ES_OK ? add_all(trust, &trust->lists[trust->list_count++], err) : s;
}

static enum es_status add_list(struct es_trust *trust, const char *path, struct es_error *err)
{
    struct es_store_trust *list = &trust->lists[trust->list_count];
    char *bytes = NULL;
    size_t length = 0;
    enum es_status s = es_file_read(NULL, path, LIST_LIMIT, &bytes, &length, err);
    if (s == ES_OK)
        s = es_key_list_parse(path, bytes, length, list, err);
    free(bytes);
    if (s != ES_OK)
        return s;
    trust->list_count++;
    return add_all(trust, list, err);
}

enum es_status es_trust_load_lists(const struct es_option_list *lists, struct es_trust *trust,
                                   struct es_error *err)
{
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < lists->count; i++)
        s = add_list(trust, lists->items[i], err);
    return s;
}

enum es_status es_trust_load(const struct es_option_list *files, const char *state, struct es_trust *trust,
                             struct es_error *err)
{
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < files->count; i++)
        s = add_file(trust, files->items[i], err);
    return s == ES_OK && state != NULL ? add_state(trust, state, err) : s;
}

void es_trust_clear(struct es_trust *trust)
{
    for (size_t i = 0; i < trust->count; i++)
        free(trust->names[i]);
    trust->count = 0;
    for (size_t i = 0; i < trust->list_count; i++)
        es_store_trust_free(&trust->lists[i]);
    trust->list_count = 0;
}

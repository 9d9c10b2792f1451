#include <stdlib.h>
#include <string.h>

#include "results/store/store.h"
#include "rig/client/trust.h"

static enum es_status add(struct es_trust *trust, const struct es_trusted_key *key, const char *name,
                          struct es_error *err)
{
    for (size_t i = 0; i < trust->count; i++)
        if (strcmp(trust->keys[i].key.thumbprint, key->key.thumbprint) == 0)
            return ES_OK; /* the same key in two files */
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

static enum es_status add_state(struct es_trust *trust, const char *state, struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_store_trust list = {0};
    enum es_status s = es_store_open(state, ES_STORE_READ, &store, err);
    if (s == ES_OK)
        s = es_store_trust(store, &list, err);
    for (size_t i = 0; s == ES_OK && i < list.count; i++)
        s = add(trust, &list.items[i], list.items[i].name != NULL ? list.items[i].name : "", err);
    es_store_trust_free(&list);
    es_store_close(store);
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
}

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/inner.h"

#define PART    "keys"
#define TRUSTED "keys/trusted"
#define PRIVATE "bench.pem"
#define PEM     "bench.pub.pem"
#define JWK     "bench.pub.jwk"

static enum es_status write_public(struct es_store *store, const char *name, const char *text,
                                   struct es_error *err)
{
    char *path = es_store_path(store, PART, name, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    enum es_status st = es_file_write(store->ops, path, ES_FILE_REPLACE, 0644, text, strlen(text), err);
    free(path);
    return st;
}

/* The private key comes last: while it is missing, nothing was made and making can be tried again. */
static enum es_status write_all(struct es_store *store, const struct es_key *key, const char *private_path,
                                struct es_error *err)
{
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    es_public_key_pem(es_key_public(key), text);
    enum es_status st = write_public(store, PEM, text, err);
    if (st != ES_OK) {
        return st;
    }
    es_public_key_jwk(es_key_public(key), text);
    st = write_public(store, JWK, text, err);
    return st == ES_OK ? es_key_save(key, private_path, err) : st;
}

enum es_status es_store_key_create(struct es_store *store, struct es_public_key *made, struct es_error *err)
{
    struct es_key *key = NULL;
    enum es_status st = es_store_may_write(store, err);
    if (st != ES_OK) {
        return st;
    }
    char *path = es_store_path(store, PART, PRIVATE, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    if (access(path, F_OK) == 0) {
        st = es_fail(err, ES_REFUSED, "%s: this bench has a signing key already; it is never overwritten",
                     path);
    } else {
        st = es_key_create(&key, err);
    }
    if (st == ES_OK) {
        st = write_all(store, key, path, err);
    }
    if (st == ES_OK) {
        *made = *es_key_public(key);
    }
    es_key_free(key);
    free(path);
    return st;
}

enum es_status es_store_key_load(struct es_store *store, struct es_key **out, struct es_error *err)
{
    char *path = es_store_path(store, PART, PRIVATE, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    enum es_status st = es_key_load(path, out, err);
    if (st == ES_NOT_FOUND) {
        st = es_fail(err, ES_NOT_FOUND, "%s: this bench has no signing key yet. Make one: endstop key create",
                     path);
    }
    free(path);
    return st;
}

/* ---- Trust ---- */

void es_store_trust_free(struct es_store_trust *trust)
{
    for (size_t i = 0; i < trust->count; i++) {
        free((char *)(uintptr_t)trust->items[i].name);
        free((char *)(uintptr_t)trust->items[i].revoked);
    }
    free(trust->items);
    *trust = (struct es_store_trust){0};
}

static enum es_status trust_file(struct es_store *store, const char *part, const char *file, const char *name,
                                 struct es_store_trust *trust, struct es_error *err)
{
    char *path = es_store_path(store, part, file, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    struct es_trusted_key *t = &trust->items[trust->count];
    enum es_status st = es_public_key_load(path, &t->key, err);
    if (st == ES_OK) {
        t->name = strdup(name);
        st = t->name ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for trusted keys");
    }
    if (st == ES_OK) {
        trust->count++;
    }
    free(path);
    return st;
}

enum es_status es_store_trust(struct es_store *store, struct es_store_trust *out, struct es_error *err)
{
    struct es_names names;
    enum es_status st = es_store_names(store, TRUSTED, &names, err);
    if (st != ES_OK) {
        return st;
    }
    struct es_store_trust trust = {.items = calloc(names.count + 1, sizeof *trust.items)};
    if (!trust.items) {
        st = es_fail(err, ES_NO_MEMORY, "no memory for trusted keys");
    } else {
        st = trust_file(store, PART, PEM, "bench", &trust, err);
        st = st == ES_NOT_FOUND ? ES_OK : st; /* a store without a key of its own, only for checking */
    }
    for (size_t i = 0; i < names.count && st == ES_OK; i++) {
        char name[128];
        (void)snprintf(name, sizeof name, "%.*s", (int)strcspn(names.items[i], "."), names.items[i]);
        st = trust_file(store, TRUSTED, names.items[i], name, &trust, err);
    }
    es_names_free(&names);
    if (st != ES_OK) {
        es_store_trust_free(&trust);
        return st;
    }
    *out = trust;
    return ES_OK;
}

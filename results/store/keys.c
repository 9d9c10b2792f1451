/* The bench's own key, and whom it trusts.
 *
 * Replacing the bench's key, each step durable before the next:
 *   1. keys/next.pem            the new key
 *   2. one write of the book    the old key "replaced", the new one "made"
 *   3. keys/next.pem -> keys/bench.pem, public halves written
 * A crash before 2 leaves a next.pem that the book does not know: it is removed. After 2 the next use
 * finishes 3. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/inner.h"
#include "results/store/key_register.h"
#include "rig/base/clock.h"

#define PART    "keys"
#define TRUSTED "keys/trusted"
#define PRIVATE "bench.pem"
#define NEXT    "next.pem"
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

static enum es_status write_publics(struct es_store *store, const struct es_public_key *key,
                                    struct es_error *err)
{
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    es_public_key_pem(key, text);
    enum es_status st = write_public(store, PEM, text, err);
    if (st == ES_OK) {
        es_public_key_jwk(key, text);
        st = write_public(store, JWK, text, err);
    }
    return st;
}

static enum es_status save(const struct es_key *key, const char *path, const struct es_store_key_order *order,
                           struct es_error *err)
{
    return order->passphrase ? es_key_save_sealed(key, path, ES_FILE_NEW, order->passphrase, order->cost, err)
                             : es_key_save(key, path, err);
}

static struct es_key_change made(const struct es_key *key, const struct es_store_key_order *order)
{
    const struct es_public_key *public = es_key_public(key);
    return (struct es_key_change){.what = "made",
                                  .who = order->who,
                                  .when = order->when,
                                  .key = public->thumbprint,
                                  .name = "bench",
                                  .roles = ES_ROLE_OF_BENCH,
                                  .public = public};
}

/* The private key comes last: while it is missing, nothing was made and making can be tried again. The book
 * then has a key too many, which nobody holds. */
static enum es_status make_first(struct es_store *store, const char *path,
                                 const struct es_store_key_order *order, struct es_public_key *out,
                                 struct es_error *err)
{
    struct es_key *key = NULL;
    enum es_status st = es_key_create(&key, err);
    if (st == ES_OK) {
        const struct es_key_change change = made(key, order);
        st = es_key_register_add(store, &change, 1, err);
    }
    if (st == ES_OK) {
        st = write_publics(store, es_key_public(key), err);
    }
    if (st == ES_OK) {
        st = save(key, path, order, err);
    }
    if (st == ES_OK) {
        *out = *es_key_public(key);
    }
    es_key_free(key);
    return st;
}

enum es_status es_store_key_create(struct es_store *store, const struct es_store_key_order *order,
                                   struct es_public_key *made, struct es_error *err)
{
    enum es_status st = es_store_may_write(store, err);
    if (st != ES_OK) {
        return st;
    }
    char *path = es_store_path(store, PART, PRIVATE, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    st = access(path, F_OK) == 0
             ? es_fail(err, ES_REFUSED,
                       "%s: this bench has a signing key already; it is never overwritten (a "
                       "new one takes its place by endstop key rotate)",
                       path)
             : make_first(store, path, order, made, err);
    free(path);
    return st;
}

/* ---- Replacing ---- */

static bool book_knows(const struct es_store_trust *book, const char *thumbprint)
{
    for (size_t i = 0; i < book->count; i++) {
        if (strcmp(book->items[i].key.thumbprint, thumbprint) == 0) {
            return true;
        }
    }
    return false;
}

/* Step 3. `key`: the new one. */
static enum es_status put_in_place(struct es_store *store, const char *next, const char *path,
                                   const struct es_public_key *key, struct es_error *err)
{
    const struct es_file_ops *ops = store->ops ? store->ops : es_file_system();
    enum es_status st = write_publics(store, key, err);
    if (st == ES_OK && ops->rename(ops->self, next, path) != 0) {
        st = es_fail(err, ES_IO, "%s: the new key cannot take the old one's place", path);
    }
    return st;
}

/* The old key's line and the new one's. A bench from before the book has its old key written down first. */
static enum es_status write_book(struct es_store *store, const struct es_key *old, const struct es_key *fresh,
                                 const struct es_store_key_order *order, struct es_error *err)
{
    struct es_store_trust book = {0};
    struct es_key_change changes[2] = {
        {.what = "replaced", .who = order->who, .when = order->when, .key = es_key_public(old)->thumbprint},
        made(fresh, order)};
    enum es_status st = es_key_register_read(store, &book, err);
    if (st == ES_OK && !book_knows(&book, es_key_public(old)->thumbprint)) {
        struct es_key_change first = made(old, order);
        first.from = "1970-01-01T00:00:00Z"; /* nobody wrote down when */
        st = es_key_register_add(store, &first, 1, err);
    }
    es_store_trust_free(&book);
    return st == ES_OK ? es_key_register_add(store, changes, 2, err) : st;
}

static enum es_status rotate(struct es_store *store, const char *path, const char *next,
                             const struct es_store_key_order *order, struct es_public_key *out,
                             struct es_error *err)
{
    struct es_key *old = NULL;
    struct es_key *fresh = NULL;
    enum es_status st = es_key_load_with(path, order->old_passphrase, &old, err);
    if (st == ES_OK) {
        st = es_key_create(&fresh, err);
    }
    if (st == ES_OK) {
        st = save(fresh, next, order, err);
    }
    if (st == ES_OK) {
        st = write_book(store, old, fresh, order, err);
    }
    if (st == ES_OK) {
        st = put_in_place(store, next, path, es_key_public(fresh), err);
    }
    if (st == ES_OK) {
        *out = *es_key_public(fresh);
    }
    es_key_free(fresh);
    es_key_free(old);
    return st;
}

/* What an earlier replacing left when the program was killed: finished or taken back. */
static enum es_status settle_next(struct es_store *store, const char *path, const char *next,
                                  const struct es_passphrase *passphrase, struct es_error *err)
{
    struct es_store_trust book = {0};
    struct es_key *key = NULL;
    if (access(next, F_OK) != 0) {
        return ES_OK;
    }
    enum es_status st = es_key_load_with(next, passphrase, &key, err);
    if (st == ES_OK) {
        st = es_key_register_read(store, &book, err);
    }
    if (st == ES_OK) {
        st = book_knows(&book, es_key_public(key)->thumbprint)
                 ? put_in_place(store, next, path, es_key_public(key), err)
                 : es_file_remove(store->ops, next, err);
    }
    es_store_trust_free(&book);
    es_key_free(key);
    return st;
}

enum es_status es_store_key_check(struct es_store *store, const struct es_public_key *key, const char *role,
                                  const char *when, struct es_error *err)
{
    struct es_store_trust book = {0};
    char why[ES_DOUBT_MAX];
    enum es_status st = es_key_register_read(store, &book, err);
    bool known = false;
    for (size_t i = 0; i < book.count && st == ES_OK; i++) {
        const struct es_trusted_key *k = &book.items[i];
        if (strcmp(k->key.thumbprint, key->thumbprint) != 0) {
            continue;
        }
        known = true;
        if (es_trusted_key_counts(k, role, when, why) != ES_CERTIFICATE_VALID) {
            st = es_fail(err, ES_REFUSED, "key %s may not sign as \"%s\" at %.19sZ: %s", key->thumbprint,
                         role, when, why);
        }
    }
    es_store_trust_free(&book);
    return st != ES_OK || known
               ? st
               : es_fail(err, ES_NOT_FOUND, "key %s does not stand in the bench's book of keys",
                         key->thumbprint);
}

/* A key that is out of force must not sign any more: nobody would take it for valid. One from before there
 * was a book is let pass. */
static enum es_status check_in_force(struct es_store *store, const struct es_public_key *key,
                                     struct es_error *err)
{
    char now[32];
    struct es_error why = {0};
    es_clock_wall_text(now);
    enum es_status st = es_store_key_check(store, key, ES_ROLE_OF_BENCH, now, &why);
    if (st == ES_NOT_FOUND) {
        return ES_OK;
    }
    return st == ES_OK ? st
                       : es_fail(err, st, "%s%s", why.text,
                                 st == ES_REFUSED ? "; make a new one: endstop key rotate" : "");
}

static enum es_status load(struct es_store *store, const char *path, const struct es_passphrase *passphrase,
                           struct es_key **out, struct es_error *err)
{
    struct es_key *key = NULL;
    enum es_status st = es_key_load_with(path, passphrase, &key, err);
    if (st == ES_OK) {
        st = check_in_force(store, es_key_public(key), err);
    }
    if (st == ES_OK) {
        *out = key;
    } else {
        es_key_free(key);
    }
    return st;
}

static enum es_status with_paths(struct es_store *store, const struct es_store_key_order *order,
                                 struct es_public_key *out, struct es_key **loaded,
                                 const struct es_passphrase *passphrase, struct es_error *err)
{
    char *path = es_store_path(store, PART, PRIVATE, err);
    char *next = path ? es_store_path(store, PART, NEXT, err) : NULL;
    enum es_status st = next ? ES_OK : ES_NO_MEMORY;
    if (st == ES_OK && store->mode == ES_STORE_WRITE) {
        st = settle_next(store, path, next, passphrase, err);
    }
    if (st == ES_OK) {
        st = order ? rotate(store, path, next, order, out, err) : load(store, path, passphrase, loaded, err);
    }
    if (st == ES_NOT_FOUND) {
        st = es_fail(err, ES_NOT_FOUND, "%s: this bench has no signing key yet. Make one: endstop key create",
                     path);
    }
    free(next);
    free(path);
    return st;
}

enum es_status es_store_key_rotate(struct es_store *store, const struct es_store_key_order *order,
                                   struct es_public_key *made, struct es_error *err)
{
    enum es_status st = es_store_may_write(store, err);
    return st == ES_OK ? with_paths(store, order, made, NULL, order->old_passphrase, err) : st;
}

enum es_status es_store_key_load(struct es_store *store, struct es_key **out, struct es_error *err)
{
    return es_store_key_load_with(store, NULL, out, err);
}

enum es_status es_store_key_load_with(struct es_store *store, const struct es_passphrase *passphrase,
                                      struct es_key **out, struct es_error *err)
{
    return with_paths(store, NULL, NULL, out, passphrase, err);
}

/* ---- Trust ---- */

void es_store_trust_free(struct es_store_trust *trust)
{
    for (size_t i = 0; i < trust->count; i++) {
        struct es_trusted_key *t = &trust->items[i];
        const char *texts[] = {t->name, t->from, t->until, t->revoked, t->because, t->roles};
        for (size_t k = 0; k < sizeof texts / sizeof texts[0]; k++) {
            free((char *)(uintptr_t)texts[k]);
        }
    }
    free(trust->items);
    *trust = (struct es_store_trust){0};
}

/* A key that the book knows already is not taken again: the book says more of it. */
static enum es_status trust_file(struct es_store *store, const char *part, const char *file, const char *name,
                                 struct es_store_trust *trust, struct es_error *err)
{
    struct es_trusted_key t = {0};
    char *path = es_store_path(store, part, file, err);
    enum es_status st = path ? es_public_key_load(path, &t.key, err) : ES_NO_MEMORY;
    free(path);
    if (st != ES_OK || book_knows(trust, t.key.thumbprint)) {
        return st;
    }
    struct es_trusted_key *items = reallocarray(trust->items, trust->count + 1, sizeof *items);
    if (items) {
        trust->items = items;
        t.name = strdup(name);
    }
    if (!t.name) {
        return es_fail(err, ES_NO_MEMORY, "no memory for trusted keys");
    }
    trust->items[trust->count++] = t;
    return ES_OK;
}

enum es_status es_store_trust(struct es_store *store, struct es_store_trust *out, struct es_error *err)
{
    struct es_names names = {0};
    struct es_store_trust trust = {0};
    enum es_status st = es_key_register_read(store, &trust, err);
    if (st != ES_OK) {
        return st;
    }
    st = trust_file(store, PART, PEM, "bench", &trust, err);
    st = st == ES_NOT_FOUND ? ES_OK : st; /* a store without a key of its own, only for checking */
    if (st == ES_OK) {
        st = es_store_names(store, TRUSTED, &names, err);
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

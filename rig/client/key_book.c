#include "rig/client/key_book.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/console/table.h"

static enum es_status open_book(const struct es_key_arguments *a, struct es_store **store,
                                struct es_error *err)
{
    if (a->state == NULL)
        return es_fail(err, ES_USAGE,
                       "the book of keys is in a bench's state folder: name it by --state DIR");
    return es_store_open(a->state, ES_STORE_READ, store, err);
}

/* "revoked 2026-02-03 10:11: laptop lost" */
static void state_of(const struct es_trusted_key *k, char *out, size_t size)
{
    if (k->revoked != NULL)
        (void)snprintf(out, size, "revoked from %.10s %.5s: %s", k->revoked, k->revoked + 11,
                       k->because != NULL ? k->because : "");
    else if (k->until != NULL)
        (void)snprintf(out, size, "replaced %.10s %.5s", k->until, k->until + 11);
    else
        (void)snprintf(out, size, "in force");
}

static enum es_status print_book(const struct es_key_arguments *a, const struct es_store_trust *keys,
                                 struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Key", .wraps = true, .least = 12},
        {.title = "Whose", .wraps = true},
        {.title = "For", .wraps = true},
        {.title = "From (UTC)"},
        {.title = "State", .wraps = true, .least = 10},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < keys->count; i++) {
        const struct es_trusted_key *k = &keys->items[i];
        char state[400], from[24] = "";
        state_of(k, state, sizeof state);
        if (k->from != NULL)
            (void)snprintf(from, sizeof from, "%.10s %.5s", k->from, k->from + 11);
        const char *cells[] = {k->key.thumbprint, k->name != NULL ? k->name : "",
                               k->roles != NULL ? k->roles : "anything", from, state};
        es_table_row(table, k->revoked != NULL ? ES_STRONG : ES_PLAIN, cells);
    }
    enum es_status s = ES_OK;
    if (table != NULL && es_table_rows(table) == 0)
        puts("no keys");
    else
        s = es_table_print(table, a->screen->width, 0, a->screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

enum es_status es_key_book_list(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_store_trust keys = {0};
    char *json = NULL;
    (void)path;
    enum es_status s = open_book(a, &store, err);
    if (s == ES_OK)
        s = es_store_trust(store, &keys, err);
    if (s == ES_OK && a->json)
        s = es_key_list_write(&keys, &json, err);
    else if (s == ES_OK)
        s = print_book(a, &keys, err);
    if (json != NULL)
        puts(json);
    free(json);
    es_store_trust_free(&keys);
    es_store_close(store);
    return s;
}

static bool are_roles(const char *roles)
{
    return strcmp(roles, "bench") == 0 || strcmp(roles, "release") == 0 || strcmp(roles, "void") == 0 ||
           strcmp(roles, "release void") == 0;
}

enum es_status es_key_book_trust(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_public_key key;
    const char *roles = a->roles != NULL ? a->roles : "release void";
    (void)path;
    if (a->name == NULL)
        return es_fail(err, ES_USAGE, "--name NAME is missing: whose key is it?");
    if (!are_roles(roles))
        return es_fail(
            err, ES_USAGE,
            "a key is trusted as \"bench\", \"release\", \"void\" or \"release void\", not as \"%s\"", roles);
    enum es_status s = open_book(a, &store, err);
    if (s == ES_OK)
        s = es_public_key_load(a->what.items[1], &key, err);
    if (s == ES_OK) {
        const struct es_key_change change = {.what = "trusted",
                                             .who = a->person,
                                             .when = a->now,
                                             .key = key.thumbprint,
                                             .from = a->from,
                                             .name = a->name,
                                             .roles = roles,
                                             .public = &key};
        s = es_key_register_add(store, &change, 1, err);
    }
    es_store_close(store);
    if (s == ES_OK)
        es_key_show(a, &key, a->what.items[1]);
    return s;
}

/* A thumbprint as it stands; else that of the key in the file. */
static enum es_status thumbprint_of(const char *word, char out[static ES_THUMBPRINT_SIZE],
                                    struct es_error *err)
{
    struct es_public_key key;
    if (strlen(word) == ES_THUMBPRINT_SIZE - 1 && access(word, F_OK) != 0) {
        memcpy(out, word, ES_THUMBPRINT_SIZE);
        return ES_OK;
    }
    enum es_status s = es_public_key_load(word, &key, err);
    if (s == ES_OK)
        memcpy(out, key.thumbprint, ES_THUMBPRINT_SIZE);
    return s;
}

/* A key that only lies in keys/ as a file is written into the book first, or nothing could be said of it. */
static enum es_status enter(struct es_store *store, const struct es_key_arguments *a, const char *thumbprint,
                            struct es_error *err)
{
    struct es_store_trust all = {0}, book = {0};
    enum es_status s = es_key_register_read(store, &book, err);
    bool known = false;
    for (size_t i = 0; i < book.count; i++)
        known = known || strcmp(book.items[i].key.thumbprint, thumbprint) == 0;
    if (s == ES_OK && !known)
        s = es_store_trust(store, &all, err);
    for (size_t i = 0; i < all.count && s == ES_OK; i++) {
        const struct es_trusted_key *k = &all.items[i];
        if (strcmp(k->key.thumbprint, thumbprint) != 0)
            continue;
        const struct es_key_change change = {.what = "trusted",
                                             .who = a->person,
                                             .when = a->now,
                                             .key = thumbprint,
                                             .from = "1970-01-01T00:00:00Z", /* nobody wrote down when */
                                             .name = k->name,
                                             .public = &k->key};
        s = es_key_register_add(store, &change, 1, err);
    }
    es_store_trust_free(&all);
    es_store_trust_free(&book);
    return s;
}

enum es_status es_key_book_revoke(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    struct es_store *store = NULL;
    char thumbprint[ES_THUMBPRINT_SIZE];
    (void)path;
    if (a->reason == NULL)
        return es_fail(err, ES_USAGE, "--reason TEXT is missing: everyone who checks is told why");
    enum es_status s = open_book(a, &store, err);
    if (s == ES_OK)
        s = thumbprint_of(a->what.items[1], thumbprint, err);
    if (s == ES_OK)
        s = enter(store, a, thumbprint, err);
    if (s == ES_OK) {
        const struct es_key_change change = {.what = "revoked",
                                             .who = a->person,
                                             .when = a->now,
                                             .key = thumbprint,
                                             .from = a->from,
                                             .reason = a->reason};
        s = es_key_register_add(store, &change, 1, err);
    }
    es_store_close(store);
    if (s == ES_OK)
        printf("Revoked %s from %s on: %s\nGive those who check certificates the new list: endstop key list "
               "--json --state %s\n",
               thumbprint, a->from != NULL ? a->from : a->now, a->reason, a->state);
    return s;
}

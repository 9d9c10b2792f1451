#include "results/store/books.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/inner.h"

#define BOOK_MOST (16u << 20)

void es_store_books_free(struct es_store_books *books)
{
    for (size_t i = 0; i < books->count; i++) {
        free(books->items[i].path);
    }
    free(books->items);
    *books = (struct es_store_books){.items = NULL};
}

/* Adds one when its file is there. */
static enum es_status add(struct es_store_books *books, char *path, const char *name, struct es_error *err)
{
    if (!path) {
        return ES_NO_MEMORY;
    }
    if (access(path, F_OK) != 0) {
        free(path);
        return ES_OK;
    }
    struct es_store_book *items = reallocarray(books->items, books->count + 1, sizeof *items);
    if (!items) {
        free(path);
        return es_fail(err, ES_NO_MEMORY, "no memory to list the books");
    }
    books->items = items;
    items[books->count] = (struct es_store_book){.path = path};
    (void)snprintf(items[books->count++].name, ES_STORE_NUMBER_MAX, "%s", name);
    return ES_OK;
}

enum es_status es_store_books(const struct es_store *store, struct es_store_books *out, struct es_error *err)
{
    struct es_store_books books = {.items = NULL};
    struct es_names jobs = {0};
    enum es_status st =
        add(&books, es_store_path(store, "keys", "register.jsonl", err), "register.jsonl", err);
    if (st == ES_OK) {
        st = add(&books, es_store_path(store, "repairs.jsonl", NULL, err), "repairs.jsonl", err);
    }
    if (st == ES_OK) {
        st = es_store_names(store, "jobs", &jobs, err);
    }
    for (size_t i = 0; i < jobs.count && st == ES_OK; i++) {
        const char *name = jobs.items[i];
        size_t length = strlen(name);
        if (length > 6 && length < ES_STORE_NUMBER_MAX && strcmp(name + length - 6, ".jsonl") == 0) {
            st = add(&books, es_store_path(store, "jobs", name, err), name, err);
        }
    }
    es_names_free(&jobs);
    if (st != ES_OK) {
        es_store_books_free(&books);
        return st;
    }
    *out = books;
    return ES_OK;
}

enum es_status es_store_books_log_path(const struct es_store *store, char **path, struct es_error *err)
{
    char *made = es_store_path(store, "log", "books.log", err);
    if (!made) {
        return ES_NO_MEMORY;
    }
    *path = made;
    return ES_OK;
}

/* How many bytes are in the log already; ES_NOT_VALID when the book does not begin with them. */
static enum es_status find_logged(const struct es_store *store, const struct es_store_book *book,
                                  const char *bytes, size_t length, size_t *logged, struct es_error *err)
{
    uint64_t index = 0;
    struct es_hash hash;
    *logged = 0;
    if (!es_log_find(store->books, book->name, &index)) {
        return ES_OK;
    }
    const struct es_log_leaf *leaf = es_log_leaf(store->books, index);
    size_t size = strtoull(leaf->issued, NULL, 10);
    es_merkle_leaf(bytes, size < length ? size : length, &hash);
    if (size > length || !es_hash_equal(&hash, &leaf->hash)) {
        return es_fail(err, ES_NOT_VALID,
                       "%s is not what was logged: it was cut or altered (endstop audit integrity)",
                       book->path);
    }
    *logged = size;
    return ES_OK;
}

static enum es_status seal_book(struct es_store *store, const struct es_store_book *book,
                                const struct es_key *key, const char *when, struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0, logged = 0;
    char size[24];
    struct es_hash hash;
    struct es_log_proof proof;
    enum es_status st = es_file_read(store->ops, book->path, BOOK_MOST, &bytes, &length, err);
    if (st == ES_OK) {
        st = find_logged(store, book, bytes, length, &logged, err);
    }
    if (st == ES_OK && length > logged) {
        es_merkle_leaf(bytes, length, &hash);
        (void)snprintf(size, sizeof size, "%zu", length);
        st = es_log_append(store->books, &hash, book->name, size, key, when, &proof, err);
        if (st == ES_OK) {
            es_log_proof_clear(&proof); /* whoever has the book has the log */
        }
    }
    free(bytes);
    return st;
}

static enum es_status open_books(struct es_store *store, struct es_error *err)
{
    char *path = NULL;
    enum es_status st = store->books ? ES_OK : es_store_books_log_path(store, &path, err);
    if (st == ES_OK && !store->books) {
        st = es_log_open(store->ops, path, &store->books, err);
    }
    free(path);
    return st;
}

enum es_status es_store_seal_books(struct es_store *store, const struct es_key *key, const char *when,
                                   struct es_error *err)
{
    struct es_store_books books = {.items = NULL};
    struct es_error first = {0}, why = {0};
    enum es_status st = es_store_may_write(store, &why);
    if (st == ES_OK) {
        st = open_books(store, &why);
    }
    if (st == ES_OK) {
        st = es_store_books(store, &books, &why);
    }
    for (size_t i = 0; i < books.count && st == ES_OK; i++) {
        st = seal_book(store, &books.items[i], key, when, &why);
        if (st == ES_NOT_VALID) { /* one that was tampered with must not keep the others out */
            first = first.text[0] ? first : why;
            st = ES_OK;
        }
    }
    es_store_books_free(&books);
    if (st != ES_OK) { /* what is on the disk is looked at anew */
        es_log_close(store->books);
        store->books = NULL;
        return es_fail(err, st, "%s", why.text);
    }
    return first.text[0] ? es_fail(err, ES_NOT_VALID, "%s", first.text) : ES_OK;
}

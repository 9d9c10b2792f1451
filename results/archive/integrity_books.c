/* The books (keys, jobs, repairs) against their log, and the documents beside the recordings against their
 * names. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity_parts.h"
#include "results/store/books.h"
#include "results/store/lines.h"

#define BOOK_MOST (16u << 20)

static const struct es_store_book *find_book(const struct es_store_books *books, const char *name)
{
    for (size_t i = 0; i < books->count; i++) {
        if (strcmp(books->items[i].name, name) == 0) {
            return &books->items[i];
        }
    }
    return NULL;
}

static size_t size_of(const struct es_log_leaf *leaf)
{
    return strtoull(leaf->issued, NULL, 10);
}

static bool begins_with(const char *bytes, size_t length, const struct es_log_leaf *leaf)
{
    struct es_hash hash;
    size_t size = size_of(leaf);
    es_merkle_leaf(bytes, size < length ? size : length, &hash);
    return size <= length && es_hash_equal(&hash, &leaf->hash);
}

/* Number of the line that stands at byte `at`, from 1. */
static size_t line_at(const char *bytes, size_t length, size_t at)
{
    size_t line = 1;
    for (size_t i = 0; i < at && i < length; i++) {
        line += bytes[i] == '\n';
    }
    return line;
}

/* Which lines: between the last entry that still holds and the first that does not. */
static void tell_altered(struct es_integrity *i, const struct es_log *log, const char *name,
                         const char *bytes, size_t length)
{
    size_t sound = 0;
    for (uint64_t at = 0; at < es_log_size(log); at++) {
        const struct es_log_leaf *leaf = es_log_leaf(log, at);
        if (strcmp(leaf->number, name) != 0) {
            continue;
        }
        if (begins_with(bytes, length, leaf)) {
            sound = size_of(leaf);
            continue;
        }
        size_t first = line_at(bytes, length, sound);
        size_t last = line_at(bytes, length, size_of(leaf) - 1);
        es_integrity_found(i, "book", NULL,
                           "%s: what stands from line %zu to line %zu is not what was logged: lines were "
                           "altered, taken out, put in or moved%s",
                           name, first, last,
                           size_of(leaf) > length ? "; the file is shorter than it was" : "");
        return;
    }
}

/* Who wrote a line wrote it after the one above. */
static enum es_status check_order(struct es_integrity *i, const struct es_store_book *book,
                                  struct es_error *err)
{
    struct es_lines lines = {0};
    struct es_error why = {0};
    const char *before = "";
    enum es_status st = es_lines_read(NULL, book->path, &lines, &why);
    if (st != ES_OK && st != ES_NO_MEMORY) {
        es_integrity_found(i, "book", NULL, "%s: %s", book->name, why.text);
    }
    for (size_t k = 0; st == ES_OK && k < lines.count; k++) {
        const char *when =
            cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(es_lines_at(&lines, k), "when"));
        if (when && strncmp(when, before, 19) < 0) {
            es_integrity_found(
                i, "back-dated", NULL,
                "%s: line %zu says %s and stands after one of %s: back-dated, or the clock was "
                "set back",
                book->name, k + 1, when, before);
        }
        before = when ? when : before;
    }
    es_lines_free(&lines);
    return st == ES_NO_MEMORY ? es_fail(err, st, "%s", why.text) : ES_OK;
}

static enum es_status check_book(struct es_integrity *i, const struct es_log *log,
                                 const struct es_store_books *books, const struct es_log_leaf *leaf,
                                 struct es_error *err)
{
    const struct es_store_book *book = find_book(books, leaf->number);
    struct es_error why = {0};
    char *bytes = NULL;
    size_t length = 0;
    if (!book) {
        es_integrity_found(i, "book", NULL, "%s was logged with %zu bytes and is not there", leaf->number,
                           size_of(leaf));
        return ES_OK;
    }
    enum es_status st = es_file_read(NULL, book->path, BOOK_MOST, &bytes, &length, &why);
    if (st == ES_OK && !begins_with(bytes, length, leaf)) {
        tell_altered(i, log, leaf->number, bytes, length);
    } else if (st != ES_OK && st != ES_NO_MEMORY) {
        es_integrity_found(i, "book", NULL, "%s cannot be read: %s", leaf->number, why.text);
    }
    free(bytes);
    return st == ES_NO_MEMORY ? es_fail(err, st, "%s", why.text) : ES_OK;
}

static enum es_status check_log(struct es_integrity *i, struct es_log **log, struct es_error *err)
{
    const struct es_integrity_order *o = i->order;
    struct es_text faults = {0};
    char *path = NULL, *text = NULL;
    size_t length = 0;
    enum es_status st = es_store_books_log_path(o->store, &path, err);
    if (st == ES_OK) {
        st = es_file_read(NULL, path, SIZE_MAX / 4, &text, &length, err);
    }
    if (st == ES_OK) {
        st = es_log_parse("books.log", text, length, &faults, log, err);
    }
    if (st == ES_OK) {
        st = es_log_check_heads(text, length, o->trusted, o->trusted_count, &faults, err);
    }
    for (const char *p = faults.bytes; st == ES_OK && p && *p;) {
        size_t n = strcspn(p, "\n");
        es_integrity_found(i, "log", NULL, "of the books: %.*s", (int)n, p);
        p += n + (p[n] == '\n');
    }
    if (st == ES_OK && es_log_unfinished(*log) > 0 && faults.length == 0) {
        es_integrity_found(
            i, "log", NULL,
            "of the books: its last %zu bytes are no whole entry: an entry was interrupted (the "
            "daemon mends that when it starts) or cut",
            es_log_unfinished(*log));
    }
    es_text_free(&faults);
    free(text);
    free(path);
    return st;
}

enum es_status es_integrity_books(struct es_integrity *i, struct es_error *err)
{
    struct es_store_books books = {.items = NULL};
    struct es_log *log = NULL;
    enum es_status st = es_store_books(i->order->store, &books, err);
    if (st != ES_OK) {
        return st;
    }
    st = check_log(i, &log, err);
    if (st == ES_NOT_FOUND) {
        if (books.count > 0 && es_log_size(i->log) > 0) {
            es_integrity_found(i, "log", NULL,
                               "of the books (keys, jobs, repairs): there is none: it was taken away, or the "
                               "daemon has not run since they were begun");
        }
        st = ES_OK;
    }
    for (uint64_t at = 0; st == ES_OK && log && at < es_log_size(log); at++) {
        uint64_t newest = at;
        const struct es_log_leaf *leaf = es_log_leaf(log, at);
        if (es_log_find(log, leaf->number, &newest) && newest == at) {
            st = check_book(i, log, &books, leaf, err);
        }
    }
    for (size_t k = 0; st == ES_OK && k < books.count; k++) {
        st = check_order(i, &books.items[k], err);
    }
    es_log_close(log);
    es_store_books_free(&books);
    return st;
}

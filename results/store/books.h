/* The books of lines (lines.h) of a state folder, and their own log: log/books.log, in the form of
 * results/log. A leaf is a book as far as it went: its name, the hash of its bytes and, in the place of the
 * time of issue, how many bytes that were. So what was entered once can neither be altered nor taken away
 * without notice, while the book grows on.
 *
 *   keys/register.jsonl   the book of keys      repairs.jsonl   what was found     jobs/J-*.jsonl   the jobs
 */
#ifndef ES_STORE_BOOKS_H
#define ES_STORE_BOOKS_H

#include "results/store/store.h"

struct es_store_book {
    char name[ES_STORE_NUMBER_MAX]; /* in the log: the file's name without its folder */
    char *path;
};

struct es_store_books {
    struct es_store_book *items;
    size_t count;
};

/* Those that are there. Free with es_store_books_free. */
enum es_status es_store_books(const struct es_store *store, struct es_store_books *out,
                              struct es_error *err) ES_MUST_CHECK;
void es_store_books_free(struct es_store_books *books);

/* Enters every book that grew since it was entered last; signed by the bench's key at `when`, durable. One
 * that does not begin with what was entered is left alone: ES_NOT_VALID and which, after the others. */
enum es_status es_store_seal_books(struct es_store *store, const struct es_key *key, const char *when,
                                   struct es_error *err) ES_MUST_CHECK;

/* "FOLDER/log/books.log"; to be freed. */
enum es_status es_store_books_log_path(const struct es_store *store, char **path,
                                       struct es_error *err) ES_MUST_CHECK;

#endif

/* Internal to results/store. */
#ifndef ES_STORE_INNER_H
#define ES_STORE_INNER_H

#include "results/log/log.h"
#include "results/store/store.h"

struct es_store {
    const struct es_file_ops *ops; /* NULL: the system */
    char *folder;
    enum es_store_mode mode;
    int lock;              /* descriptor; -1 when reading */
    char *prefix;          /* of the numbers counted last; NULL: not counted */
    unsigned long highest; /* of that prefix */
    struct es_log *log;    /* open for appending; NULL: not yet, or closed after a failure */
    struct es_log *books;  /* that of the books (books.h); NULL: not open */
    bool caught_up;        /* every certificate that was there is in the log */
};

/* "FOLDER/part/name", allocated; `name` NULL: "FOLDER/part". NULL and err filled when memory is refused. */
char *es_store_path(const struct es_store *store, const char *part, const char *name, struct es_error *err);

/* ES_DISABLED unless the store was opened for writing. */
enum es_status es_store_may_write(const struct es_store *store, struct es_error *err) ES_MUST_CHECK;

/* Names in FOLDER/part that do not begin with a dot, sorted by strcmp; a missing folder has none. */
struct es_names {
    char **items;
    size_t count;
};
enum es_status es_store_names(const struct es_store *store, const char *part, struct es_names *out,
                              struct es_error *err) ES_MUST_CHECK;
void es_names_free(struct es_names *names);

/* Numbers of all certificate files, in their order, without ending. */
enum es_status es_store_numbers(const struct es_store *store, struct es_names *out,
                                struct es_error *err) ES_MUST_CHECK;

/* The file with so many signatures ("certificates/NUMBER.json" for 1, "certificates/signed/NUMBER.K.json"),
 * or with the ending ".seal.json" its proof. */
char *es_store_version_path(const struct es_store *store, const char *number, size_t signatures,
                            const char *ending, struct es_error *err);

/* 1 to `most` letters, digits, '-', '_', '.', not beginning with a dot: safe as a file's name. */
bool es_store_is_name(const char *text, size_t most);

/* Copy of the text member, or of "" when there is none. NULL when memory is refused. */
char *es_store_member(const cJSON *object, const char *name);

#endif

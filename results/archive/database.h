/* One connection to a database, SQLite or PostgreSQL behind the same calls. Statements are known by name
 * (statements.h), prepared once a connection, and take their values as parameters only.
 * A connection belongs to one thread at a time; several connections may be used at once.
 *
 * Errors: ES_TIMEOUT the database is locked by somebody else, or a transaction lost against another: try
 * again; ES_HANGUP the server is gone or cannot be reached; ES_IO disk full and the like; ES_REFUSED
 * permission, or a uniqueness that does not hold; ES_NOT_VALID the file is damaged or no database. */
#ifndef ES_ARCHIVE_DATABASE_H
#define ES_ARCHIVE_DATABASE_H

#include <stdint.h>

#include "results/archive/statements.h"
#include "rig/base/error.h"

enum es_value_kind { ES_VALUE_NULL, ES_VALUE_INTEGER, ES_VALUE_REAL, ES_VALUE_TEXT, ES_VALUE_BYTES };

struct es_value {
    enum es_value_kind kind;
    int64_t integer;
    double real;
    const char *text; /* borrowed; NUL-terminated */
    const void *bytes;
    size_t length; /* of text or bytes */
};

struct es_value es_value_text(const char *text); /* NULL: the null value */
struct es_value es_value_integer(int64_t value);
struct es_value es_value_real(double value); /* not finite: the null value */
struct es_value es_value_bytes(const void *bytes, size_t length);

/* A column's text or number, whatever its kind; "" and 0 (NAN for real) for null. */
const char *es_column_text(const struct es_value *value);
int64_t es_column_integer(const struct es_value *value);
double es_column_real(const struct es_value *value);

/* Called for each row; its values live until it returns. Anything but ES_OK ends the query with that. */
typedef enum es_status es_row_fn(void *self, const struct es_value *columns, size_t count,
                                 struct es_error *err);

struct es_database_ops {
    enum es_dialect dialect;
    void (*close)(void *self);
    /* `row` NULL: rows are thrown away. *changed (NULL allowed): rows written. */
    enum es_status (*run)(void *self, enum es_statement statement, const struct es_value *values,
                          size_t count, es_row_fn *row, void *row_self, int64_t *changed,
                          struct es_error *err);
    void (*wait)(void *self, int ms); /* NULL: it cannot be chosen */
};

struct es_database {
    const struct es_database_ops *ops;
    void *self;
    bool in_transaction;
    /* Tests: asked before every statement; anything but ES_OK is what the statement gives. */
    enum es_status (*before)(void *self, enum es_statement statement, struct es_error *err);
    void *before_self;
};

/* `path`: of the file; made when missing unless `read_only`. Waits up to 5 s for a lock. */
enum es_status es_sqlite_open(const char *path, bool read_only, struct es_database *out,
                              struct es_error *err) ES_MUST_CHECK;
/* `address`: postgresql://... as libpq takes it. Gives up after 5 s. */
enum es_status es_postgresql_open(const char *address, struct es_database *out,
                                  struct es_error *err) ES_MUST_CHECK;
/* How long to wait for somebody else's lock. */
void es_database_wait(struct es_database *db, int ms);
void es_database_close(struct es_database *db); /* a zeroed one allowed */

enum es_status es_database_run(struct es_database *db, enum es_statement statement,
                               const struct es_value *values, size_t count, es_row_fn *row, void *row_self,
                               int64_t *changed, struct es_error *err) ES_MUST_CHECK;

/* Transactions do not nest. `es_database_begin_read`: for reading only, everything as it is at one moment.
 * Finishing rolls back unless `status` is ES_OK; it returns `status`, or what went wrong when committing. */
enum es_status es_database_begin(struct es_database *db, struct es_error *err) ES_MUST_CHECK;
enum es_status es_database_begin_read(struct es_database *db, struct es_error *err) ES_MUST_CHECK;
enum es_status es_database_finish(struct es_database *db, enum es_status status,
                                  struct es_error *err) ES_MUST_CHECK;

#endif

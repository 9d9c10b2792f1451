#include "results/archive/database.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct es_value es_value_text(const char *text)
{
    return text ? (struct es_value){.kind = ES_VALUE_TEXT, .text = text, .length = strlen(text)}
                : (struct es_value){.kind = ES_VALUE_NULL};
}

struct es_value es_value_integer(int64_t value)
{
    return (struct es_value){.kind = ES_VALUE_INTEGER, .integer = value};
}

struct es_value es_value_real(double value)
{
    return isfinite(value) ? (struct es_value){.kind = ES_VALUE_REAL, .real = value}
                           : (struct es_value){.kind = ES_VALUE_NULL};
}

struct es_value es_value_bytes(const void *bytes, size_t length)
{
    return (struct es_value){.kind = ES_VALUE_BYTES, .bytes = bytes, .length = length};
}

const char *es_column_text(const struct es_value *value)
{
    return value->kind == ES_VALUE_TEXT ? value->text : "";
}

int64_t es_column_integer(const struct es_value *value)
{
    return value->kind == ES_VALUE_INTEGER ? value->integer
           : value->kind == ES_VALUE_TEXT  ? strtoll(value->text, NULL, 10) /* a sum comes as numeric */
                                           : 0;
}

double es_column_real(const struct es_value *value)
{
    return value->kind == ES_VALUE_REAL      ? value->real
           : value->kind == ES_VALUE_INTEGER ? (double)value->integer
                                             : NAN;
}

void es_database_wait(struct es_database *db, int ms)
{
    if (db->ops->wait) {
        db->ops->wait(db->self, ms);
    }
}

void es_database_close(struct es_database *db)
{
    if (db->ops) {
        db->ops->close(db->self);
    }
    *db = (struct es_database){.ops = NULL};
}

enum es_status es_database_run(struct es_database *db, enum es_statement statement,
                               const struct es_value *values, size_t count, es_row_fn *row, void *row_self,
                               int64_t *changed, struct es_error *err)
{
    if (db->before) {
        enum es_status st = db->before(db->before_self, statement, err);
        if (st != ES_OK) {
            return st;
        }
    }
    return db->ops->run(db->self, statement, values, count, row, row_self, changed, err);
}

static enum es_status begin(struct es_database *db, enum es_statement how, struct es_error *err)
{
    enum es_status st = es_database_run(db, how, NULL, 0, NULL, NULL, NULL, err);
    db->in_transaction = st == ES_OK;
    return st;
}

enum es_status es_database_begin(struct es_database *db, struct es_error *err)
{
    return begin(db, ES_SQL_BEGIN, err);
}

enum es_status es_database_begin_read(struct es_database *db, struct es_error *err)
{
    return begin(db, ES_SQL_BEGIN_READ, err);
}

enum es_status es_database_finish(struct es_database *db, enum es_status status, struct es_error *err)
{
    if (!db->in_transaction) {
        return status;
    }
    db->in_transaction = false;
    if (status == ES_OK) {
        status = es_database_run(db, ES_SQL_COMMIT, NULL, 0, NULL, NULL, NULL, err);
    }
    if (status != ES_OK) {
        /* A connection that is gone has rolled back by itself. */
        struct es_error ignored;
        (void)!es_database_run(db, ES_SQL_ROLLBACK, NULL, 0, NULL, NULL, NULL, &ignored);
    }
    return status;
}

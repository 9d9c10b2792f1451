#include <errno.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/database.h"

#define COLUMNS_MAX 40
#define LOCK_WAIT   5000 /* ms */

struct connection {
    sqlite3 *db;
    sqlite3_stmt *prepared[ES_SQL_COUNT];
};

static enum es_status failed(const struct connection *c, int code, struct es_error *err)
{
    const char *said = c->db ? sqlite3_errmsg(c->db) : sqlite3_errstr(code);
    switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return es_fail(err, ES_TIMEOUT, "the archive is locked by another program: %s", said);
    case SQLITE_NOMEM:
        return es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    case SQLITE_FULL:
        return es_fail(err, ES_IO, "the disk of the archive is full");
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return es_fail(
            err, ES_NOT_VALID,
            "the archive's file is damaged (%s). It can be made anew from the state folder: take the "
            "file away and run endstop archive fill",
            said);
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return es_fail(err, ES_REFUSED, "the archive may not be written: %s", said);
    case SQLITE_CONSTRAINT:
        return es_fail(err, ES_REFUSED, "the archive refuses it: %s", said);
    case SQLITE_CANTOPEN:
        return es_fail(err, ES_NOT_FOUND, "the archive cannot be opened: %s", said);
    default:
        return es_fail(err, ES_IO, "the archive failed: %s", said);
    }
}

static void close_connection(void *self)
{
    struct connection *c = self;
    for (size_t i = 0; i < ES_SQL_COUNT; i++) {
        (void)sqlite3_finalize(c->prepared[i]); /* repeats the last step's fault, which was told */
    }
    (void)sqlite3_close(c->db);
    free(c);
}

static int bind_one(sqlite3_stmt *s, int at, const struct es_value *v)
{
    switch (v->kind) {
    case ES_VALUE_INTEGER:
        return sqlite3_bind_int64(s, at, v->integer);
    case ES_VALUE_REAL:
        return sqlite3_bind_double(s, at, v->real);
    case ES_VALUE_TEXT:
        return sqlite3_bind_text64(s, at, v->text, v->length, SQLITE_STATIC, SQLITE_UTF8);
    case ES_VALUE_BYTES:
        return sqlite3_bind_blob64(s, at, v->bytes, v->length, SQLITE_STATIC);
    case ES_VALUE_NULL:
        break;
    }
    return sqlite3_bind_null(s, at);
}

static int bind_all(sqlite3_stmt *s, const struct es_value *values, size_t count)
{
    int code = SQLITE_OK;
    for (size_t i = 0; i < count && code == SQLITE_OK; i++) {
        char name[16];
        (void)sqlite3_snprintf(sizeof name, name, "$%d", (int)i + 1);
        int at = sqlite3_bind_parameter_index(s, name);
        code = at > 0 ? bind_one(s, at, &values[i]) : SQLITE_OK;
    }
    return code;
}

static struct es_value column(sqlite3_stmt *s, int i)
{
    struct es_value v = {.kind = ES_VALUE_NULL};
    switch (sqlite3_column_type(s, i)) {
    case SQLITE_INTEGER:
        v = es_value_integer(sqlite3_column_int64(s, i));
        break;
    case SQLITE_FLOAT:
        v = es_value_real(sqlite3_column_double(s, i));
        break;
    case SQLITE_TEXT:
        v.kind = ES_VALUE_TEXT;
        v.text = (const char *)sqlite3_column_text(s, i);
        v.length = (size_t)sqlite3_column_bytes(s, i);
        break;
    case SQLITE_BLOB:
        v.kind = ES_VALUE_BYTES;
        v.bytes = sqlite3_column_blob(s, i);
        v.length = (size_t)sqlite3_column_bytes(s, i);
        break;
    default:
        break;
    }
    return v;
}

static enum es_status hand_row(sqlite3_stmt *s, es_row_fn *row, void *row_self, struct es_error *err)
{
    struct es_value columns[COLUMNS_MAX];
    int count = sqlite3_column_count(s);
    count = count < COLUMNS_MAX ? count : COLUMNS_MAX;
    for (int i = 0; i < count; i++) {
        columns[i] = column(s, i);
    }
    return row(row_self, columns, (size_t)count, err);
}

static enum es_status run(void *self, enum es_statement statement, const struct es_value *values,
                          size_t count, es_row_fn *row, void *row_self, int64_t *changed,
                          struct es_error *err)
{
    struct connection *c = self;
    sqlite3_stmt **s = &c->prepared[statement];
    int code = *s ? SQLITE_OK
                  : sqlite3_prepare_v3(c->db, es_statement_text(statement, ES_DIALECT_SQLITE), -1,
                                       SQLITE_PREPARE_PERSISTENT, s, NULL);
    if (code == SQLITE_OK) {
        code = bind_all(*s, values, count);
    }
    enum es_status st = code == SQLITE_OK ? ES_OK : failed(c, code, err);
    while (st == ES_OK && (code = sqlite3_step(*s)) == SQLITE_ROW) {
        st = row ? hand_row(*s, row, row_self, err) : ES_OK;
    }
    if (st == ES_OK && code != SQLITE_DONE) {
        st = failed(c, code, err);
    }
    if (st == ES_OK && changed) {
        *changed = sqlite3_changes64(c->db);
    }
    if (*s) {
        (void)sqlite3_reset(*s); /* repeats the step's fault */
        (void)sqlite3_clear_bindings(*s);
    }
    return st;
}

static void wait_for(void *self, int ms)
{
    const struct connection *c = self;
    (void)sqlite3_busy_timeout(c->db, ms);
}

static const struct es_database_ops ops = {
    .dialect = ES_DIALECT_SQLITE, .close = close_connection, .run = run, .wait = wait_for};

static enum es_status set_up(struct connection *c, bool read_only, struct es_error *err)
{
    static const char *const settings[] = {"PRAGMA foreign_keys = ON", "PRAGMA journal_mode = WAL",
                                           "PRAGMA synchronous = FULL"};
    int code = sqlite3_busy_timeout(c->db, LOCK_WAIT);
    for (size_t i = 0; i < (read_only ? 1 : 3) && code == SQLITE_OK; i++) {
        code = sqlite3_exec(c->db, settings[i], NULL, NULL, NULL);
    }
    return code == SQLITE_OK ? ES_OK : failed(c, code, err);
}

enum es_status es_sqlite_open(const char *path, bool read_only, struct es_database *out, struct es_error *err)
{
    struct connection *c = calloc(1, sizeof *c);
    if (!c) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    }
    int flags = read_only ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;
    int code = sqlite3_open_v2(path, &c->db, flags | SQLITE_OPEN_NOMUTEX, NULL);
    enum es_status st = code == SQLITE_OK ? set_up(c, read_only, err) : failed(c, code, err);
    if (st != ES_OK) {
        close_connection(c);
        return es_error_context(err, st, "%s", path);
    }
    *out = (struct es_database){.ops = &ops, .self = c};
    return ES_OK;
}

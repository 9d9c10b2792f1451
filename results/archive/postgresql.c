#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/database.h"
#include "rig/base/text.h"

#define COLUMNS_MAX 40
#define VALUES_MAX  40

/* From the server's catalogue of types; they never change. */
enum {
    OID_BOOL = 16,
    OID_BYTEA = 17,
    OID_INT8 = 20,
    OID_INT2 = 21,
    OID_INT4 = 23,
    OID_FLOAT4 = 700,
    OID_FLOAT8 = 701
};

struct connection {
    PGconn *pg;
    bool prepared[ES_SQL_COUNT];
};

static void say_nothing(void *self, const PGresult *result)
{
    (void)self;
    (void)result;
}

/* The server's text ends with a line feed, and may have several lines: the first says it. */
static void first_line(const char *said, char out[static 256])
{
    while (*said == ' ' || *said == '\n') {
        said++;
    }
    (void)snprintf(out, 256, "%.*s", (int)strcspn(said, "\n"), said);
}

static enum es_status failed(const struct connection *c, const PGresult *result, struct es_error *err)
{
    const char *state = result ? PQresultErrorField(result, PG_DIAG_SQLSTATE) : NULL;
    char said[256];
    first_line(result && state ? PQresultErrorMessage(result) : PQerrorMessage(c->pg), said);
    state = state ? state : "";
    if (PQstatus(c->pg) == CONNECTION_BAD || !strncmp(state, "08", 2) || !strncmp(state, "57P", 3)) {
        return es_fail(err, ES_HANGUP, "the archive's server is gone: %s", said);
    }
    if (!strcmp(state, "40001") || !strcmp(state, "40P01") || !strcmp(state, "55P03")) {
        return es_fail(err, ES_TIMEOUT, "the archive is busy with another bench: %s", said);
    }
    if (!strncmp(state, "23", 2) || !strcmp(state, "42501") || !strncmp(state, "28", 2)) {
        return es_fail(err, ES_REFUSED, "the archive refuses it: %s", said);
    }
    if (!strcmp(state, "53100")) {
        return es_fail(err, ES_IO, "the disk of the archive is full");
    }
    return es_fail(err, ES_IO, "the archive failed: %s", said);
}

static void close_connection(void *self)
{
    struct connection *c = self;
    PQfinish(c->pg);
    free(c);
}

static bool went_well(const PGresult *result)
{
    ExecStatusType status = PQresultStatus(result);
    return status == PGRES_COMMAND_OK || status == PGRES_TUPLES_OK;
}

static enum es_status prepare(struct connection *c, enum es_statement statement, const char *name,
                              struct es_error *err)
{
    if (c->prepared[statement]) {
        return ES_OK;
    }
    PGresult *result = PQprepare(c->pg, name, es_statement_text(statement, ES_DIALECT_POSTGRESQL), 0, NULL);
    enum es_status st = went_well(result) ? ES_OK : failed(c, result, err);
    PQclear(result);
    c->prepared[statement] = st == ES_OK;
    return st;
}

/* Values as libpq takes them: bytes in binary, all others as text. */
struct parameters {
    const char *values[VALUES_MAX];
    int lengths[VALUES_MAX], formats[VALUES_MAX];
    char numbers[VALUES_MAX][32];
};

static void convert(const struct es_value *values, size_t count, struct parameters *p)
{
    for (size_t i = 0; i < count; i++) {
        const struct es_value *v = &values[i];
        p->values[i] = v->kind == ES_VALUE_NULL    ? NULL
                       : v->kind == ES_VALUE_TEXT  ? v->text
                       : v->kind == ES_VALUE_BYTES ? v->bytes
                                                   : p->numbers[i];
        p->formats[i] = v->kind == ES_VALUE_BYTES;
        p->lengths[i] = v->kind == ES_VALUE_BYTES ? (int)v->length : 0;
        if (v->kind == ES_VALUE_INTEGER) {
            (void)snprintf(p->numbers[i], sizeof p->numbers[i], "%lld", (long long)v->integer);
        } else if (v->kind == ES_VALUE_REAL) {
            (void)snprintf(p->numbers[i], sizeof p->numbers[i], "%.17g", v->real);
        }
    }
}

/* *owned: to be given back with PQfreemem. */
static bool column(const PGresult *result, int row, int i, struct es_value *v, unsigned char **owned)
{
    *v = (struct es_value){.kind = ES_VALUE_NULL};
    *owned = NULL;
    if (PQgetisnull(result, row, i)) {
        return true;
    }
    const char *text = PQgetvalue(result, row, i);
    switch (PQftype(result, i)) {
    case OID_INT2:
    case OID_INT4:
    case OID_INT8:
        *v = es_value_integer(strtoll(text, NULL, 10));
        return true;
    case OID_FLOAT4:
    case OID_FLOAT8:
        *v = es_value_real(strtod(text, NULL));
        return true;
    case OID_BYTEA:
        *owned = PQunescapeBytea((const unsigned char *)text, &v->length);
        v->kind = ES_VALUE_BYTES;
        v->bytes = *owned;
        return *owned != NULL;
    default:
        *v = es_value_text(text);
        return true;
    }
}

static enum es_status hand_row(const PGresult *result, int at, es_row_fn *row, void *row_self,
                               struct es_error *err)
{
    struct es_value columns[COLUMNS_MAX];
    unsigned char *owned[COLUMNS_MAX];
    int count = PQnfields(result) < COLUMNS_MAX ? PQnfields(result) : COLUMNS_MAX;
    bool ok = true;
    for (int i = 0; i < count; i++) {
        ok = column(result, at, i, &columns[i], &owned[i]) && ok;
    }
    enum es_status st = ok ? row(row_self, columns, (size_t)count, err)
                           : es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    for (int i = 0; i < count; i++) {
        PQfreemem(owned[i]);
    }
    return st;
}

static enum es_status run(void *self, enum es_statement statement, const struct es_value *values,
                          size_t count, es_row_fn *row, void *row_self, int64_t *changed,
                          struct es_error *err)
{
    struct connection *c = self;
    struct parameters p;
    char name[16];
    if (count > VALUES_MAX) {
        return es_fail(err, ES_INTERNAL, "too many values for a statement");
    }
    (void)snprintf(name, sizeof name, "es%d", (int)statement);
    enum es_status st = prepare(c, statement, name, err);
    if (st != ES_OK) {
        return st;
    }
    convert(values, count, &p);
    PGresult *result = PQexecPrepared(c->pg, name, (int)count, p.values, p.lengths, p.formats, 0);
    st = went_well(result) ? ES_OK : failed(c, result, err);
    for (int i = 0; st == ES_OK && row && i < PQntuples(result); i++) {
        st = hand_row(result, i, row, row_self, err);
    }
    if (st == ES_OK && changed) {
        *changed = strtoll(PQcmdTuples(result), NULL, 10);
    }
    PQclear(result);
    return st;
}

static const struct es_database_ops ops = {
    .dialect = ES_DIALECT_POSTGRESQL, .close = close_connection, .run = run};

enum es_status es_postgresql_open(const char *address, struct es_database *out, struct es_error *err)
{
    /* What the address itself says comes after these, and counts. */
    const char *const names[] = {"connect_timeout", "tcp_user_timeout", "keepalives_idle", "application_name",
                                 "options",         "dbname",           "client_encoding", NULL};
    const char *const values[] = {"5",     "10000", "10", "endstop", "-c lock_timeout=10s",
                                  address, "UTF8",  NULL};
    struct connection *c = calloc(1, sizeof *c);
    if (!c) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    }
    c->pg = PQconnectdbParams(names, values, 1);
    if (!c->pg) {
        free(c);
        return es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    }
    (void)PQsetNoticeReceiver(c->pg, say_nothing, NULL);
    if (PQstatus(c->pg) != CONNECTION_OK) {
        char said[256];
        first_line(PQerrorMessage(c->pg), said);
        close_connection(c);
        return es_fail(err, ES_HANGUP, "the archive's server cannot be reached: %s", said);
    }
    *out = (struct es_database){.ops = &ops, .self = c};
    return ES_OK;
}

#include "results/archive/archive.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/derive.h"
#include "rig/base/text.h"

/* ---- Opening ---- */

static bool is_server(const char *address)
{
    return strncmp(address, "postgresql://", 13) == 0 || strncmp(address, "postgres://", 11) == 0;
}

/* The address without user and password. */
static char *name_of(const char *address)
{
    struct es_text t = {0};
    char *name = NULL;
    const char *begin = is_server(address) ? strstr(address, "://") + 3 : address;
    const char *end = begin + strcspn(begin, "/?");
    const char *at = is_server(address) ? memchr(begin, '@', (size_t)(end - begin)) : NULL;
    es_text_add(&t, is_server(address) ? "postgresql://" : "");
    begin = at ? at + 1 : begin;
    const char *password = is_server(address) ? strstr(begin, "password=") : NULL;
    es_text_append(&t, begin, password ? (size_t)(password - begin) : strlen(begin));
    es_text_add(&t, password ? "..." : "");
    if (es_text_take(&t, &name, NULL) != ES_OK) {
        name = NULL;
    }
    es_text_free(&t);
    return name;
}

static enum es_status take_text(void *self, const struct es_value *columns, size_t count,
                                struct es_error *err)
{
    char *out = self; /* 32 bytes */
    (void)count;
    (void)err;
    (void)snprintf(out, 32, "%s", es_column_text(&columns[0]));
    return ES_OK;
}

static enum es_status take_integer(void *self, const struct es_value *columns, size_t count,
                                   struct es_error *err)
{
    int64_t *out = self;
    (void)count;
    (void)err;
    *out = es_column_integer(&columns[0]);
    return ES_OK;
}

/* 0: there is no schema yet. */
static enum es_status schema_of(struct es_archive *a, long *version, struct es_error *err)
{
    int64_t has = 0;
    char text[32] = "0";
    enum es_status st = es_database_run(&a->db, ES_SQL_HAS_SCHEMA, NULL, 0, take_integer, &has, NULL, err);
    if (st == ES_OK && has) {
        st = es_database_run(&a->db, ES_SQL_SCHEMA, NULL, 0, take_text, text, NULL, err);
    }
    *version = strtol(text, NULL, 10);
    if (st == ES_OK && *version > ES_ARCHIVE_SCHEMA) {
        st = es_fail(err, ES_DISABLED,
                     "%s was made by a newer Endstop (schema %ld; this one knows %d): use that one", a->name,
                     *version, ES_ARCHIVE_SCHEMA);
    }
    return st;
}

static enum es_status check_schema(struct es_archive *a, struct es_error *err)
{
    long version = 0;
    enum es_status st = schema_of(a, &version, err);
    if (st == ES_OK && version < ES_ARCHIVE_SCHEMA) {
        st =
            es_fail(err, ES_DISABLED,
                    version ? "%s has the schema of an earlier Endstop; \"endstop archive fill\" brings it up"
                            : "%s holds no archive yet; \"endstop archive fill\" makes it",
                    a->name);
    }
    return st;
}

enum es_status es_archive_open(const char *address, enum es_archive_mode mode, struct es_archive **out,
                               struct es_error *err)
{
    struct es_archive *a = calloc(1, sizeof *a);
    address = strncmp(address, "sqlite:", 7) == 0 ? address + 7 : address;
    if (a) {
        a->name = name_of(address);
    }
    if (!a || !a->name) {
        free(a);
        return es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    }
    enum es_status st = is_server(address) ? es_postgresql_open(address, &a->db, err)
                                           : es_sqlite_open(address, mode == ES_ARCHIVE_READ, &a->db, err);
    if (st == ES_OK) {
        st = mode == ES_ARCHIVE_READ ? check_schema(a, err) : es_archive_migrate(a, err);
    }
    if (st != ES_OK) {
        es_archive_close(a);
        return st;
    }
    *out = a;
    return ES_OK;
}

void es_archive_close(struct es_archive *archive)
{
    if (!archive) {
        return;
    }
    es_database_close(&archive->db);
    free(archive->name);
    free(archive);
}

/* ---- Schema ---- */

struct old_row {
    int64_t id;
    char bench[64];
    char *bytes;
    size_t length;
};

static enum es_status take_old(void *self, const struct es_value *columns, size_t count, struct es_error *err)
{
    struct old_row *row = self;
    (void)count;
    row->id = es_column_integer(&columns[0]);
    (void)snprintf(row->bench, sizeof row->bench, "%s", es_column_text(&columns[1]));
    row->length = columns[6].length;
    row->bytes = malloc(row->length + 1);
    if (!row->bytes) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the archive");
    }
    memcpy(row->bytes, columns[6].length ? columns[6].bytes : "", row->length);
    row->bytes[row->length] = 0;
    return ES_OK;
}

static enum es_status supersede(struct es_archive *a, const char *bench, const struct es_derived *d,
                                struct es_error *err)
{
    if (!d->content.replaces[0]) {
        return ES_OK;
    }
    const struct es_value values[] = {es_value_text(bench), es_value_text(d->content.replaces),
                                      es_value_text(d->content.number)};
    return es_database_run(&a->db, ES_SQL_SUPERSEDE, values, 3, NULL, NULL, NULL, err);
}

/* The derived columns, those of earlier versions too, from the bytes that are kept. A row that cannot be read
 * keeps what it has: the audit names it. */
static enum es_status derive_all(struct es_archive *a, struct es_error *err)
{
    int64_t last = 0;
    for (;;) {
        struct old_row row = {.id = 0};
        struct es_derived d;
        const struct es_value values[] = {es_value_integer(last), es_value_integer(1),
                                          es_value_integer(INT64_MAX)};
        enum es_status st = es_database_run(&a->db, ES_SQL_FILES, values, 3, take_old, &row, NULL, err);
        if (st != ES_OK || !row.bytes) {
            free(row.bytes);
            return st;
        }
        st = es_derive(row.bytes, row.length, &d, err);
        free(row.bytes);
        if (st == ES_OK) {
            st = es_derive_rows(&a->db, row.id, &d, err);
            st = st == ES_OK ? supersede(a, row.bench, &d, err) : st;
            es_derived_clear(&d);
        } else if (st == ES_BAD_INPUT) {
            st = ES_OK;
        }
        if (st != ES_OK) {
            return st;
        }
        last = row.id;
    }
}

static enum es_status run_range(struct es_archive *a, enum es_statement first, enum es_statement last,
                                struct es_error *err)
{
    enum es_status st = ES_OK;
    for (enum es_statement s = first; s <= last && st == ES_OK; s++) {
        st = es_database_run(&a->db, s, NULL, 0, NULL, NULL, NULL, err);
    }
    return st;
}

static enum es_status step_up(struct es_archive *a, long from, struct es_error *err)
{
    static const enum es_statement steps[ES_ARCHIVE_SCHEMA][2] = {{ES_SQL_V1_FIRST, ES_SQL_V1_LAST},
                                                                  {ES_SQL_V2_FIRST, ES_SQL_V2_LAST},
                                                                  {ES_SQL_V3_FIRST, ES_SQL_V3_LAST}};
    return run_range(a, steps[from][0], steps[from][1], err);
}

enum es_status es_archive_migrate(struct es_archive *a, struct es_error *err)
{
    long version = 0;
    enum es_status st = schema_of(a, &version, err);
    if (st != ES_OK || version == ES_ARCHIVE_SCHEMA) {
        return st;
    }
    st = es_database_begin(&a->db, err);
    if (st == ES_OK) {
        st = es_database_run(&a->db, ES_SQL_LOCK_SCHEMA, NULL, 0, NULL, NULL, NULL, err);
    }
    if (st == ES_OK) {
        st = schema_of(a, &version, err); /* another bench may have done it meanwhile */
    }
    bool filled = version > 0 && version < ES_ARCHIVE_SCHEMA;
    for (; st == ES_OK && version < ES_ARCHIVE_SCHEMA; version++) {
        char text[32];
        (void)snprintf(text, sizeof text, "%ld", version + 1);
        const struct es_value value = es_value_text(text);
        st = step_up(a, version, err);
        if (st == ES_OK) {
            st = es_database_run(&a->db, ES_SQL_SET_SCHEMA, &value, 1, NULL, NULL, NULL, err);
        }
    }
    if (st == ES_OK && filled) {
        st = derive_all(a, err);
    }
    st = es_database_finish(&a->db, st, err);
    return st == ES_OK ? st
                       : es_error_context(err, st, "%s could not be brought to schema %d", a->name,
                                          ES_ARCHIVE_SCHEMA);
}

/* ---- Putting in ---- */

static enum es_status put_row(struct es_archive *a, const struct es_archive_put *put,
                              const struct es_derived *d, int64_t *id, struct es_error *err)
{
    const struct es_content *c = &d->content;
    const struct es_value values[] = {
        es_value_text(d->payload),   es_value_text(d->digest), es_value_integer((int64_t)d->signatures),
        es_value_text(put->bench),   es_value_text(c->number), es_value_text(c->kind),
        es_value_text(c->issued),    es_value_text(c->serial), es_value_text(c->type_sheet.name),
        es_value_text(c->plan.name), es_value_text(c->state),  es_value_text(c->verdict),
        es_value_text(c->customer),  es_value_text(c->run),    es_value_bytes(put->bytes, put->length)};
    *id = 0;
    return es_database_run(&a->db, ES_SQL_PUT, values, sizeof values / sizeof values[0], take_integer, id,
                           NULL, err);
}

enum es_status es_archive_put(struct es_archive *archive, const struct es_archive_put *put, bool *fresh,
                              struct es_error *err)
{
    struct es_derived d;
    int64_t id = 0;
    enum es_status st = es_derive(put->bytes, put->length, &d, err);
    if (st != ES_OK) {
        return st;
    }
    st = put_row(archive, put, &d, &id, err);
    if (st == ES_OK && id != 0) {
        st = es_derive_rows(&archive->db, id, &d, err);
        st = st == ES_OK ? supersede(archive, put->bench, &d, err) : st;
    }
    if (st == ES_OK) {
        *fresh = id != 0;
    } else {
        (void)es_error_context(err, st, "certificate %s", d.content.number);
    }
    es_derived_clear(&d);
    return st;
}

/* ---- Benches ---- */

struct bench_row {
    uint64_t sent;
    char *head;
    size_t size;
};

static enum es_status take_bench_row(void *self, const struct es_value *columns, size_t count,
                                     struct es_error *err)
{
    struct bench_row *row = self;
    (void)count;
    (void)err;
    row->sent = (uint64_t)es_column_integer(&columns[0]);
    (void)snprintf(row->head, row->size, "%s", es_column_text(&columns[1]));
    return ES_OK;
}

enum es_status es_archive_bench(struct es_archive *archive, const char *log, uint64_t *sent, char *head,
                                size_t size, struct es_error *err)
{
    const struct es_value value = es_value_text(log);
    struct bench_row row = {.head = head, .size = size};
    head[0] = 0;
    enum es_status st =
        es_database_run(&archive->db, ES_SQL_BENCH, &value, 1, take_bench_row, &row, NULL, err);
    if (st == ES_OK) {
        *sent = row.sent;
    }
    return st;
}

enum es_status es_archive_set_bench(struct es_archive *archive, const char *log, uint64_t sent,
                                    const char *head, uint64_t head_size, struct es_error *err)
{
    const struct es_value bench[] = {es_value_text(log), es_value_integer((int64_t)sent),
                                     es_value_text(head)};
    const struct es_value kept[] = {es_value_text(log), es_value_integer((int64_t)head_size),
                                    es_value_text(head)};
    enum es_status st = es_database_run(&archive->db, ES_SQL_PUT_BENCH, bench, 3, NULL, NULL, NULL, err);
    if (st == ES_OK && head_size > 0) {
        st = es_database_run(&archive->db, ES_SQL_PUT_HEAD, kept, 3, NULL, NULL, NULL, err);
    }
    return st;
}

enum es_status es_archive_put_leaf(struct es_archive *archive, const struct es_archive_leaf *leaf,
                                   struct es_error *err)
{
    const struct es_value values[] = {es_value_text(leaf->log), es_value_integer((int64_t)leaf->position),
                                      es_value_text(leaf->number), es_value_integer((int64_t)leaf->version),
                                      es_value_text(leaf->hash)};
    int64_t changed = 0;
    enum es_status st = es_database_run(&archive->db, ES_SQL_PUT_LEAF, values, 5, NULL, NULL, &changed, err);
    if (st == ES_OK && changed == 0) {
        st =
            es_fail(err, ES_NOT_VALID,
                    "entry %" PRIu64 " of the log, %s, is another one than the archive was sent: the log was "
                    "changed on the bench",
                    leaf->position + 1, leaf->number);
    }
    return st;
}

struct counts {
    uint64_t certificates, benches;
};

static enum es_status take_counts(void *self, const struct es_value *columns, size_t count,
                                  struct es_error *err)
{
    struct counts *c = self;
    (void)count;
    (void)err;
    c->certificates = (uint64_t)es_column_integer(&columns[0]);
    c->benches = (uint64_t)es_column_integer(&columns[1]);
    return ES_OK;
}

enum es_status es_archive_count(struct es_archive *archive, uint64_t *certificates, uint64_t *benches,
                                struct es_error *err)
{
    struct counts c = {0};
    enum es_status st = es_database_run(&archive->db, ES_SQL_COUNT_ALL, NULL, 0, take_counts, &c, NULL, err);
    if (st == ES_OK) {
        *certificates = c.certificates;
        *benches = c.benches;
    }
    return st;
}

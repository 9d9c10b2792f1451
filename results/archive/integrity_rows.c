/* One row of the archive after the other, with every column beside the bytes held against the bytes. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity_rows.h"

#define TEXTS_FIRST 5 /* columns of ES_SQL_ROWS_OF_BENCH: texts from here to the last three */

struct reading {
    struct es_text stored;
    int64_t id;
    bool any;
    char number[ES_STORE_NUMBER_MAX];
    char out_of_force[ES_STORE_NUMBER_MAX], replaced_by[ES_STORE_NUMBER_MAX];
    char *bytes;
    size_t length;
};

static void put_text(struct es_text *t, const char *text)
{
    es_text_add(t, text ? text : "");
    es_text_char(t, '\x1f');
}

static void put_number(struct es_text *t, double value)
{
    es_text_printf(t, "%.17g\x1f", value);
}

/* A row as one text; two rows are the same when their texts are. */
static enum es_status take_cells(void *self, const struct es_value *columns, size_t count,
                                 struct es_error *err)
{
    struct es_text *t = self;
    for (size_t i = 0; i < count; i++) {
        const struct es_value *v = &columns[i];
        if (v->kind == ES_VALUE_INTEGER || v->kind == ES_VALUE_REAL) {
            put_number(t, es_column_real(v));
        } else {
            put_text(t, es_column_text(v));
        }
    }
    return es_text_status(t, err);
}

static void put_optional(struct es_text *t, double value)
{
    if (value - value == 0) { /* finite */
        put_number(t, value);
    } else {
        put_text(t, "");
    }
}

static void expected_rows(const struct es_derived *d, struct es_text *t)
{
    const struct es_content *c = &d->content;
    for (size_t i = 0; i < c->line_count; i++) {
        const struct es_content_line *l = &c->lines[i];
        put_number(t, (double)i);
        put_text(t, l->procedure);
        put_text(t, l->measurand);
        put_text(t, l->unit);
        put_optional(t, l->v.value);
        put_optional(t, l->v.U);
        put_optional(t, l->lower);
        put_optional(t, l->upper);
        put_text(t, l->verdict);
    }
    for (size_t i = 0; i < c->instrument_count; i++) {
        const struct es_content_instrument *r = &c->instruments[i];
        put_number(t, (double)i);
        put_text(t, r->name);
        put_text(t, r->identity);
        put_text(t, r->calibration);
        put_text(t, r->calibrated);
        put_text(t, r->due);
    }
    es_derive_causes(d, t);
}

static void expected_columns(const struct es_derived *d, const char *number, struct es_text *t)
{
    const struct es_content *c = &d->content;
    const char *const texts[] = {number,
                                 d->payload,
                                 d->digest,
                                 c->kind,
                                 c->issued,
                                 c->serial,
                                 c->type_sheet.name,
                                 c->plan.name,
                                 c->state,
                                 c->verdict,
                                 c->customer,
                                 c->run,
                                 c->reason,
                                 d->lot,
                                 d->supplier,
                                 c->job,
                                 c->received,
                                 c->found,
                                 c->virtual_bench ? "virtual" : "real",
                                 c->bench,
                                 c->station,
                                 c->person,
                                 d->released,
                                 d->releaser,
                                 c->replaces};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        put_text(t, texts[i]);
    }
    put_number(t, (double)d->signatures);
}

static enum es_status take_row(void *self, const struct es_value *columns, size_t count, struct es_error *err)
{
    struct reading *r = self;
    r->any = true;
    r->id = es_column_integer(&columns[0]);
    (void)snprintf(r->number, sizeof r->number, "%s", es_column_text(&columns[1]));
    es_text_reset(&r->stored);
    for (size_t k = 1; k < 4; k++) {
        put_text(&r->stored, es_column_text(&columns[k]));
    }
    for (size_t k = TEXTS_FIRST; k + 3 < count; k++) {
        put_text(&r->stored, es_column_text(&columns[k]));
    }
    put_number(&r->stored, (double)es_column_integer(&columns[4]));
    (void)snprintf(r->out_of_force, sizeof r->out_of_force, "%s", es_column_text(&columns[count - 3]));
    (void)snprintf(r->replaced_by, sizeof r->replaced_by, "%s", es_column_text(&columns[count - 2]));
    const struct es_value *file = &columns[count - 1];
    r->length = file->length;
    r->bytes = malloc(r->length + 1);
    if (!r->bytes) {
        return es_fail(err, ES_NO_MEMORY, "no memory to check the archive");
    }
    memcpy(r->bytes, r->length ? file->bytes : "", r->length);
    r->bytes[r->length] = 0;
    return es_text_status(&r->stored, err);
}

static bool same_text(const struct es_text *a, const struct es_text *b)
{
    return a->length == b->length && (a->length == 0 || memcmp(a->bytes, b->bytes, a->length) == 0);
}

static void found(struct es_integrity_report *report, const struct reading *r, const char *what)
{
    es_integrity_add(report, "archive", r->number, "%s", what);
}

static enum es_status check_columns(const struct es_integrity_rows *rows, const struct reading *r,
                                    const struct es_derived *d, struct es_error *err)
{
    struct es_database *db = &rows->archive->db;
    struct es_text expected = {0}, there = {0};
    const struct es_value id = es_value_integer(r->id);
    static const enum es_statement parts[] = {ES_SQL_LINES_OF, ES_SQL_INSTRUMENTS_OF, ES_SQL_CAUSES_OF};
    expected_columns(d, d->content.number, &expected);
    enum es_status st = es_text_status(&expected, err);
    if (st != ES_OK) {
        es_text_free(&expected);
        return st;
    }
    if (!same_text(&expected, &r->stored)) {
        found(rows->report, r,
              "a column of its row in the archive was altered: it does not follow from the certificate");
    }
    if (strcmp(r->out_of_force, d->out_of_force ? "void" : r->replaced_by) != 0) {
        found(rows->report, r,
              "the archive takes it for in force or out of force, and it is not: a column was altered");
    }
    es_text_reset(&expected);
    expected_rows(d, &expected);
    st = es_text_status(&expected, err);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && st == ES_OK; i++) {
        st = es_database_run(db, parts[i], &id, 1, take_cells, &there, NULL, err);
    }
    if (st == ES_OK && !same_text(&expected, &there)) {
        found(rows->report, r,
              "its values, instruments or causes in the archive were altered: they do not follow from the "
              "certificate");
    }
    es_text_free(&expected);
    es_text_free(&there);
    return st;
}

static enum es_status check_one(const struct es_integrity_rows *rows, struct reading *r, struct es_error *err)
{
    struct es_derived d;
    struct es_error why = {0};
    rows->report->rows++;
    enum es_status st = es_derive(r->bytes, r->length, &d, &why);
    if (st == ES_NO_MEMORY) {
        return es_fail(err, st, "%s", why.text);
    }
    bool read = st == ES_OK;
    const struct es_integrity_row row = {
        .number = r->number, .bytes = r->bytes, .length = r->length, .signatures = read ? d.signatures : 0};
    st = rows->each(rows->self, &row, err);
    if (read && st == ES_OK) {
        st = check_columns(rows, r, &d, err);
    }
    if (read) {
        es_derived_clear(&d);
    }
    return st;
}

enum es_status es_integrity_each_row(const struct es_integrity_rows *rows, struct es_error *err)
{
    struct reading r = {.id = 0};
    enum es_status st = ES_OK;
    do {
        const struct es_value values[] = {es_value_text(rows->log), es_value_integer(r.id)};
        r.any = false;
        r.bytes = NULL;
        st = es_database_run(&rows->archive->db, ES_SQL_ROWS_OF_BENCH, values, 2, take_row, &r, NULL, err);
        if (st == ES_OK && r.any) {
            st = check_one(rows, &r, err);
        }
        free(r.bytes);
    } while (st == ES_OK && r.any);
    es_text_free(&r.stored);
    return st;
}

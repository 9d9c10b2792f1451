/* The archive's rows of this bench against the bench's own files: bytes, and every column beside them. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/derive.h"
#include "results/archive/integrity_parts.h"

#define TEXTS_FIRST 5 /* columns of ES_SQL_ROWS_OF_BENCH: texts from here to the last but one */

struct rows {
    struct es_integrity *i;
    int64_t last;
    bool any;
    bool *seen; /* by leaf: the newest one of each number */
    struct es_text stored;
    /* one row, taken out of the query */
    int64_t id;
    char number[ES_STORE_NUMBER_MAX];
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
                                 c->virtual_bench ? "virtual" : "real"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        put_text(t, texts[i]);
    }
    put_number(t, (double)d->signatures);
}

static enum es_status take_row(void *self, const struct es_value *columns, size_t count, struct es_error *err)
{
    struct rows *r = self;
    r->any = true;
    r->id = es_column_integer(&columns[0]);
    (void)snprintf(r->number, sizeof r->number, "%s", es_column_text(&columns[1]));
    es_text_reset(&r->stored);
    for (size_t k = 1; k < 4; k++) {
        put_text(&r->stored, es_column_text(&columns[k]));
    }
    for (size_t k = TEXTS_FIRST; k + 1 < count; k++) {
        put_text(&r->stored, es_column_text(&columns[k]));
    }
    put_number(&r->stored, (double)es_column_integer(&columns[4]));
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

static enum es_status check_columns(struct rows *r, const struct es_derived *d, struct es_error *err)
{
    struct es_database *db = &r->i->order->archive->db;
    struct es_text expected = {0}, found = {0};
    const struct es_value id = es_value_integer(r->id);
    static const enum es_statement parts[] = {ES_SQL_LINES_OF, ES_SQL_INSTRUMENTS_OF, ES_SQL_CAUSES_OF};
    enum es_status st = ES_OK;
    expected_columns(d, d->content.number, &expected);
    if (!same_text(&expected, &r->stored)) {
        es_integrity_found(
            r->i, "archive", r->number,
            "a column of its row in the archive was altered: it does not follow from the certificate");
    }
    es_text_reset(&expected);
    expected_rows(d, &expected);
    for (size_t k = 0; k < sizeof parts / sizeof parts[0] && st == ES_OK; k++) {
        st = es_database_run(db, parts[k], &id, 1, take_cells, &found, NULL, err);
    }
    st = st == ES_OK ? es_text_status(&expected, err) : st;
    if (st == ES_OK && !same_text(&expected, &found)) {
        es_integrity_found(
            r->i, "archive", r->number,
            "its values, instruments or causes in the archive were altered: they do not follow from "
            "the certificate");
    }
    es_text_free(&expected);
    es_text_free(&found);
    return st;
}

static bool is_leaf(const struct es_log *log, const struct es_log_leaf *newest, const char *bytes,
                    size_t length, size_t signatures)
{
    struct es_hash hash;
    es_merkle_leaf(bytes, length, &hash);
    if (es_hash_equal(&hash, &newest->hash)) {
        return true;
    }
    /* An earlier state of it, not brought up to date yet. */
    for (uint64_t k = 0; k < es_log_size(log); k++) {
        const struct es_log_leaf *leaf = es_log_leaf(log, k);
        if (leaf->version == signatures && strcmp(leaf->number, newest->number) == 0) {
            return es_hash_equal(&hash, &leaf->hash);
        }
    }
    return false;
}

static enum es_status check_row(struct rows *r, struct es_error *err)
{
    struct es_derived d;
    struct es_error why = {0};
    uint64_t index = 0;
    r->i->report->rows++;
    if (!es_log_find(r->i->log, r->number, &index)) {
        es_integrity_found(r->i, "archive", r->number,
                           "stands in the archive and was never logged by this bench");
        return ES_OK;
    }
    r->seen[index] = true;
    enum es_status st = es_derive(r->bytes, r->length, &d, &why);
    if (st == ES_NO_MEMORY) {
        return es_fail(err, st, "%s", why.text);
    }
    size_t signatures = st == ES_OK ? d.signatures : 0;
    if (!is_leaf(r->i->log, es_log_leaf(r->i->log, index), r->bytes, r->length, signatures)) {
        es_integrity_found(r->i, "archive", r->number, "its bytes in the archive are not what was logged");
    }
    if (st != ES_OK) {
        return ES_OK;
    }
    st = check_columns(r, &d, err);
    es_derived_clear(&d);
    return st;
}

static enum es_status check_rows(struct rows *r, struct es_error *err)
{
    enum es_status st = ES_OK;
    do {
        const struct es_value values[] = {es_value_text(es_log_id(r->i->log)), es_value_integer(r->last)};
        r->any = false;
        r->bytes = NULL;
        st = es_database_run(&r->i->order->archive->db, ES_SQL_ROWS_OF_BENCH, values, 2, take_row, r, NULL,
                             err);
        if (st == ES_OK && r->any) {
            st = check_row(r, err);
            r->last = r->id;
        }
        free(r->bytes);
    } while (st == ES_OK && r->any);
    return st;
}

static enum es_status take_head(void *self, const struct es_value *columns, size_t count,
                                struct es_error *err)
{
    struct es_integrity *i = self;
    struct es_log_growth growth;
    struct es_log_head said;
    struct es_error why;
    const char *head = es_column_text(&columns[1]);
    (void)count;
    (void)err;
    if (es_log_head_check(head, strlen(head), i->order->trusted, i->order->trusted_count, &said, &why) !=
        ES_OK) {
        es_integrity_found(i, "head", NULL, "a head that the archive kept: %s", why.text);
    } else if (es_log_prove_growth(i->log, head, &growth, &why) != ES_OK) {
        es_integrity_found(i, "head", NULL, "against a head that the archive kept: %s", why.text);
    } else {
        es_log_growth_clear(&growth);
    }
    return ES_OK;
}

enum es_status es_integrity_archive(struct es_integrity *i, struct es_error *err)
{
    struct es_archive *archive = i->order->archive;
    struct rows r = {.i = i, .seen = calloc(es_log_size(i->log) + 1, sizeof *r.seen)};
    const struct es_value log = es_value_text(es_log_id(i->log));
    char head[ES_LOG_HEAD_MAX];
    uint64_t sent = 0;
    enum es_status st = r.seen ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory to check the archive");
    if (st == ES_OK) {
        st = es_archive_bench(archive, es_log_id(i->log), &sent, head, sizeof head, err);
    }
    if (st == ES_OK) {
        st = es_database_run(&archive->db, ES_SQL_HEADS_OF_BENCH, &log, 1, take_head, i, NULL, err);
    }
    if (st == ES_OK) {
        st = check_rows(&r, err);
    }
    for (uint64_t k = 0; st == ES_OK && k < es_log_size(i->log) && k < sent; k++) {
        uint64_t newest = k;
        const char *number = es_log_leaf(i->log, k)->number;
        if (es_log_find(i->log, number, &newest) && !r.seen[newest] && es_log_leaf(i->log, k)->version == 1) {
            es_integrity_found(i, "archive", number, "was sent to the archive and is not there");
        }
    }
    es_text_free(&r.stored);
    free(r.seen);
    return st;
}

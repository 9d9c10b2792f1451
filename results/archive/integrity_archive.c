/* The archive's rows of this bench against the bench's own files. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity_parts.h"
#include "results/archive/integrity_rows.h"

struct rows {
    struct es_integrity *i;
    bool *seen; /* by leaf: the newest one of each number */
};

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

static enum es_status check_row(void *self, const struct es_integrity_row *row, struct es_error *err)
{
    struct rows *r = self;
    uint64_t index = 0;
    (void)err;
    if (!es_log_find(r->i->log, row->number, &index)) {
        es_integrity_found(r->i, "archive", row->number,
                           "stands in the archive and was never logged by this bench");
        return ES_OK;
    }
    r->seen[index] = true;
    if (!is_leaf(r->i->log, es_log_leaf(r->i->log, index), row->bytes, row->length, row->signatures)) {
        es_integrity_found(r->i, "archive", row->number, "its bytes in the archive are not what was logged");
    }
    return ES_OK;
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
        const struct es_integrity_rows rows = {
            .archive = archive, .log = es_log_id(i->log), .report = i->report, .each = check_row, .self = &r};
        st = es_integrity_each_row(&rows, err);
    }
    for (uint64_t k = 0; st == ES_OK && k < es_log_size(i->log) && k < sent; k++) {
        uint64_t newest = k;
        const char *number = es_log_leaf(i->log, k)->number;
        if (es_log_find(i->log, number, &newest) && !r.seen[newest] && es_log_leaf(i->log, k)->version == 1) {
            es_integrity_found(i, "archive", number, "was sent to the archive and is not there");
        }
    }
    free(r.seen);
    return st;
}

/* The archive alone: every bench's certificates, its log, and the heads that the bench signed. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity_rows.h"
#include "rig/base/text.h"

struct leaf {
    char number[ES_STORE_NUMBER_MAX];
    size_t version;
    struct es_hash hash;
    bool seen;
};

struct bench {
    char log[ES_LOG_ID_SIZE];
    struct es_archive *archive;
    const struct es_trusted_key *trusted;
    size_t trusted_count;
    struct es_integrity_report *report;
    struct leaf *leaves; /* in the log's order until the rows are looked at, then by number */
    size_t count, capacity;
    struct es_merkle_frontier tree; /* of the leaves up to the head at hand */
    uint64_t covered;               /* by the largest head that holds */
};

/* ---- The log ---- */

static enum es_status take_leaf(void *self, const struct es_value *columns, size_t count,
                                struct es_error *err)
{
    struct bench *b = self;
    (void)count;
    if (b->count == b->capacity) {
        size_t more = b->capacity ? b->capacity * 2 : 256;
        struct leaf *grown = reallocarray(b->leaves, more, sizeof *grown);
        if (!grown) {
            return es_fail(err, ES_NO_MEMORY, "no memory to check the archive");
        }
        b->leaves = grown;
        b->capacity = more;
    }
    struct leaf *l = &b->leaves[b->count];
    *l = (struct leaf){.version = (size_t)es_column_integer(&columns[2])};
    (void)snprintf(l->number, sizeof l->number, "%s", es_column_text(&columns[1]));
    if (es_column_integer(&columns[0]) != (int64_t)b->count) {
        es_integrity_add(
            b->report, "log", l->number,
            "bench %.8s: entry %zu of its log is missing from the archive, or one is there twice", b->log,
            b->count + 1);
    }
    if (es_hex_decode(es_column_text(&columns[3]), l->hash.bytes, ES_HASH_SIZE, NULL) != ES_OK) {
        es_integrity_add(b->report, "log", l->number, "bench %.8s: its entry in the log holds no hash",
                         b->log);
    }
    b->count++;
    return ES_OK;
}

/* Heads come by their size: one pass over the leaves serves them all. */
static enum es_status take_head(void *self, const struct es_value *columns, size_t count,
                                struct es_error *err)
{
    struct bench *b = self;
    struct es_log_head said;
    struct es_error why = {0};
    struct es_hash root;
    const char *head = es_column_text(&columns[1]);
    (void)count;
    enum es_status st = es_log_head_check(head, strlen(head), b->trusted, b->trusted_count, &said, &why);
    if (st == ES_NO_MEMORY) {
        return es_fail(err, st, "%s", why.text);
    }
    if (st == ES_OK &&
        (strcmp(said.log, b->log) != 0 || said.size != (uint64_t)es_column_integer(&columns[0]))) {
        st = es_fail(&why, ES_NOT_VALID, "it is of another log, or of another size");
    }
    if (st == ES_OK && said.size > b->count) {
        st = es_fail(&why, ES_NOT_VALID, "it was signed over %" PRIu64 " entries; only %zu are there",
                     said.size, b->count);
    }
    while (st == ES_OK && b->tree.size < said.size) {
        es_merkle_grow(&b->tree, &b->leaves[b->tree.size].hash);
    }
    if (st == ES_OK) {
        es_merkle_frontier_root(&b->tree, &root);
        if (!es_hash_equal(&root, &said.root)) {
            st = es_fail(&why, ES_NOT_VALID,
                         "the entries up to %" PRIu64 " are not those over which it was signed", said.size);
        }
    }
    if (st == ES_OK) {
        b->covered = said.size;
    } else {
        es_integrity_add(b->report, "head", NULL, "bench %.8s: signed head: %s", b->log, why.text);
    }
    return ES_OK;
}

static enum es_status check_log(struct bench *b, struct es_error *err)
{
    const struct es_value log = es_value_text(b->log);
    struct es_database *db = &b->archive->db;
    enum es_status st = es_database_run(db, ES_SQL_LEAVES_OF, &log, 1, take_leaf, b, NULL, err);
    if (st == ES_OK) {
        st = es_database_run(db, ES_SQL_HEADS_OF_BENCH, &log, 1, take_head, b, NULL, err);
    }
    if (st == ES_OK && b->covered < b->count) {
        es_integrity_add(b->report, "head", NULL,
                         "bench %.8s: its last %" PRIu64
                         " entries stand under no signed head that holds: they are still being sent, or a "
                         "head was taken away",
                         b->log, b->count - b->covered);
    }
    b->report->leaves += b->count;
    return st;
}

/* ---- The certificates ---- */

static int by_number(const void *a, const void *b)
{
    const struct leaf *x = a, *y = b;
    int order = strcmp(x->number, y->number);
    return order ? order : (x->version > y->version) - (x->version < y->version);
}

static void check_version(struct bench *b, const struct es_integrity_row *row, size_t version,
                          const char *bytes, size_t length)
{
    struct leaf key = {.version = version};
    struct es_hash hash;
    (void)snprintf(key.number, sizeof key.number, "%s", row->number);
    struct leaf *logged = b->count ? bsearch(&key, b->leaves, b->count, sizeof *b->leaves, by_number) : NULL;
    if (!logged) {
        es_integrity_add(b->report, "archive", row->number,
                         version == 1 ? "stands in the archive and was never logged by its bench"
                                      : "has a signature in the archive that was never logged by its bench");
        return;
    }
    logged->seen = true;
    es_merkle_leaf(bytes, length, &hash);
    if (!es_hash_equal(&hash, &logged->hash)) {
        es_integrity_add(b->report, "archive", row->number,
                         "its bytes in the archive are not what its bench logged");
    }
}

static enum es_status check_row(void *self, const struct es_integrity_row *row, struct es_error *err)
{
    struct bench *b = self;
    struct es_certificate_report *report = calloc(1, sizeof *report);
    enum es_status st = report ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory to check the archive");
    if (st == ES_OK) {
        b->report->certificates++;
        st = es_certificate_verify(row->number, row->bytes, row->length, b->trusted, b->trusted_count, report,
                                   err);
    }
    if (st == ES_OK && report->finding != ES_CERTIFICATE_VALID && report->finding != ES_CERTIFICATE_VOID) {
        es_integrity_add(b->report, "signature", row->number, "%s", report->text);
    }
    free(report);
    for (size_t v = 1; v <= row->signatures && st == ES_OK; v++) {
        char *bytes = NULL;
        size_t length = 0;
        st = es_certificate_leaf(row->bytes, row->length, v, &bytes, &length, err);
        if (st == ES_OK) {
            check_version(b, row, v, bytes, length);
            free(bytes);
        }
    }
    if (row->signatures == 0) {
        es_integrity_add(b->report, "archive", row->number, "its bytes in the archive are no certificate");
    }
    return st;
}

static void check_missing(const struct bench *b)
{
    for (size_t i = 0; i < b->count; i++) {
        if (!b->leaves[i].seen) {
            es_integrity_add(b->report, "missing", b->leaves[i].number,
                             b->leaves[i].version == 1
                                 ? "was logged by bench %.8s and is not in the archive"
                                 : "got a signature that bench %.8s logged; the archive has it without",
                             b->log);
        }
    }
}

/* ---- All benches ---- */

struct benches {
    char (*logs)[ES_LOG_ID_SIZE];
    size_t count;
    struct es_integrity_report *report;
};

static enum es_status take_bench(void *self, const struct es_value *columns, size_t count,
                                 struct es_error *err)
{
    struct benches *b = self;
    char(*grown)[ES_LOG_ID_SIZE] = reallocarray(b->logs, b->count + 1, sizeof *grown);
    (void)count;
    if (!grown) {
        return es_fail(err, ES_NO_MEMORY, "no memory to check the archive");
    }
    b->logs = grown;
    (void)snprintf(b->logs[b->count++], ES_LOG_ID_SIZE, "%s", es_column_text(&columns[0]));
    return ES_OK;
}

static enum es_status take_apart(void *self, const struct es_value *columns, size_t count,
                                 struct es_error *err)
{
    struct benches *b = self;
    (void)count;
    (void)err;
    es_integrity_add(b->report, "archive", es_column_text(&columns[0]),
                     "is of bench %.8s, of which the archive has no log", es_column_text(&columns[1]));
    return ES_OK;
}

static enum es_status check_bench(struct bench *b, struct es_error *err)
{
    const struct es_integrity_rows rows = {
        .archive = b->archive, .log = b->log, .report = b->report, .each = check_row, .self = b};
    enum es_status st = check_log(b, err);
    if (st == ES_OK && b->count > 0) {
        qsort(b->leaves, b->count, sizeof *b->leaves, by_number);
    }
    if (st == ES_OK) {
        st = es_integrity_each_row(&rows, err);
    }
    if (st == ES_OK) {
        check_missing(b);
    }
    return st;
}

enum es_status es_integrity_check_archive(struct es_archive *archive, const struct es_trusted_key *trusted,
                                          size_t trusted_count, struct es_integrity_report *report,
                                          struct es_error *err)
{
    struct benches all = {.report = report};
    *report = (struct es_integrity_report){.items = NULL};
    enum es_status st = es_database_begin_read(&archive->db, err);
    if (st == ES_OK) {
        st = es_database_run(&archive->db, ES_SQL_BENCHES, NULL, 0, take_bench, &all, NULL, err);
    }
    for (size_t i = 0; i < all.count && st == ES_OK; i++) {
        struct bench b = {
            .archive = archive, .trusted = trusted, .trusted_count = trusted_count, .report = report};
        (void)snprintf(b.log, sizeof b.log, "%s", all.logs[i]);
        st = check_bench(&b, err);
        free(b.leaves);
        report->benches++;
    }
    if (st == ES_OK) {
        st = es_database_run(&archive->db, ES_SQL_ROWS_APART, NULL, 0, take_apart, &all, NULL, err);
    }
    st = es_database_finish(&archive->db, st, err);
    free(all.logs);
    if (st == ES_OK && report->out_of_memory) {
        st = es_fail(err, ES_NO_MEMORY, "no memory for what was found");
    }
    if (st != ES_OK) {
        es_integrity_free(report);
    }
    return st;
}

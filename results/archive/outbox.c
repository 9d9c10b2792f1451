#include "results/archive/outbox.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/log.h"
#include "results/store/signed.h"
#include "rig/base/text.h"

#define BATCH 50

struct sending {
    struct es_store *store;
    struct es_archive *archive;
    struct es_log *log;
    struct es_outbox_report *report;
};

static void leave_out(struct es_outbox_report *r, const char *number, const char *why)
{
    r->left_out++;
    if (!r->fault[0]) {
        (void)snprintf(r->fault, sizeof r->fault, "%.63s is not sent to the archive: %.500s", number, why);
    }
}

/* NULL, or why the file is not what was logged as this leaf. */
static const char *leaf_fault(const struct es_log_leaf *leaf, const char *bytes, size_t length)
{
    struct es_hash hash;
    es_merkle_leaf(bytes, length, &hash);
    return es_hash_equal(&hash, &leaf->hash) ? NULL : "the file was changed after it was logged";
}

static enum es_status send_file(struct sending *s, const struct es_log_leaf *leaf, struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    bool fresh = false;
    struct es_error why = {0};
    enum es_status st = es_store_version(s->store, leaf->number, leaf->version, &bytes, &length, &why);
    if (st != ES_OK) {
        leave_out(s->report, leaf->number, why.text);
        return st == ES_NO_MEMORY ? es_fail(err, st, "%s", why.text) : ES_OK;
    }
    const char *fault = leaf_fault(leaf, bytes, length);
    if (fault) {
        leave_out(s->report, leaf->number, fault);
    } else {
        const struct es_archive_put put = {.bench = es_log_id(s->log), .bytes = bytes, .length = length};
        st = es_archive_put(s->archive, &put, &fresh, &why);
        s->report->fresh += fresh;
        s->report->sent += st == ES_OK;
        if (st == ES_BAD_INPUT) {
            leave_out(s->report, leaf->number, why.text);
            st = ES_OK;
        } else if (st != ES_OK) {
            st = es_fail(err, st, "%s", why.text);
        }
    }
    free(bytes);
    return st;
}

/* The leaf goes even when its file is left out: what the archive lacks can then be named. */
static enum es_status send_leaf(struct sending *s, uint64_t index, struct es_error *err)
{
    const struct es_log_leaf *leaf = es_log_leaf(s->log, index);
    char hash[ES_HASH_HEX];
    es_hex(leaf->hash.bytes, ES_HASH_SIZE, hash);
    const struct es_archive_leaf entry = {.log = es_log_id(s->log),
                                          .position = index,
                                          .number = leaf->number,
                                          .version = leaf->version,
                                          .hash = hash};
    enum es_status st = es_archive_put_leaf(s->archive, &entry, err);
    return st == ES_OK ? send_file(s, leaf, err) : st;
}

static enum es_status check_known(const struct sending *s, uint64_t sent, const char *head,
                                  struct es_error *err)
{
    struct es_log_growth growth;
    if (sent > es_log_size(s->log)) {
        return es_fail(err, ES_NOT_VALID,
                       "the archive has %" PRIu64 " entries of this bench's log, the log only %" PRIu64
                       ": entries were taken away on the bench",
                       sent, es_log_size(s->log));
    }
    if (!head[0]) {
        return ES_OK;
    }
    enum es_status st = es_log_prove_growth(s->log, head, &growth, err);
    if (st == ES_OK) {
        es_log_growth_clear(&growth);
    }
    return st;
}

/* One transaction; *done: nothing was left to send. */
static enum es_status send_batch(struct sending *s, bool *done, struct es_error *err)
{
    char head[ES_LOG_HEAD_MAX];
    uint64_t sent = 0;
    struct es_outbox_report before = *s->report;
    enum es_status st = es_database_begin(&s->archive->db, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_archive_bench(s->archive, es_log_id(s->log), &sent, head, sizeof head, err);
    if (st == ES_OK) {
        st = check_known(s, sent, head, err);
    }
    uint64_t size = es_log_size(s->log);
    uint64_t until = size - sent > BATCH ? sent + BATCH : size;
    *done = st == ES_OK && sent == size;
    for (uint64_t i = sent; i < until && st == ES_OK; i++) {
        st = send_leaf(s, i, err);
    }
    if (st == ES_OK && !*done) {
        bool all = until == size;
        st = es_archive_set_bench(s->archive, es_log_id(s->log), until, all ? es_log_head(s->log) : head,
                                  all ? size : 0, err);
    }
    st = es_database_finish(&s->archive->db, st, err);
    if (st != ES_OK) {
        *s->report = before;
    }
    return st;
}

enum es_status es_outbox_send(struct es_store *store, struct es_archive *archive, bool (*go_on)(void *self),
                              void *self, struct es_outbox_report *report, struct es_error *err)
{
    char *path = NULL;
    struct sending s = {.store = store, .archive = archive, .report = report};
    *report = (struct es_outbox_report){0};
    enum es_status st = es_store_log_path(store, &path, err);
    if (st == ES_OK) {
        st = es_log_read(NULL, path, NULL, &s.log, err);
        free(path);
    }
    if (st == ES_NOT_FOUND) {
        return ES_OK;
    }
    if (st != ES_OK) {
        return st;
    }
    report->logged = es_log_size(s.log);
    bool done = report->logged == 0;
    while (st == ES_OK && !done && (!go_on || go_on(self))) {
        st = send_batch(&s, &done, err);
    }
    es_log_close(s.log);
    return st;
}

#include "results/log/log.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/index.h"
#include "results/log/lines.h"
#include "rig/base/text.h"

#define FORMAT    "endstop-log/1"
#define FILE_MOST ((size_t)4 << 30)

struct es_log {
    char id[ES_LOG_ID_SIZE];
    struct es_log_leaf *leaves;
    size_t count, capacity;
    struct es_log_index index; /* by number, of the newest leaf */
    struct es_merkle_frontier frontier;
    char *head;              /* text of the newest; NULL: no leaf */
    struct es_log_head last; /* the newest, read */
    size_t whole, unfinished;
    struct es_appender file; /* path NULL: reading */
    bool dead;               /* a failed append: what is on the disk is not known */
};

void es_log_close(struct es_log *log)
{
    if (!log) {
        return;
    }
    (void)es_appender_close(&log->file, NULL); /* all that counts was synced */
    for (size_t i = 0; i < log->count; i++) {
        free(log->leaves[i].number);
        free(log->leaves[i].issued);
    }
    free(log->leaves);
    es_log_index_free(&log->index);
    free(log->head);
    free(log);
}

const char *es_log_id(const struct es_log *log)
{
    return log->id;
}

uint64_t es_log_size(const struct es_log *log)
{
    return log->count;
}

const struct es_log_leaf *es_log_leaf(const struct es_log *log, uint64_t index)
{
    return &log->leaves[index];
}

const char *es_log_head(const struct es_log *log)
{
    return log->head;
}

size_t es_log_unfinished(const struct es_log *log)
{
    return log->unfinished;
}

bool es_log_find(const struct es_log *log, const char *number, uint64_t *index)
{
    size_t at = 0;
    if (!es_log_index_find(&log->index, log->leaves, number, &at)) {
        return false;
    }
    *index = at;
    return true;
}

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory for the log of certificates");
}

static enum es_status add_leaf(struct es_log *log, const struct es_hash *hash, const char *number,
                               const char *issued, struct es_error *err)
{
    if (log->count == log->capacity) {
        size_t more = log->capacity ? log->capacity * 2 : 256;
        struct es_log_leaf *leaves = reallocarray(log->leaves, more, sizeof *leaves);
        if (!leaves) {
            return no_memory(err);
        }
        log->leaves = leaves;
        log->capacity = more;
    }
    size_t earlier = 0;
    bool again = es_log_index_find(&log->index, log->leaves, number, &earlier);
    struct es_log_leaf leaf = {.hash = *hash,
                               .number = strdup(number),
                               .issued = strdup(issued),
                               .version = again ? log->leaves[earlier].version + 1 : 1};
    if (!leaf.number || !leaf.issued || !es_log_index_room(&log->index, log->leaves)) {
        free(leaf.number);
        free(leaf.issued);
        return no_memory(err);
    }
    log->leaves[log->count] = leaf;
    es_log_index_put(&log->index, log->leaves, log->count++);
    es_merkle_grow(&log->frontier, hash);
    return ES_OK;
}

static void drop_leaf(struct es_log *log)
{
    log->count--;
    es_log_index_drop(&log->index, log->leaves, log->count);
    free(log->leaves[log->count].number);
    free(log->leaves[log->count].issued);
}

/* ---- Reading ---- */

/* ID (LEAF HEAD)*: what a line may not be after what stands before it, or NULL. */
static const char *line_fault(const struct es_log *log, const struct es_log_line *line, bool open_leaf)
{
    switch (line->kind) {
    case ES_LOG_LINE_ID:
        return line->line == 1 ? NULL : "a second beginning";
    case ES_LOG_LINE_LEAF:
        return line->line == 1             ? "no beginning above it"
               : open_leaf                 ? "a leaf where its predecessor's head should stand"
               : line->index != log->count ? "a leaf that is out of its place"
                                           : NULL;
    case ES_LOG_LINE_HEAD:
        return open_leaf ? NULL : "a head without its leaf";
    case ES_LOG_LINE_BAD:
        break;
    }
    return "a line that is none of a log";
}

static enum es_status take_head(struct es_log *log, const struct es_log_line *line, const char **fault,
                                struct es_error *err)
{
    struct es_log_head head;
    struct es_hash root;
    enum es_status st = es_log_head_read(line->head, line->head_length, &head, NULL);
    if (st == ES_NO_MEMORY) {
        return no_memory(err);
    }
    es_merkle_frontier_root(&log->frontier, &root);
    if (st != ES_OK) {
        *fault = "a head that cannot be read";
    } else if (strcmp(head.log, log->id) != 0) {
        *fault = "a head of another log";
    } else if (head.size != log->count || !es_hash_equal(&head.root, &root)) {
        *fault = "a head that does not follow from the leaves above it";
    } else if (log->head && strcmp(head.time, log->last.time) < 0) {
        *fault = "a head that is older than the one before it";
    }
    if (*fault) {
        return ES_OK;
    }
    char *copy = strndup(line->head, line->head_length);
    if (!copy) {
        return no_memory(err);
    }
    free(log->head);
    log->head = copy;
    log->last = head;
    return ES_OK;
}

/* Does any readable head stand after `from`? Then what lies between is no unfinished append. */
static bool head_follows(const char *text, size_t length, const struct es_log_line *from)
{
    struct es_log_line line = *from;
    while (es_log_next_line(text, length, &line)) {
        struct es_log_head head;
        if (line.kind == ES_LOG_LINE_HEAD &&
            es_log_head_read(line.head, line.head_length, &head, NULL) == ES_OK) {
            return true;
        }
    }
    return false;
}

static enum es_status read_lines(struct es_log *log, const char *name, const char *text, size_t length,
                                 struct es_text *faults, struct es_error *err)
{
    struct es_log_line line = {.line = 0};
    struct es_merkle_frontier before = log->frontier;
    const char *fault = NULL;
    bool open_leaf = false;
    enum es_status st = ES_OK;
    while (st == ES_OK && !fault && es_log_next_line(text, length, &line)) {
        fault = line_fault(log, &line, open_leaf);
        if (fault) {
            break;
        }
        if (line.kind == ES_LOG_LINE_ID) {
            memcpy(log->id, line.id, sizeof log->id);
            log->whole = line.end;
        } else if (line.kind == ES_LOG_LINE_LEAF) {
            before = log->frontier;
            st = add_leaf(log, &line.hash, line.number, line.issued, err);
            open_leaf = st == ES_OK;
        } else {
            st = take_head(log, &line, &fault, err);
            open_leaf = st != ES_OK || fault;
            log->whole = open_leaf ? log->whole : line.end;
        }
    }
    if (st == ES_OK && open_leaf) { /* the last leaf has no good head */
        drop_leaf(log);
        log->frontier = before;
    }
    if (st == ES_OK && fault && (head_follows(text, length, &line) || !log->id[0])) {
        if (!faults) {
            return es_fail(err, ES_NOT_VALID, "%s:%zu: the log of certificates is damaged: %s", name,
                           line.line, fault);
        }
        es_text_printf(faults, "line %zu of the log holds %s\n", line.line, fault);
    }
    log->unfinished = length - log->whole;
    return st;
}

enum es_status es_log_parse(const char *name, const char *text, size_t length, struct es_text *faults,
                            struct es_log **out, struct es_error *err)
{
    struct es_log *log = calloc(1, sizeof *log);
    if (!log) {
        return no_memory(err);
    }
    log->file.fd = -1;
    /* A crash may have left the very first line in part. */
    bool begun = memchr(text, '\n', length) != NULL;
    enum es_status st = begun ? read_lines(log, name, text, length, faults, err) : ES_OK;
    log->unfinished = length - log->whole;
    if (st == ES_OK) {
        st = faults ? es_text_status(faults, err) : ES_OK;
    }
    if (st != ES_OK) {
        es_log_close(log);
        return st;
    }
    *out = log;
    return ES_OK;
}

enum es_status es_log_read(const struct es_file_ops *ops, const char *path, struct es_text *faults,
                           struct es_log **out, struct es_error *err)
{
    char *text = NULL;
    size_t length = 0;
    enum es_status st = es_file_read(ops, path, FILE_MOST, &text, &length, err);
    if (st == ES_OK) {
        st = es_log_parse(path, text, length, faults, out, err);
        free(text);
    }
    return st;
}

/* ---- Appending ---- */

static enum es_status cut_off(struct es_log *log, struct es_error *err)
{
    struct es_appender *a = &log->file;
    if ((size_t)a->length == log->whole) {
        return ES_OK;
    }
    if (a->ops->truncate(a->ops->self, a->fd, (off_t)log->whole) != 0) {
        return es_fail(err, ES_IO, "%s: an append that was not finished cannot be cut off", a->path);
    }
    a->length = (off_t)log->whole;
    log->unfinished = 0;
    return es_appender_sync(a, err);
}

static enum es_status begin(struct es_log *log, struct es_error *err)
{
    unsigned char random[(ES_LOG_ID_SIZE - 1) / 2];
    char line[sizeof FORMAT + ES_LOG_ID_SIZE + 2];
    if (log->id[0]) {
        return ES_OK;
    }
    randombytes_buf(random, sizeof random);
    es_hex(random, sizeof random, log->id);
    int n = snprintf(line, sizeof line, FORMAT " %s\n", log->id);
    enum es_status st = es_appender_write(&log->file, line, (size_t)n, err);
    return st == ES_OK ? es_appender_sync(&log->file, err) : st;
}

enum es_status es_log_open(const struct es_file_ops *ops, const char *path, struct es_log **out,
                           struct es_error *err)
{
    struct es_log *log = NULL;
    enum es_status st = es_log_read(ops, path, NULL, &log, err);
    if (st == ES_NOT_FOUND) {
        st = es_log_parse(path, "", 0, NULL, &log, err);
    }
    if (st == ES_OK) {
        st = es_appender_open(ops, path, 0640, &log->file, err);
    }
    if (st == ES_OK) {
        st = cut_off(log, err);
    }
    if (st == ES_OK) {
        st = begin(log, err);
    }
    if (st != ES_OK) {
        es_log_close(log);
        return st;
    }
    *out = log;
    return ES_OK;
}

/* The siblings of the last leaf are the perfect subtrees that stood before it, nearest first. */
static void path_of_last(const struct es_merkle_frontier *before, struct es_merkle_path *path)
{
    path->count = before->count;
    for (size_t i = 0; i < before->count; i++) {
        path->items[i] = before->items[before->count - 1 - i];
    }
}

static enum es_status write_lines(struct es_log *log, const char *head, struct es_error *err)
{
    struct es_text t = {0};
    char hash[ES_HASH_HEX];
    const struct es_log_leaf *leaf = &log->leaves[log->count - 1];
    es_hex(leaf->hash.bytes, ES_HASH_SIZE, hash);
    es_text_printf(&t, "leaf %zu %s %s %s\nhead %s\n", log->count - 1, hash, leaf->number, leaf->issued,
                   head);
    enum es_status st = es_text_status(&t, err);
    if (st == ES_OK) {
        st = es_appender_write(&log->file, t.bytes, t.length, err);
    }
    if (st == ES_OK) {
        st = es_appender_sync(&log->file, err);
    }
    es_text_free(&t);
    return st;
}

enum es_status es_log_append(struct es_log *log, const struct es_hash *hash, const char *number,
                             const char *issued, const struct es_key *key, const char *time,
                             struct es_log_proof *proof, struct es_error *err)
{
    if (!log->file.path || log->dead) {
        return es_fail(err, ES_DISABLED, "the log of certificates is not open for appending");
    }
    struct es_log_proof p = {.leaf = *hash, .index = log->count};
    path_of_last(&log->frontier, &p.path);
    (void)snprintf(p.number, sizeof p.number, "%s", number);
    log->dead = true;
    enum es_status st = add_leaf(log, hash, number, issued, err);
    if (st != ES_OK) {
        return st;
    }
    struct es_log_head head = {.size = log->count};
    memcpy(head.log, log->id, sizeof head.log);
    /* A clock that was set back must not make the log's heads run backwards. */
    bool back = log->head && strcmp(time, log->last.time) < 0;
    (void)snprintf(head.time, sizeof head.time, "%s", back ? log->last.time : time);
    es_merkle_frontier_root(&log->frontier, &head.root);
    st = es_log_head_sign(&head, key, &p.head, err);
    char *kept = st == ES_OK ? strdup(p.head) : NULL;
    if (st == ES_OK && !kept) {
        st = no_memory(err);
    }
    if (st == ES_OK) {
        st = write_lines(log, p.head, err);
    }
    if (st != ES_OK) {
        free(kept);
        es_log_proof_clear(&p);
        return st;
    }
    free(log->head);
    log->head = kept;
    log->last = head;
    log->dead = false;
    *proof = p;
    return ES_OK;
}

/* ---- Proving ---- */

/* All leaf hashes side by side. */
static struct es_hash *hashes_of(const struct es_log *log)
{
    struct es_hash *hashes = calloc(log->count ? log->count : 1, sizeof *hashes);
    for (size_t i = 0; hashes && i < log->count; i++) {
        hashes[i] = log->leaves[i].hash;
    }
    return hashes;
}

enum es_status es_log_prove(const struct es_log *log, uint64_t index, struct es_log_proof *out,
                            struct es_error *err)
{
    if (index >= log->count) {
        return es_fail(err, ES_NOT_FOUND, "the log has no leaf %" PRIu64, index);
    }
    struct es_hash *hashes = hashes_of(log);
    char *head = hashes ? strdup(log->head) : NULL;
    if (!head) {
        free(hashes);
        return no_memory(err);
    }
    *out = (struct es_log_proof){.leaf = log->leaves[index].hash, .index = index, .head = head};
    (void)snprintf(out->number, sizeof out->number, "%s", log->leaves[index].number);
    es_merkle_inclusion(hashes, log->count, index, &out->path);
    free(hashes);
    return ES_OK;
}

static enum es_status check_kept(const struct es_log *log, const struct es_hash *hashes,
                                 const struct es_log_head *kept, struct es_error *err)
{
    struct es_hash root;
    if (strcmp(kept->log, log->id) != 0) {
        return es_fail(err, ES_NOT_VALID, "the kept head is of log %s; this is log %s", kept->log, log->id);
    }
    if (kept->size > log->count) {
        return es_fail(err, ES_NOT_VALID,
                       "the kept head of %s counts %" PRIu64 " certificates, the log only %zu: %" PRIu64
                       " were taken away from its end",
                       kept->time, kept->size, log->count, kept->size - log->count);
    }
    es_merkle_root(hashes, kept->size, &root);
    if (!es_hash_equal(&root, &kept->root)) {
        return es_fail(err, ES_NOT_VALID,
                       "the first %" PRIu64
                       " certificates of the log are not those that the kept head of %s was signed over",
                       kept->size, kept->time);
    }
    return ES_OK;
}

enum es_status es_log_prove_growth(const struct es_log *log, const char *from, struct es_log_growth *out,
                                   struct es_error *err)
{
    struct es_log_head kept;
    struct es_log_growth g = {.from = NULL};
    enum es_status st = es_log_head_read(from, strlen(from), &kept, err);
    if (st != ES_OK) {
        return st;
    }
    struct es_hash *hashes = hashes_of(log);
    if (!hashes) {
        return no_memory(err);
    }
    st = check_kept(log, hashes, &kept, err);
    if (st == ES_OK && kept.size == 0) {
        st = es_fail(err, ES_NOT_FOUND, "an empty log proves nothing");
    }
    if (st == ES_OK) {
        g.from = strdup(from);
        g.to = strdup(log->head);
        st = g.from && g.to ? ES_OK : no_memory(err);
    }
    if (st == ES_OK) {
        es_merkle_consistency(hashes, log->count, kept.size, &g.path);
        *out = g;
    } else {
        es_log_growth_clear(&g);
    }
    free(hashes);
    return st;
}

enum es_status es_log_check_heads(const char *text, size_t length, const struct es_trusted_key *trusted,
                                  size_t trusted_count, struct es_text *faults, struct es_error *err)
{
    struct es_log_line line = {.line = 0};
    while (es_log_next_line(text, length, &line)) {
        struct es_log_head head;
        struct es_error why = {0};
        if (line.kind != ES_LOG_LINE_HEAD) {
            continue;
        }
        enum es_status st =
            es_log_head_check(line.head, line.head_length, trusted, trusted_count, &head, &why);
        if (st == ES_NO_MEMORY) {
            return es_fail(err, st, "%s", why.text);
        }
        if (st != ES_OK) {
            es_text_printf(faults, "line %zu of the log: %s\n", line.line, why.text);
        }
    }
    return es_text_status(faults, err);
}

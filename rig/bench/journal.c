/* Writing a journal. Two buffers: records are added to one while the thread writes the other as one block. */
#include "rig/bench/journal.h"

#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <zlib.h>

#include "rig/bench/journal_format.h"

struct buffer {
    unsigned char *bytes;
    size_t length, capacity;
};

struct es_journal {
    struct es_appender file;
    pthread_t thread;
    pthread_mutex_t lock; /* guards all below */
    pthread_cond_t work;  /* something to write, or to end */
    pthread_cond_t done;  /* a block is durable, or it failed */
    struct buffer waiting, writing;
    uint64_t added, durable; /* bytes so far */
    bool urgent, end;
    struct es_error trouble; /* status ES_OK: none */
};

static void put(unsigned char **p, const void *bytes, size_t length)
{
    memcpy(*p, bytes, length);
    *p += length;
}

/* Little-endian whatever the machine. */
static void put_int(unsigned char **p, uint64_t value, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        *(*p)++ = (unsigned char)(value >> (8 * i));
    }
}

static void put_double(unsigned char **p, double value)
{
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    put_int(p, bits, 8);
}

static void fail_locked(struct es_journal *j, const struct es_error *err)
{
    if (j->trouble.status == ES_OK) {
        j->trouble = *err;
        es_error_context(&j->trouble, err->status, "the journal cannot be kept");
    }
    pthread_cond_broadcast(&j->done);
}

/* Room for a record of `length` bytes with its head; NULL when the journal has failed. Lock held. */
static unsigned char *room(struct es_journal *j, size_t length)
{
    struct buffer *b = &j->waiting;
    if (j->trouble.status != ES_OK) {
        return NULL;
    }
    if (b->length + length > ES_JOURNAL_WAITING) {
        struct es_error err;
        es_fail(&err, ES_IO, "the disk does not keep up: %u bytes wait to be written", ES_JOURNAL_WAITING);
        fail_locked(j, &err);
        return NULL;
    }
    if (b->length + length > b->capacity) {
        size_t capacity = 2 * (b->length + length);
        unsigned char *more = realloc(b->bytes, capacity);
        if (!more) {
            struct es_error err;
            es_fail(&err, ES_NO_MEMORY, "no memory");
            fail_locked(j, &err);
            return NULL;
        }
        b->bytes = more;
        b->capacity = capacity;
    }
    unsigned char *at = b->bytes + b->length;
    b->length += length;
    j->added += length;
    if (b->length > ES_JOURNAL_BLOCK) {
        pthread_cond_signal(&j->work);
    }
    return at;
}

/* A record's head: kind, length of what follows, time. */
static unsigned char *begin_record(struct es_journal *j, enum es_journal_kind kind, es_time at, size_t length)
{
    unsigned char *p = room(j, ES_JOURNAL_HEAD + length);
    if (p) {
        put_int(&p, (uint64_t)kind, 1);
        put_int(&p, length, 4);
        put_int(&p, (uint64_t)at, 8);
    }
    return p;
}

void es_journal_scan(struct es_journal *j, es_time taken, double u_time,
                     const struct es_journal_value *values, size_t count)
{
    pthread_mutex_lock(&j->lock);
    unsigned char *p = begin_record(j, ES_JOURNAL_SCAN, taken, 8 + 10 * count);
    if (p) {
        put_double(&p, u_time);
        for (size_t i = 0; i < count; i++) {
            put_int(&p, (uint64_t)values[i].role, 1);
            put_int(&p, (uint64_t)values[i].quality, 1);
            put_double(&p, values[i].value);
        }
    }
    pthread_mutex_unlock(&j->lock);
}

void es_journal_write(struct es_journal *j, es_time acted, const struct es_journal_write *write)
{
    pthread_mutex_lock(&j->lock);
    unsigned char *p = begin_record(j, ES_JOURNAL_WRITE, acted, 18);
    if (p) {
        put_int(&p, (uint64_t)write->role, 1);
        put_int(&p, (uint64_t)write->status, 1);
        put_double(&p, write->from);
        put_double(&p, write->to);
    }
    pthread_mutex_unlock(&j->lock);
}

void es_journal_text(struct es_journal *j, enum es_journal_kind kind, es_time at, const char *text)
{
    text = text ? text : "";
    size_t length = strlen(text);
    pthread_mutex_lock(&j->lock);
    unsigned char *p = begin_record(j, kind, at, length);
    if (p) {
        put(&p, text, length);
    }
    pthread_mutex_unlock(&j->lock);
}

void es_journal_recording(struct es_journal *j, es_time at, const char *name, const enum es_role *roles,
                          size_t count)
{
    size_t length = strlen(name);
    pthread_mutex_lock(&j->lock);
    unsigned char *p = begin_record(j, ES_JOURNAL_RECORDING, at, 1 + count + length);
    if (p) {
        put_int(&p, count, 1);
        for (size_t i = 0; i < count; i++) {
            put_int(&p, (uint64_t)roles[i], 1);
        }
        put(&p, name, length);
    }
    pthread_mutex_unlock(&j->lock);
}

/* One block: length, CRC, records. Durable on ES_OK. */
static enum es_status write_block(struct es_journal *j, const struct buffer *b, struct es_error *err)
{
    unsigned char head[ES_JOURNAL_BLOCK_HEAD], *p = head;
    put_int(&p, b->length, 4);
    put_int(&p, crc32(crc32(0, NULL, 0), b->bytes, (uInt)b->length), 4);
    enum es_status status = es_appender_write(&j->file, head, sizeof head, err);
    if (status == ES_OK) {
        status = es_appender_write(&j->file, b->bytes, b->length, err);
    }
    if (status == ES_OK) {
        status = es_appender_sync(&j->file, err);
    }
    return status;
}

static void wait_for_work(struct es_journal *j)
{
    struct timespec until;
    es_time at = es_clock_now() + es_from_seconds(ES_JOURNAL_INTERVAL);
    until.tv_sec = (time_t)(at / ES_NS_PER_S);
    until.tv_nsec = (long)(at % ES_NS_PER_S);
    while (!j->urgent && !j->end && j->waiting.length < ES_JOURNAL_BLOCK) {
        if (pthread_cond_timedwait(&j->work, &j->lock, &until) == ETIMEDOUT) {
            break;
        }
    }
}

static void *write_blocks(void *self)
{
    struct es_journal *j = self;
    pthread_mutex_lock(&j->lock);
    while (!(j->end && j->waiting.length == 0)) {
        wait_for_work(j);
        j->urgent = false;
        if (j->waiting.length == 0) {
            continue;
        }
        struct buffer b = j->waiting;
        j->waiting = j->writing;
        j->waiting.length = 0;
        j->writing = b;
        pthread_mutex_unlock(&j->lock);
        struct es_error err;
        enum es_status status = write_block(j, &b, &err);
        pthread_mutex_lock(&j->lock);
        if (status == ES_OK) {
            j->durable += b.length;
            pthread_cond_broadcast(&j->done);
        } else {
            fail_locked(j, &err);
        }
    }
    pthread_mutex_unlock(&j->lock);
    return NULL;
}

enum es_status es_journal_status(struct es_journal *j, struct es_error *err)
{
    pthread_mutex_lock(&j->lock);
    enum es_status status = j->trouble.status;
    if (status != ES_OK) {
        es_fail(err, status, "%s", j->trouble.text);
    }
    pthread_mutex_unlock(&j->lock);
    return status;
}

enum es_status es_journal_flush(struct es_journal *j, struct es_error *err)
{
    pthread_mutex_lock(&j->lock);
    uint64_t want = j->added;
    while (j->durable < want && j->trouble.status == ES_OK) {
        j->urgent = true;
        pthread_cond_signal(&j->work);
        pthread_cond_wait(&j->done, &j->lock);
    }
    pthread_mutex_unlock(&j->lock);
    return es_journal_status(j, err);
}

static enum es_status start_thread(struct es_journal *j, struct es_error *err)
{
    pthread_condattr_t attributes;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_mutex_init(&j->lock, NULL);
    pthread_cond_init(&j->work, &attributes);
    pthread_cond_init(&j->done, &attributes);
    pthread_condattr_destroy(&attributes);
    int failed = pthread_create(&j->thread, NULL, write_blocks, j);
    if (failed) {
        pthread_cond_destroy(&j->done);
        pthread_cond_destroy(&j->work);
        pthread_mutex_destroy(&j->lock);
        return es_fail_errno(err, failed, "no thread for the journal");
    }
    return ES_OK;
}

enum es_status es_journal_open(const struct es_file_ops *ops, const char *folder, const char *run,
                               const char *begin, struct es_journal **out, struct es_error *err)
{
    char *path = NULL;
    struct es_journal *j = calloc(1, sizeof *j);
    enum es_status status;
    if (!j || asprintf(&path, "%s/%s.journal", folder, run) < 0) {
        free(j);
        return es_fail(err, ES_NO_MEMORY, "no memory for the journal");
    }
    status = es_folder_make(ops, folder, 0750, err);
    if (status != ES_OK) {
        goto free_journal;
    }
    status = es_appender_open(ops, path, 0640, &j->file, err);
    if (status != ES_OK) {
        goto free_journal;
    }
    if (j->file.length > 0) {
        status = es_fail(err, ES_REFUSED, "%s: this run has a journal already", path);
        goto close_file;
    }
    status = es_appender_write(&j->file, ES_JOURNAL_MAGIC, ES_JOURNAL_MAGIC_SIZE, err);
    if (status == ES_OK) {
        status = start_thread(j, err);
    }
    if (status != ES_OK) {
        goto close_file;
    }
    es_journal_text(j, ES_JOURNAL_BEGIN, 0, begin);
    status = es_journal_flush(j, err);
    if (status != ES_OK) {
        (void)es_journal_close(j, NULL);
        free(path);
        return status;
    }
    free(path);
    *out = j;
    return ES_OK;

close_file:
    (void)es_appender_close(&j->file, NULL);
free_journal:
    free(path);
    free(j);
    return status;
}

enum es_status es_journal_close(struct es_journal *j, struct es_error *err)
{
    if (!j) {
        return ES_OK;
    }
    pthread_mutex_lock(&j->lock);
    j->end = true;
    pthread_cond_signal(&j->work);
    pthread_mutex_unlock(&j->lock);
    pthread_join(j->thread, NULL);
    enum es_status status = es_journal_status(j, err);
    enum es_status closed = es_appender_close(&j->file, status == ES_OK ? err : NULL);
    pthread_cond_destroy(&j->done);
    pthread_cond_destroy(&j->work);
    pthread_mutex_destroy(&j->lock);
    free(j->waiting.bytes);
    free(j->writing.bytes);
    free(j);
    return status != ES_OK ? status : closed;
}

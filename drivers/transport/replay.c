/* Replay of a byte trace: what a recorded instrument said, said again. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/transport/trace_text.h"
#include "drivers/transport/transport.h"

struct event {
    enum es_trace_kind kind;
    double time;
    size_t first, count; /* into bytes */
};

struct replay {
    struct es_transport base;
    bool paced;
    es_time offset; /* clock minus trace time at the newest write; paced reads are due relative to it */
    struct event *events;
    size_t event_count, event_room;
    uint8_t *bytes;
    size_t byte_count, byte_room;
    size_t next; /* event */
    size_t used; /* bytes of it that are done */
    char name[256];
};

static bool grow(void **items, size_t *room, size_t needed, size_t size)
{
    if (needed <= *room)
        return true;
    size_t larger = *room ? *room * 2 : 64;
    if (larger < needed)
        larger = needed;
    void *p = realloc(*items, larger * size);
    if (!p)
        return false;
    *items = p;
    *room = larger;
    return true;
}

static enum es_status add_event(struct replay *r, const struct es_trace_event *e, struct es_error *err)
{
    if (e->kind == ES_TRACE_REMARK)
        return ES_OK;
    if (!grow((void **)&r->events, &r->event_room, r->event_count + 1, sizeof *r->events) ||
        !grow((void **)&r->bytes, &r->byte_room, r->byte_count + e->count, 1))
        return es_fail(err, ES_NO_MEMORY, "out of memory reading the byte trace %s", r->name);
    r->events[r->event_count++] = (struct event){e->kind, e->time, r->byte_count, e->count};
    if (e->count)
        memcpy(r->bytes + r->byte_count, e->bytes, e->count);
    r->byte_count += e->count;
    return ES_OK;
}

static enum es_status load(struct replay *r, const char *path, struct es_error *err)
{
    FILE *f = fopen(path, "re");
    if (!f)
        return es_fail_errno(err, errno, "the byte trace %s cannot be read", path);
    struct es_trace_event *e = malloc(sizeof *e);
    enum es_status status = e ? ES_OK : es_fail(err, ES_NO_MEMORY, "out of memory reading %s", path);
    char *line = NULL;
    size_t room = 0;
    unsigned number = 0;
    ssize_t n;
    while (status == ES_OK && (n = getline(&line, &room, f)) >= 0) {
        number++;
        size_t length = (size_t)n;
        if (length && line[length - 1] == '\n')
            length--;
        status = es_trace_parse(line, length, e, err);
        if (status != ES_OK)
            status = es_error_context(err, status, "%s:%u", path, number);
        else
            status = add_event(r, e, err);
    }
    if (status == ES_OK && ferror(f))
        status = es_fail_errno(err, errno, "reading the byte trace %s", path);
    free(line);
    free(e);
    fclose(f);
    return status;
}

static enum es_status replay_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct replay *r = (struct replay *)t;
    if (r->next < r->event_count && r->events[r->next].kind == ES_TRACE_HANGUP)
        return es_fail(err, ES_HANGUP, "%s: the recorded line hung up here", r->name);
    if (r->next == r->event_count || r->events[r->next].kind != ES_TRACE_READ)
        return es_fail(err, ES_TIMEOUT, "%s: the recorded instrument says nothing here", r->name);
    if (!r->paced)
        return ES_OK;
    es_time due = r->offset + es_from_seconds(r->events[r->next].time);
    es_clock_sleep_until(due < deadline ? due : deadline);
    return due <= deadline ? ES_OK : es_fail(err, ES_TIMEOUT, "%s: nothing came in time", r->name);
}

static void step(struct replay *r, size_t count)
{
    r->used += count;
    if (r->used == r->events[r->next].count) {
        r->used = 0;
        r->next++;
    }
}

static enum es_status replay_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                  size_t *got, struct es_error *err)
{
    struct replay *r = (struct replay *)t;
    enum es_status status = replay_wait(t, deadline, err);
    if (status != ES_OK)
        return status;
    const struct event *e = &r->events[r->next];
    size_t n = e->count - r->used < size ? e->count - r->used : size;
    memcpy(to, r->bytes + e->first + r->used, n);
    *got = n;
    step(r, n);
    return ES_OK;
}

static enum es_status fail_mismatch(const struct replay *r, const uint8_t *sent, size_t count,
                                    struct es_error *err)
{
    char text[3 * 24 + 8] = "", recorded[3 * 24 + 8] = "the end of the trace";
    for (size_t i = 0; i < count && i < 24; i++)
        snprintf(text + 3 * i, 4, " %02x", sent[i]);
    if (r->next < r->event_count && r->events[r->next].kind == ES_TRACE_WRITTEN) {
        const struct event *e = &r->events[r->next];
        recorded[0] = '\0';
        for (size_t i = 0; r->used + i < e->count && i < 24; i++)
            snprintf(recorded + 3 * i, 4, " %02x", r->bytes[e->first + r->used + i]);
    }
    return es_fail(err, ES_GARBLED, "%s: event %zu: sent%s where the trace has %s", r->name, r->next + 1,
                   text, recorded);
}

static enum es_status replay_write(struct es_transport *t, const uint8_t *from, size_t count,
                                   es_time deadline, struct es_error *err)
{
    struct replay *r = (struct replay *)t;
    (void)deadline;
    /* What was recorded and not asked for had been thrown away then, too. */
    while (r->next < r->event_count && r->events[r->next].kind == ES_TRACE_READ)
        step(r, r->events[r->next].count - r->used);
    if (r->next < r->event_count && r->events[r->next].kind == ES_TRACE_HANGUP)
        return es_fail(err, ES_HANGUP, "%s: the recorded line hung up here", r->name);
    while (count > 0) {
        const struct event *e = r->next < r->event_count ? &r->events[r->next] : NULL;
        if (!e || e->kind != ES_TRACE_WRITTEN)
            return fail_mismatch(r, from, count, err);
        size_t n = e->count - r->used < count ? e->count - r->used : count;
        if (memcmp(from, r->bytes + e->first + r->used, n) != 0)
            return fail_mismatch(r, from, count, err);
        r->offset = es_clock_now() - es_from_seconds(e->time);
        from += n;
        count -= n;
        step(r, n);
    }
    return ES_OK;
}

static enum es_status replay_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    (void)t;
    (void)deadline;
    (void)err;
    return ES_OK;
}

static enum es_status replay_flush(struct es_transport *t, struct es_error *err)
{
    struct replay *r = (struct replay *)t;
    (void)err;
    while (r->next < r->event_count && r->events[r->next].kind == ES_TRACE_READ)
        step(r, r->events[r->next].count - r->used);
    return ES_OK;
}

static enum es_status replay_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct replay *r = (struct replay *)t;
    (void)deadline;
    while (r->next < r->event_count && r->events[r->next].kind != ES_TRACE_REOPENED)
        r->next++;
    r->used = 0;
    if (r->next == r->event_count)
        return es_fail(err, ES_HANGUP, "%s: the recorded line does not come back", r->name);
    r->offset = es_clock_now() - es_from_seconds(r->events[r->next].time);
    r->next++;
    return ES_OK;
}

static int replay_descriptor(const struct es_transport *t)
{
    (void)t;
    return -1;
}

static void replay_describe(const struct es_transport *t, char *out, size_t size)
{
    const struct replay *r = (const struct replay *)t;
    snprintf(out, size, "replay of %s, at event %zu of %zu", r->name, r->next, r->event_count);
}

static void replay_close(struct es_transport *t)
{
    struct replay *r = (struct replay *)t;
    free(r->events);
    free(r->bytes);
    free(r);
}

static const struct es_transport_ops replay_ops = {
    .read = replay_read,
    .write = replay_write,
    .drain = replay_drain,
    .wait = replay_wait,
    .flush = replay_flush,
    .reopen = replay_reopen,
    .descriptor = replay_descriptor,
    .describe = replay_describe,
    .close = replay_close,
};

enum es_status es_replay_open(const char *path, bool paced, struct es_transport **out, struct es_error *err)
{
    struct replay *r = calloc(1, sizeof *r);
    if (!r)
        return es_fail(err, ES_NO_MEMORY, "out of memory opening %s", path);
    r->base.ops = &replay_ops;
    r->paced = paced;
    r->offset = es_clock_now();
    snprintf(r->name, sizeof r->name, "%s", path);
    enum es_status status = load(r, path, err);
    if (status != ES_OK) {
        replay_close(&r->base);
        return status;
    }
    *out = &r->base;
    return ES_OK;
}

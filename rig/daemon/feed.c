#include <inttypes.h>
#include <pthread.h>
#include <stdlib.h>

#include "rig/daemon/feed.h"

struct es_feed {
    pthread_mutex_t lock;
    struct es_text *events; /* ring: event n lies at n % keep */
    size_t keep;
    uint64_t next;
    struct es_text values;
    uint64_t values_count;
    void (*wake)(void *self);
    void *wake_self;
};

enum es_status es_feed_new(size_t keep, void (*wake)(void *self), void *self, struct es_feed **out,
                           struct es_error *err)
{
    struct es_feed *f = calloc(1, sizeof *f);
    if (f == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for a station's events");
    f->events = calloc(keep, sizeof *f->events);
    if (f->events == NULL) {
        free(f);
        return es_fail(err, ES_NO_MEMORY, "not enough memory for a station's events");
    }
    (void)pthread_mutex_init(&f->lock, NULL); /* default attributes: cannot fail on Linux */
    f->keep = keep;
    f->next = 1;
    f->wake = wake;
    f->wake_self = self;
    *out = f;
    return ES_OK;
}

void es_feed_free(struct es_feed *f)
{
    if (f == NULL)
        return;
    for (size_t i = 0; i < f->keep; i++)
        es_text_free(&f->events[i]);
    free(f->events);
    es_text_free(&f->values);
    (void)pthread_mutex_destroy(&f->lock);
    free(f);
}

uint64_t es_feed_next(struct es_feed *f)
{
    pthread_mutex_lock(&f->lock);
    uint64_t next = f->next;
    pthread_mutex_unlock(&f->lock);
    return next;
}

void es_feed_append(struct es_feed *f, const char *json, size_t length)
{
    if (length < 2)
        return;
    pthread_mutex_lock(&f->lock);
    struct es_text *slot = &f->events[f->next % f->keep];
    es_text_reset(slot);
    es_text_printf(slot, "{\"seq\":%" PRIu64 "%s", f->next, length > 2 ? "," : "");
    es_text_append(slot, json + 1, length - 1);
    if (slot->out_of_memory)
        es_text_free(slot); /* readers find nothing there and are told of a gap */
    f->next++;
    pthread_mutex_unlock(&f->lock);
    if (f->wake != NULL)
        f->wake(f->wake_self);
}

void es_feed_values(struct es_feed *f, struct es_text *json)
{
    pthread_mutex_lock(&f->lock);
    struct es_text old = f->values;
    f->values = *json;
    *json = old;
    es_text_reset(json);
    f->values_count++;
    pthread_mutex_unlock(&f->lock);
    if (f->wake != NULL)
        f->wake(f->wake_self);
}

enum es_feed_read es_feed_event(struct es_feed *f, uint64_t *cursor, uint64_t *lost, struct es_text *out)
{
    enum es_feed_read result = ES_FEED_NOTHING;
    *lost = 0;
    pthread_mutex_lock(&f->lock);
    if (*cursor == 0 || *cursor > f->next)
        *cursor = f->next;
    uint64_t oldest = f->next > f->keep ? f->next - f->keep : 1;
    if (*cursor < oldest) {
        *lost = oldest - *cursor;
        *cursor = oldest;
        result = ES_FEED_GAP;
    } else if (*cursor < f->next) {
        const struct es_text *slot = &f->events[*cursor % f->keep];
        result = slot->length > 0 ? ES_FEED_EVENT : ES_FEED_GAP;
        if (slot->length > 0)
            es_text_append(out, slot->bytes, slot->length);
        else
            *lost = 1;
        ++*cursor;
    }
    pthread_mutex_unlock(&f->lock);
    return result;
}

bool es_feed_newest(struct es_feed *f, uint64_t *cursor, struct es_text *out)
{
    bool fresh = false;
    pthread_mutex_lock(&f->lock);
    if (*cursor < f->values_count && f->values.length > 0) {
        es_text_append(out, f->values.bytes, f->values.length);
        *cursor = f->values_count;
        fresh = true;
    }
    pthread_mutex_unlock(&f->lock);
    return fresh;
}

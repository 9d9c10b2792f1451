/* What a station tells: numbered events that nobody may miss, and live values of which only the newest
 * counts. One writer (the station's job), any number of readers at their own pace, each with a cursor of its
 * own, so that a slow reader costs no memory and holds up nobody. Serves the local socket now and the page's
 * event stream later. All functions may be called from any thread. */
#ifndef ES_DAEMON_FEED_H
#define ES_DAEMON_FEED_H

#include <stdint.h>

#include "rig/base/text.h"

struct es_feed;

/* `keep` events are kept; older ones are forgotten. `wake` is called after each change, on the writer's
 * thread; it must not block and must not call the feed. */
enum es_status es_feed_new(size_t keep, void (*wake)(void *self), void *self, struct es_feed **out,
                           struct es_error *err) ES_MUST_CHECK;
void es_feed_free(struct es_feed *feed); /* NULL allowed; no reader or writer left */

/* The number that the next event gets; they go on over all runs of a station, from 1. */
uint64_t es_feed_next(struct es_feed *feed);

/* Appends one event: `json` is an object's text "{...}" into which the number goes as first member "seq".
 * When memory is short the event is replaced by a gap that readers can see. */
void es_feed_append(struct es_feed *feed, const char *json, size_t length);

/* Replaces the newest values by the bytes of `json`, which is left empty. */
void es_feed_values(struct es_feed *feed, struct es_text *json);

enum es_feed_read {
    ES_FEED_NOTHING, /* nothing new */
    ES_FEED_EVENT,   /* one event added to `out`, *cursor moved on */
    ES_FEED_GAP      /* the event is no longer kept: *cursor moved to the oldest one that is; *lost tells how
                        many are gone */
};

/* The event at *cursor (0: from now on). */
enum es_feed_read es_feed_event(struct es_feed *feed, uint64_t *cursor, uint64_t *lost, struct es_text *out);

/* The newest values if they are newer than *cursor (start with 0). */
bool es_feed_newest(struct es_feed *feed, uint64_t *cursor, struct es_text *out);

#endif

/* Which live values matter now, and how they are written: those of the running step, then those of the
 * recordings under way, then the supply pressure while air is on. One thread at a time. */
#ifndef ES_CLIENT_WATCHED_H
#define ES_CLIENT_WATCHED_H

#include <cjson/cJSON.h>
#include <stddef.h>

#include "rig/base/text.h"

#define ES_WATCHED_ROLES      16
#define ES_WATCHED_RECORDINGS 8
#define ES_WATCHED_NAME       48

struct es_watched_set {
    char name[80]; /* of the recording */
    size_t count;
    char roles[ES_WATCHED_ROLES][ES_WATCHED_NAME];
};

struct es_watched {
    struct es_watched_set step;
    struct es_watched_set recordings[ES_WATCHED_RECORDINGS];
    size_t recording_count;
};

/* Takes a step, recording or procedure event; others leave it as it is. */
void es_watched_event(struct es_watched *watched, const cJSON *event);

/* Writes the values that matter of a "values" event as lines of at most `width` columns, at most `lines` of
 * them; what has no room is left out, the least important first. */
void es_watched_lines(const struct es_watched *watched, const cJSON *values, size_t width, size_t lines,
                      struct es_text *out);

#endif

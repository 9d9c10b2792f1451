/* Live progress of a run: a compact block redrawn on a terminal, plain lines where standard error is none. */
#ifndef ES_CLIENT_PROGRESS_H
#define ES_CLIENT_PROGRESS_H

#include <cjson/cJSON.h>

#include "rig/base/clock.h"
#include "rig/client/verb.h"
#include "rig/client/watched.h"

struct es_progress {
    const struct es_screen *screen;
    bool quiet;
    char procedure[160], step[400];
    double elapsed, remaining; /* s, at `since` */
    es_time since;
    es_time drawn; /* last time */
    size_t lines;  /* of the block that stands on the terminal */
    size_t width;  /* of standard error */
    struct es_watched watched;
    char values[512]; /* the values that matter, ready to print, one or two lines */
};

void es_progress_start(struct es_progress *p, const struct es_screen *screen, bool quiet);

/* Takes procedure, step, recording, note and values events. */
void es_progress_event(struct es_progress *p, const cJSON *event);

/* Draws the block when it is due (a terminal only). */
void es_progress_draw(struct es_progress *p, es_time now);

/* Takes the block off the terminal, so that other lines can be printed. */
void es_progress_clear(struct es_progress *p);

/* Text that stays, each of its lines indented by `hang`; and a title of our own words, bold on a terminal. */
void es_progress_paragraph(struct es_progress *p, size_t hang, const char *text);
void es_progress_title(struct es_progress *p, const char *text);

/* One line that stays, on standard error. */
void es_progress_say(struct es_progress *p, const char *format, ...) ES_PRINTF(2, 3);

#endif

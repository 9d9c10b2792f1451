/* What clients can ask of the daemon, without sockets: one request in, one reply out, never waiting on a bus.
 * The local socket's sessions call it, and so will the page. One thread (the event loop's). */
#ifndef ES_DAEMON_CONTROL_H
#define ES_DAEMON_CONTROL_H

#include <sys/types.h>

#include "rig/daemon/desk.h"

struct es_control;

struct es_control_options {
    const struct es_bench *bench;
    struct es_live *live;
    struct es_office *office;
    const char *state, *library, *types; /* folders; borrowed */
    double grace;
    void (*wake)(void *self);
    void *wake_self;
    const struct es_log *log; /* borrowed; NULL: none */
};

/* One who speaks: who he is, and what he follows. Zeroed at first, uid and user filled from the connection.
 */
struct es_caller {
    uid_t uid;
    char user[64];   /* system user's name */
    char person[96]; /* as he calls himself; else the user's name */
    bool greeted;
    struct es_desk *follows; /* NULL: none */
    bool attends;
    uint64_t event_cursor, value_cursor;
};

enum es_status es_control_new(const struct es_control_options *options, struct es_control **out,
                              struct es_error *err) ES_MUST_CHECK;
/* Stops what is under way and refuses anything new; es_control_busy tells when all is done. */
void es_control_end(struct es_control *control);
/* Blocks until all stations are safe and their papers written. No caller is left. NULL allowed. */
void es_control_free(struct es_control *control);

/* Answers one line. Always puts one whole reply (without line feed) into `out`; returns false when the
 * connection must be closed after it. */
bool es_control_answer(struct es_control *control, struct es_caller *caller, const char *line, size_t length,
                       struct es_text *out);

/* The next thing the caller follows: true when a message was added to `out`. */
bool es_control_next(struct es_control *control, struct es_caller *caller, bool values_too,
                     struct es_text *out);

/* The caller is gone. */
void es_control_leave(struct es_control *control, struct es_caller *caller);

/* To be called a few times a second while es_control_busy. */
void es_control_tick(struct es_control *control, es_time now);
bool es_control_busy(struct es_control *control);

#endif

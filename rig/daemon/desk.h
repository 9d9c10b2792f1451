/* What the daemon keeps for one station: the job under way on a thread of its own, the question that waits
 * for an answer, who attends, and the feed that tells all of it.
 *
 *            run                     ended, paper durable
 *   IDLE ----------> RUNNING --------------------------------> IDLE
 *    |                  | stop, operator away, interlock        ^
 *    | stop, reset      v                                       |
 *    |               STOPPING ----------------------------------+
 *    +------------> SETTLING (making safe, resetting) ----------+
 *
 * New, free, run, stop, reset and tick come from one thread (the event loop's), the others from any. None
 * waits on a bus or a disk, except es_desk_free. */
#ifndef ES_DAEMON_DESK_H
#define ES_DAEMON_DESK_H

#include "rig/bench/run.h"
#include "rig/bench/station.h"
#include "rig/daemon/feed.h"
#include "rig/daemon/office.h"
#include "rig/daemon/protocol.h"

struct es_desk;

struct es_desk_options {
    struct es_station *station;
    struct es_office *office;
    const char *library, *types; /* folders of plans and type sheets; borrowed */
    double grace;                /* s that an attended run goes on without its operator */
    void (*wake)(void *self);    /* the feed has news */
    void *wake_self;
    const struct es_log *log; /* borrowed; NULL: none */
};

enum es_status es_desk_new(const struct es_desk_options *options, struct es_desk **out,
                           struct es_error *err) ES_MUST_CHECK;

/* Blocks: stops what is under way, waits for its safe state and its paper. NULL allowed. */
void es_desk_free(struct es_desk *desk);

const char *es_desk_name(const struct es_desk *desk);
struct es_station *es_desk_station(const struct es_desk *desk);
struct es_feed *es_desk_feed(struct es_desk *desk);

/* Starts a run. `request` is taken over on ES_OK (and emptied). ES_REFUSED while something else is under
 * way. `run` receives its identity, *first the number of its first event. What is wrong with plan, type or
 * bench comes as the run's "ended" event. */
enum es_status es_desk_run(struct es_desk *desk, struct es_request_line *request, const char *person,
                           char run[static 64], uint64_t *first, struct es_error *err) ES_MUST_CHECK;

/* Stops the run; without one, makes the station safe all the same. *first as above. */
enum es_status es_desk_stop(struct es_desk *desk, const char *why, uint64_t *first,
                            struct es_error *err) ES_MUST_CHECK;

/* Stops a run; does nothing when there is none. */
void es_desk_stop_run(struct es_desk *desk, const char *why);

/* A person says that the cause of a trip has been looked at. */
enum es_status es_desk_reset(struct es_desk *desk, const char *person, uint64_t *first,
                             struct es_error *err) ES_MUST_CHECK;

/* Answers the open question. ES_REFUSED: it is no longer open, or the answer does not fit its kind. */
enum es_status es_desk_answer(struct es_desk *desk, const struct es_request_line *request, const char *person,
                              struct es_error *err) ES_MUST_CHECK;

/* An operator's connection comes (true) or goes (false). */
void es_desk_attend(struct es_desk *desk, bool comes);

/* Looks whether an attended run has been without its operator for too long. To be called a few times a
 * second. */
void es_desk_tick(struct es_desk *desk, es_time now);

bool es_desk_busy(struct es_desk *desk);

/* Adds members of the station's state ("doing", "run", "question", "next") to an open object. */
void es_desk_describe(struct es_desk *desk, struct es_text *out);

#endif

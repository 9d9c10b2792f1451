/* The safe state as a sequence of ordered writes that never blocks: the caller turns the crank. Real and
 * virtual stations use the same one. One thread (the station's) at a time.
 *
 *          begin            last one written      all outcomes and read-backs known, or out of time
 *   IDLE ---------> WRITING -----------------> PROVING -------------------------------------------> END
 *                    |   ^                                                                          |
 *  outcome, or its   v   | its `wait` has passed                        begin (again, at any time)  v
 *  share of time    PAUSE                                                                        WRITING
 *  is over
 *
 * A write whose bus is down, or that has no outcome by its own deadline, does not hold up the writes that
 * follow: it stays posted and its outcome is taken when it comes before the end. One that is refused does not
 * hold them up either, and is tried again and again until the end. */
#ifndef ES_BENCH_SAFE_STATE_H
#define ES_BENCH_SAFE_STATE_H

#include "rig/base/clock.h"
#include "rig/bench/bench.h"

#define ES_SAFE_WRITE_MAX 32

enum es_safe_outcome {
    ES_SAFE_WAITING,  /* not sent yet, or sent and no outcome yet */
    ES_SAFE_DONE,     /* acknowledged, and read back where that is possible */
    ES_SAFE_UNPROVED, /* acknowledged, but the matching input does not confirm it */
    ES_SAFE_NOT_DONE  /* refused, timed out, bus dead */
};

struct es_safe_step {
    enum es_role role;
    double value;
    enum es_safe_outcome outcome;
    double at;      /* s since the sequence began; NAN when it never came */
    char text[160]; /* why not; "" when done */
};

struct es_safe_report {
    bool reached;   /* every write acknowledged, proved or not */
    bool late;      /* reached, but longer after the cause than the bench file allows */
    double seconds; /* from the cause (or the request) to the last outcome */
    double allowed; /* the bench file's `within` */
    char cause[256];
    size_t count;
    struct es_safe_step steps[ES_SAFE_WRITE_MAX];
    char sentence[640]; /* for people: what is safe, what is not, what to do */
};

/* How the sequence reaches the bench; none of these may block. */
struct es_safe_hands {
    void *self;
    /* Posts a write ahead of all others; *ticket names it. */
    enum es_status (*post)(void *self, enum es_role role, double value, es_time deadline, unsigned *ticket,
                           struct es_error *err);
    /* True when the outcome is known. */
    bool (*outcome)(void *self, unsigned ticket, enum es_status *status, struct es_error *err);
    /* Newest reading of a role, for the read-back; false when there is none that is good and newer than
     * `after`. */
    bool (*newest)(void *self, enum es_role role, es_time after, double *value);
    /* False when the bus of a role's channel is known to be down. */
    bool (*bus_up)(void *self, enum es_role role);
};

enum es_safe_phase { ES_SAFE_IDLE, ES_SAFE_WRITING, ES_SAFE_PAUSE, ES_SAFE_PROVING, ES_SAFE_END };

struct es_safe_sequence {
    const struct es_bench_station *station;
    struct es_safe_hands hands;
    enum es_safe_phase phase;
    es_time cause, began, next, limit;
    size_t at;
    unsigned tickets[ES_SAFE_WRITE_MAX];
    bool posted[ES_SAFE_WRITE_MAX], acknowledged[ES_SAFE_WRITE_MAX];
    es_time written[ES_SAFE_WRITE_MAX], again[ES_SAFE_WRITE_MAX];
    es_time step_deadline;
    struct es_safe_report report;
};

void es_safe_init(struct es_safe_sequence *s, const struct es_bench_station *station,
                  const struct es_safe_hands *hands);

/* Starts it; `cause` is when the reason for it arose. */
void es_safe_begin(struct es_safe_sequence *s, es_time cause, es_time now, const char *why);

/* Turns the crank. Returns true while there is more to do; *next is when to come again at the latest. */
bool es_safe_step(struct es_safe_sequence *s, es_time now, es_time *next);

const char *es_safe_outcome_word(enum es_safe_outcome o);

#endif

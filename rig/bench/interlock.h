/* The interlock's rules, without thread or clock of its own: samples and times go in, a trip comes out. The
 * real station's thread and the virtual station feed the same code.
 *
 *                    safe state reached                 arm (a run begins, everything clear)
 *   UNKNOWN ---------------------------------> SAFE -----------------------------------------> ARMED
 *      ^                                        ^  ^                                             |
 *      | safe state not reached                 |  | disarm (the run has ended, safe state)      | a rule
 * trips,
 *      +----------------------------------------+  +---------------------------------------------+ a person,
 * a |                                                | missed deadline reset, causes gone       | safe-state
 * sequence has ended          v TRIPPED -----------------+  TRIPPED <----------------------------------
 * TRIPPING
 *
 * One thread at a time. */
#ifndef ES_BENCH_INTERLOCK_H
#define ES_BENCH_INTERLOCK_H

#include "rig/bench/station.h"

/* An interlock that has not been looked after for this long has missed its own deadline. */
#define ES_INTERLOCK_DEADLINE 0.5 /* s */

/* Noise. Emergency stop and guard act at the first bad sample. A reading beyond its ceiling acts at once when
 * it is beyond by more than this share of the ceiling, else when the next reading is not good and within
 * either, or when none comes within the channel's staleness time. The cause's time is that of the first. */
#define ES_CEILING_FAR 0.1

/* A needed bus may be away for this long (re-identifying after one late answer) before the run must end. */
#define ES_INTERLOCK_BUS_GRACE 1.0 /* s */

struct es_interlock_role {
    const struct es_bench_channel *channel; /* NULL: the station has none */
    bool needed;                            /* by the run */
    bool always;                            /* emergency stop, guard: bad at the first bad sample */
    double lowest, highest;                 /* of the reading; infinite: no ceiling */
    es_time last_good, last_taken;          /* 0: never */
    es_time bad_since;                      /* 0: not bad */
    es_time beyond_since;                   /* 0: the last good reading was within its ceiling */
    enum es_quality quality;
    double value;
    es_time bus_away_since; /* 0: it is there */
};

struct es_interlock {
    const struct es_bench_station *station;
    enum es_interlock_state state;
    struct es_interlock_role roles[ES_ROLE_COUNT];
    es_time last_tick; /* 0: none yet */
    es_time cause_at;
    char cause[256];
};

void es_interlock_init(struct es_interlock *lock, const struct es_bench_station *station);

/* One sample. Returns true when it trips (ARMED -> TRIPPING). */
bool es_interlock_sample(struct es_interlock *lock, enum es_role role, enum es_quality quality, double value,
                         es_time taken);

/* The setting of a watched output was read, or could not be. Whether it is right is output_watch.h's. */
void es_interlock_setting(struct es_interlock *lock, enum es_role role, bool good, es_time taken);

/* The bus of a role's channel is there, or has been away since `since`. */
void es_interlock_bus(struct es_interlock *lock, enum es_role role, bool up, es_time since);

/* Looks at what time alone makes bad: stale channels, buses away, its own lateness. True when it trips. */
bool es_interlock_tick(struct es_interlock *lock, es_time now);

/* Trips for a cause from outside (a person, the journal's disk). False when it had tripped already. */
bool es_interlock_trip(struct es_interlock *lock, es_time when, const char *cause);

/* SAFE -> ARMED. Fails with ES_INTERLOCK and the reason: not clear, a needed channel that gives nothing. */
enum es_status es_interlock_arm(struct es_interlock *lock, const bool needed[static ES_ROLE_COUNT],
                                es_time now, struct es_error *err) ES_MUST_CHECK;

/* The run has ended: ARMED -> SAFE or UNKNOWN, by whether the safe state was reached. */
void es_interlock_disarm(struct es_interlock *lock, bool reached);

/* The safe-state sequence has ended outside a run: TRIPPING -> TRIPPED; UNKNOWN or SAFE -> SAFE or UNKNOWN.
 */
void es_interlock_made_safe(struct es_interlock *lock, bool reached);

/* TRIPPED -> SAFE after a person has looked; fails with ES_INTERLOCK while a cause is still there. */
enum es_status es_interlock_reset(struct es_interlock *lock, es_time now, struct es_error *err) ES_MUST_CHECK;

/* Pressing: emergency stop, guard and ceilings as they are now. ES_OK when all are clear. */
enum es_status es_interlock_clear(const struct es_interlock *lock, es_time now, struct es_error *err);

#endif

/* The bench at work: one thread a bus, one thread a station (interlock, recordings), over real time.
 *
 * es_live opens all buses of a bench file and all its stations; a bus or an instrument that does not answer
 * is a state, never a reason not to start. First of all every station is put into its safe state. All
 * functions below may be called from any thread unless said otherwise; none waits on a bus, except where
 * "blocks" is said. */
#ifndef ES_BENCH_STATION_H
#define ES_BENCH_STATION_H

#include "rig/bench/site.h"

struct es_live;
struct es_station;

/* A bus's link, see bus_thread.c for the state machine. */
enum es_link_state {
    ES_LINK_CLOSED,  /* not open; waits (backing off) to open again */
    ES_LINK_OPEN,    /* open, instruments being identified */
    ES_LINK_TRUSTED, /* reading and writing */
    ES_LINK_SUSPECT  /* after a time-out: quiet, flush, identify; nothing counts meanwhile */
};

enum es_instrument_state {
    ES_INSTRUMENT_UNKNOWN, /* not asked yet */
    ES_INSTRUMENT_ANSWERS,
    ES_INSTRUMENT_SILENT, /* did not answer; asked again with backing off */
    ES_INSTRUMENT_WRONG   /* answers, but is not the one that the bench file names */
};

const char *es_link_state_word(enum es_link_state s);
const char *es_instrument_state_word(enum es_instrument_state s);

struct es_bus_status {
    const char *name, *driver; /* borrowed from bench */
    enum es_link_state state;
    double line_limit; /* Hz, scans the line can carry; 0 unknown */
    double scan_rate;  /* Hz, requests answered over the last second */
    uint64_t requests, answers, timeouts, hangups, refused, garbled, opens, writes;
    double retry_in;   /* s until it is opened again; 0 when open */
    double late_worst; /* s, worst lateness of a scan against its deadline, last 10 s */
    char text[256];    /* the last trouble as a sentence; "" when there was none */
};

struct es_instrument_status {
    const char *name, *bus;
    enum es_instrument_state state;
    char identity[128];
    double retry_in; /* s */
    char text[256];
};

struct es_channel_status {
    enum es_role role;
    const char *instrument;
    bool writable;
    const struct es_unit *unit;
    struct es_reading newest; /* quality already says ES_STALE when it is too old; for outputs the last
                                 acknowledged write, ES_FAILED when none was made */
    double age;               /* s; NAN: never */
    double rate;              /* Hz, measured over the last second */
    bool overdue;             /* calibration is past its date */
};

/* Interlock, see interlock.h. */
enum es_interlock_state { ES_LOCK_UNKNOWN, ES_LOCK_SAFE, ES_LOCK_ARMED, ES_LOCK_TRIPPING, ES_LOCK_TRIPPED };
const char *es_interlock_state_word(enum es_interlock_state s);

struct es_station_status {
    const char *name;
    enum es_interlock_state state;
    char cause[256];            /* of the last trip; "" */
    struct es_safe_report safe; /* the last time it was made safe */
    bool running;
    char run[64];
};

struct es_live_options {
    /* One line for the log; may come from any of its threads; NULL: none. */
    void (*log)(void *self, const char *line);
    void *log_self;
    /* Each scan's times, on the bus's thread: when it was due, began, ended. For measuring; NULL: none. */
    void (*scanned)(void *self, size_t bus, es_time due, es_time began, es_time ended);
    void *scanned_self;
};

/* Starts threads; `bench` must outlive it. Blocks until every station has been made safe or its time for
 * that has run out (see es_station_status). */
enum es_status es_live_open(const struct es_bench *bench, const struct es_live_options *options,
                            struct es_live **out, struct es_error *err) ES_MUST_CHECK;

/* Blocks: makes every station safe, then stops all threads. No run may be under way. NULL allowed. */
void es_live_close(struct es_live *live);

size_t es_live_bus_count(const struct es_live *live);
void es_live_bus_status(const struct es_live *live, size_t bus, struct es_bus_status *out);
size_t es_live_instrument_count(const struct es_live *live);
void es_live_instrument_status(const struct es_live *live, size_t instrument,
                               struct es_instrument_status *out);

/* NULL when the bench has no such station. */
struct es_station *es_live_station(struct es_live *live, const char *name);

void es_station_status(struct es_station *station, struct es_station_status *out);
/* Writes at most `max`; returns how many channels the station has. In the bench file's order. */
size_t es_station_channels(struct es_station *station, struct es_channel_status *out, size_t max);
/* One reading for each role (ES_ROLE_COUNT entries; ES_FAILED where there is no channel). */
void es_station_values(struct es_station *station, struct es_reading out[static ES_ROLE_COUNT]);

/* Blocks until the safe state is reached or its time is over. Ends a run as ES_INTERLOCK. */
void es_station_make_safe(struct es_station *station, const char *why, struct es_safe_report *report);

/* A person says that a trip has been looked at. Refused (ES_INTERLOCK) while its cause is still there. Blocks
 * for the safe state. */
enum es_status es_station_reset(struct es_station *station, const char *person, struct es_error *err);

/* The station as a place for runs; lives as long as the live bench. One run at a time. */
const struct es_site *es_station_site(struct es_station *station);

#endif

/* One thread a bus: nobody else touches its driver. Reads what the stations want at absolute deadlines, takes
 * writes from its queue, keeps trust in the line.
 *
 *              open (backing off)            all instruments asked
 *   CLOSED ---------------------> OPEN ------------------------------> TRUSTED <---------------+
 *      ^                           |                                     |  |                  |
 *      |        hang-up            |              hang-up                |  | time-out,        | settled,
 *      +---------------------------+-------------------------------------+  | garbled answer   | identified
 * or |                                                                    v                  | set aside
 *      +----------------------------------------------------------------- SUSPECT -------------+
 *                       hang-up while settling
 *
 * Writes marked urgent (safe state, watchdog) go ahead of everything, at every state in which the line is
 * open, without waiting for identification. An instrument that stays silent is asked again with backing off,
 * and not at all while a run is under way: each question would cost the others its time-out. */
#ifndef ES_BENCH_BUS_THREAD_H
#define ES_BENCH_BUS_THREAD_H

#include <pthread.h>
#include <semaphore.h>

#include "rig/bench/ring.h"
#include "rig/bench/station.h"

#define ES_BUS_JOBS 128

/* Where the samples of one station go. */
struct es_bus_reader {
    const struct es_bench_station *station;
    struct es_ring ring;
    sem_t *wake; /* posted after each scan */
};

enum es_job_state { ES_JOB_FREE, ES_JOB_QUEUED, ES_JOB_BUSY, ES_JOB_DONE };

/* One write with its outcome. */
struct es_bus_job {
    enum es_job_state state;
    unsigned ticket;
    const struct es_bench_station *station;
    const struct es_bench_channel *channel;
    double raw;
    es_time deadline;
    bool urgent, abandoned;
    uint64_t order;
    enum es_status status;
    struct es_error err;
    struct es_stamp acted;
};

struct es_bus_point { /* of the plan: where its samples go */
    const struct es_bench_channel *channel;
    size_t reader;
};

struct es_bus_schedule { /* one request */
    es_time interval, next;
    bool settings; /* of outputs only: wanted during runs */
};

struct es_bus_instrument {
    enum es_instrument_state state;
    unsigned failures; /* in a row */
    es_time retry_at;
    double wait; /* s, next backing off */
    char identity[128];
    char text[256];
};

struct es_bus_thread {
    const struct es_bench *bench;
    const struct es_bench_bus *about;
    size_t index;
    struct es_bus_reader *readers;
    size_t reader_count;
    struct es_live_options options;

    /* The thread's own. */
    struct es_bus *bus; /* NULL: never opened */
    struct es_instrument_common *commons;
    struct es_point *points;
    struct es_bus_point *targets;
    size_t point_count;
    const struct es_request *requests;
    size_t request_count;
    struct es_bus_schedule *schedule;
    struct es_raw *values;
    size_t identify_next; /* first instrument not asked yet since the line was opened */
    size_t suspect;       /* instrument that made the line suspect */
    double reopen_wait;
    uint16_t scan;

    /* Guarded by lock. */
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake, done;
    bool end;
    struct es_bus_job jobs[ES_BUS_JOBS];
    uint64_t job_order;
    unsigned ticket;
    struct es_bus_status status;
    es_time reopen_at;
    es_time rate_from;
    uint64_t rate_answers;
    es_time late_from;
    struct es_bus_instrument *instruments; /* as about->instruments */

    atomic_int_least64_t away_since; /* 0: trusted */
    atomic_int busy;                 /* runs under way: no probing of silent instruments */
};

/* Prepares; `readers` (one a station, filled in station and wake) and bench outlive it. */
enum es_status es_bus_thread_init(struct es_bus_thread *t, const struct es_bench *bench, size_t index,
                                  struct es_bus_reader *readers, size_t reader_count,
                                  const struct es_live_options *options, struct es_error *err) ES_MUST_CHECK;
enum es_status es_bus_thread_start(struct es_bus_thread *t, struct es_error *err) ES_MUST_CHECK;
void es_bus_thread_stop(struct es_bus_thread *t); /* fails what waits as ES_CANCELLED */
void es_bus_thread_free(struct es_bus_thread *t);

/* ---- bus_jobs.c: any thread ---- */

/* Posts a write; never waits. An urgent one cancels what waits for the same station. */
enum es_status es_bus_post(struct es_bus_thread *t, const struct es_bench_station *station,
                           const struct es_bench_channel *channel, double raw, bool urgent, es_time deadline,
                           unsigned *ticket, struct es_error *err) ES_MUST_CHECK;
/* True when it is known; the ticket is then used up. */
bool es_bus_outcome(struct es_bus_thread *t, unsigned ticket, enum es_status *status, struct es_stamp *acted,
                    struct es_error *err);
/* Waits for it, at most until its deadline and a little. */
enum es_status es_bus_wait(struct es_bus_thread *t, unsigned ticket, struct es_stamp *acted,
                           struct es_error *err) ES_MUST_CHECK;

/* ---- bus_jobs.c: the bus's thread, lock held ---- */
struct es_bus_job *es_bus_next_job(struct es_bus_thread *t, bool urgent_only, es_time now);
void es_bus_finish_job(struct es_bus_thread *t, struct es_bus_job *job, enum es_status status,
                       const struct es_error *err, const struct es_stamp *acted);
/* Fails all that wait and are not urgent. */
void es_bus_fail_jobs(struct es_bus_thread *t, enum es_status status, const char *why, bool urgent_too);

/* ---- bus_link.c: the bus's thread ---- */
void es_bus_link_open(struct es_bus_thread *t);
void es_bus_link_identify(struct es_bus_thread *t);
void es_bus_link_settle(struct es_bus_thread *t);
/* What a failed exchange means for line and instrument. */
void es_bus_link_failed(struct es_bus_thread *t, size_t instrument, enum es_status status,
                        const struct es_error *err);
void es_bus_link_answered(struct es_bus_thread *t, size_t instrument);
/* Asks one silent instrument again when its time has come; true when something was done. */
bool es_bus_link_ask_again(struct es_bus_thread *t, es_time now);
void es_bus_link_say(struct es_bus_thread *t, const char *format, ...) ES_PRINTF(2, 3);

/* Index of a bench instrument in the driver's order. */
size_t es_bus_instrument_of(const struct es_bus_thread *t, size_t bench_instrument);

void es_bus_thread_status(struct es_bus_thread *t, struct es_bus_status *out);
void es_bus_thread_instrument(struct es_bus_thread *t, size_t bench_instrument,
                              struct es_instrument_status *out);

#endif

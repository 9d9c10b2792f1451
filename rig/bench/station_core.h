/* What the real and the virtual station have in common: newest values, interlock, recordings, what was
 * written. No lock of its own; the real station locks around it. Inside of rig/bench only. */
#ifndef ES_BENCH_STATION_CORE_H
#define ES_BENCH_STATION_CORE_H

#include <stdatomic.h>

#include "rig/bench/interlock.h"
#include "rig/bench/journal.h"
#include "rig/bench/output_watch.h"
#include "rig/bench/recorder.h"

struct es_station_core {
    const struct es_bench *bench;
    const struct es_bench_station *station;
    const struct es_bench_channel *channels[ES_ROLE_COUNT]; /* NULL: none */
    struct es_reading newest[ES_ROLE_COUNT];
    struct es_output_told told[ES_ROLE_COUNT];
    struct es_output_watch outputs[ES_ROLE_COUNT];
    struct es_interlock lock;
    struct es_recorder recorder;
    struct es_safe_sequence safe;
    const struct es_site_order *order; /* of the run under way; NULL: none */
    atomic_int stop;                   /* 0 go on; 1 being asked to stop; 2 asked, stop_reason is written */
    char stop_reason[160];
    double trip_seconds; /* NAN: nothing tripped in this run */
    char trip_cause[256];
};

void es_core_init(struct es_station_core *c, const struct es_bench *bench,
                  const struct es_bench_station *station);
void es_core_free(struct es_station_core *c);

/* One sample on its way: interlock first, then newest value, then recordings. True when it tripped. */
bool es_core_sample(struct es_station_core *c, enum es_role role, enum es_quality quality, double value,
                    es_time taken, double u_time);

/* The setting of an output as its instrument tells it: the raw number. True when it tripped. */
bool es_core_setting(struct es_station_core *c, enum es_role role, struct es_raw raw, es_time taken);

/* A write is under way from here on, until es_core_wrote. */
void es_core_writing(struct es_station_core *c, enum es_role role);

/* What time alone makes bad, and outputs whose matching input does not follow. True when it tripped. */
bool es_core_tick(struct es_station_core *c, es_time now);

/* A write that was acknowledged (ES_OK) or failed. */
void es_core_wrote(struct es_station_core *c, enum es_role role, double value, enum es_status status,
                   es_time acted, double u_time);

/* The newest reading as it counts now: too old is ES_STALE. */
struct es_reading es_core_reading(const struct es_station_core *c, enum es_role role, es_time now);
void es_core_readings(const struct es_station_core *c, es_time now,
                      struct es_reading out[static ES_ROLE_COUNT]);

/* ES_OK while the run may go on, else why it must end. */
enum es_status es_core_status(const struct es_station_core *c, struct es_error *err);

/* Asks the run to end; any thread. False when it was asked before. */
bool es_core_stop(struct es_station_core *c, const char *reason);
bool es_core_stopped(const struct es_station_core *c);

/* Begins and ends a run's part; a safe state lies before and after. */
enum es_status es_core_begin(struct es_station_core *c, const struct es_site_order *order, es_time now,
                             struct es_error *err) ES_MUST_CHECK;
void es_core_end(struct es_station_core *c);

/* The safe-state sequence has ended: books it with the interlock and the journal. */
void es_core_made_safe(struct es_station_core *c, es_time now);

bool es_core_has_role(const struct es_station_core *c, enum es_role role, enum es_dimension *dimension);

/* The journal of the run under way; NULL: none. */
struct es_journal *es_core_journal(const struct es_station_core *c);

#endif

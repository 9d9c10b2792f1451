/* Recordings under way at one station: samples and writes go in, traces come out. No thread of its own: the
 * owner locks where that is needed. Memory is taken when a recording begins and grows by doubling. */
#ifndef ES_BENCH_RECORDER_H
#define ES_BENCH_RECORDER_H

#include "procedures/engine/port.h"
#include "rig/bench/bench.h"

#define ES_RECORDINGS_MAX 8

struct es_recorder_series {
    double *t, *y;
    uint8_t *quality;
    size_t count, capacity;
    es_time interval;  /* of the recording, or of a channel that is slower */
    es_time next;      /* samples before it are left out (recording slower than sampling) */
    double worst_time; /* s, largest u_time seen */
};

struct es_recording {
    bool used;
    es_time began, interval;
    struct es_trace trace; /* series point into `series` memory only in what look and stop hand out */
    struct es_recorder_series series[ES_ROLE_COUNT];
    int slot[ES_ROLE_COUNT]; /* role -> series + 1; 0: not recorded */
    size_t command_capacity;
    bool no_memory; /* sticky */
};

struct es_recorder {
    const struct es_bench_station *station;
    struct es_recording items[ES_RECORDINGS_MAX];
    unsigned running; /* bit mask */
};

/* `station` NULL: recordings out of a journal; nothing is checked, uncertainties stay 0. */
void es_recorder_init(struct es_recorder *r, const struct es_bench_station *station);
void es_recorder_free(struct es_recorder *r); /* throws away what is running */

/* Each role at `rate` Hz or, where its channel is slower, as fast as that is read. */
enum es_status es_recorder_start(struct es_recorder *r, const char *name, const enum es_role *roles,
                                 size_t count, double rate, es_time now, int *handle,
                                 struct es_error *err) ES_MUST_CHECK;
void es_recorder_sample(struct es_recorder *r, enum es_role role, const struct es_reading *reading);
void es_recorder_command(struct es_recorder *r, enum es_role role, es_time acted, double u_time, double from,
                         double to);
/* Valid until the next call. NULL: no such recording. */
const struct es_trace *es_recorder_look(struct es_recorder *r, int handle, es_time now);

/* A copy of what is being recorded, for a reader on another thread; reuses its memory. NULL: no memory, or
 * `live` was NULL. */
struct es_look {
    struct es_trace trace;
    struct es_series series[ES_ROLE_COUNT];
    size_t room[ES_ROLE_COUNT];
    size_t command_room;
};
const struct es_trace *es_look_copy(struct es_look *look, const struct es_trace *live);
void es_look_free(struct es_look *look); /* leaves it empty and reusable */

enum es_status es_recorder_stop(struct es_recorder *r, int handle, es_time now, struct es_trace **out,
                                struct es_error *err) ES_MUST_CHECK;

#endif

/* Inside of the virtual station: how virtual time passes and what is looked at on the way. rig/bench only. */
#ifndef ES_BENCH_VIRTUAL_TIME_H
#define ES_BENCH_VIRTUAL_TIME_H

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/station_core.h"
#include "rig/bench/virtual_station.h"

#define ES_VIRTUAL_LOOK   (ES_NS_PER_S / 20) /* all inputs for the interlock, when nothing is recorded */
#define ES_VIRTUAL_U_TIME 1e-4 /* s, standard, of a time stamp: half an exchange over TCP; and drawn */

struct es_virtual_station {
    struct es_site site;
    struct es_station_core core;
    struct es_virtual *v;
    enum es_role inputs[ES_ROLE_COUNT];
    size_t input_count;
    enum es_role watched[ES_ROLE_COUNT]; /* outputs whose setting is asked for */
    size_t watched_count;
    es_time next_setting;
    es_time tick, next_tick; /* of the fastest recording, or LOOK */
    es_time next_look, next_show, next_kick, kick_interval;
    double kicks;
    uint64_t writes;
    es_time *asked_until; /* when the bus is slow: each instrument's last exchange; in the bench's order */
    size_t silent_instrument; /* SIZE_MAX: none */
    es_time silent_from;
    struct {
        enum es_status status;
        struct es_error err;
    } safe_outcomes[ES_SAFE_WRITE_MAX];
    unsigned safe_posted;
};

/* Lets virtual time pass, sampling on the way, until `deadline` or until `run` and the run must end. */
void es_virtual_pass(struct es_virtual_station *s, es_time deadline, bool run);

/* Samples one input, the recorded ones, all. */
void es_virtual_sample(struct es_virtual_station *s, enum es_role role, es_time now);
void es_virtual_sample_recorded(struct es_virtual_station *s, es_time now);
void es_virtual_sample_all(struct es_virtual_station *s, es_time now);

/* One write, which acts at once. */
enum es_status es_virtual_write_now(struct es_virtual_station *s, enum es_role role, double value,
                                    struct es_error *err);

#endif

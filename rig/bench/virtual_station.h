/* A station over the virtual bench, in virtual time: no threads, no clock; es_port.sleep_until advances the
 * physics. Same bench file, same channel conversions, same interlock rules, same safe-state sequence as the
 * real station. The instruments' readings go through the bench file's channel models: lag, noise, calibration
 * error drawn from the stated uncertainty, quantisation of the raw word. Same seed, same bytes. */
#ifndef ES_BENCH_VIRTUAL_STATION_H
#define ES_BENCH_VIRTUAL_STATION_H

#include "rig/bench/site.h"

struct es_virtual;
struct es_virtual_station;

struct es_virtual_station_options {
    uint64_t seed;            /* of instrument noise and drawn calibration errors */
    bool perfect_instruments; /* no noise, no calibration error (for tests of the path itself) */
    /* A bench fault for tests and the study: the channels of this instrument fall silent from `silent_from`
     * (virtual seconds since open) on; NULL: none. */
    const char *silent_instrument;
    double silent_from;
};

/* `virtual_bench` is borrowed and must outlive it; nobody else may advance it meanwhile. */
enum es_status es_virtual_station_open(const struct es_bench *bench, const struct es_bench_station *station,
                                       struct es_virtual *virtual_bench,
                                       const struct es_virtual_station_options *options,
                                       struct es_virtual_station **out, struct es_error *err) ES_MUST_CHECK;
void es_virtual_station_close(struct es_virtual_station *station); /* NULL allowed */

const struct es_site *es_virtual_station_site(struct es_virtual_station *station);

#endif

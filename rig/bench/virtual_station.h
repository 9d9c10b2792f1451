/* A station over the virtual bench, in virtual time: no threads, no clock; es_port.sleep_until advances the
 * physics. Same bench file, same channel conversions, same interlock rules, same safe-state sequence as the
 * real station. The virtual bench's instruments have the errors that the bench file states (lag, noise,
 * calibration error drawn from the stated uncertainty, resolution). Same seed, same bytes. */
#ifndef ES_BENCH_VIRTUAL_STATION_H
#define ES_BENCH_VIRTUAL_STATION_H

#include "rig/bench/site.h"

struct es_virtual;
struct es_virtual_config;
struct es_virtual_station;

/* Puts what the bench file says of a station into the virtual bench's configuration: which instruments there
 * are and how good (range, resolution, noise, lag, refresh, uncertainties, correction tables), the stated
 * volumes with their uncertainty, the watchdog. The rest of *config stays as it is. The configuration borrows
 * the correction tables until es_virtual_new. */
void es_virtual_config_from_station(const struct es_bench_station *station, struct es_virtual_config *config);

struct es_virtual_station_options {
    /* A bench fault for tests and the study: this instrument falls silent at `silent_from` (virtual seconds
     * since open); NULL: none. */
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

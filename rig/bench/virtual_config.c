/* From the bench file's station to the virtual bench's instruments. */
#include <math.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/virtual_station.h"

static struct es_virtual_instrument instrument_of(const struct es_bench_channel *c)
{
    struct es_channel_uncertainty u = es_channel_uncertainty(c);
    struct es_virtual_instrument in = {.present = true,
                                       .resolution = c->resolution,
                                       .noise = c->noise,
                                       .lag = c->lag,
                                       .refresh = c->refresh,
                                       .u_offset = u.offset,
                                       .u_gain = u.gain,
                                       .repeatability = c->repeatability,
                                       .point_count = c->calibration.point_count,
                                       .readings = c->calibration.readings,
                                       .corrections = c->calibration.corrections};
    /* Overdriven, it shows the end of its range; a transmitter stops a hair before its NE 43 ends. */
    if (es_channel_range(c, &in.low, &in.high) && c->current_signal) {
        const double hair = 0.01 / 16 * fabs(c->signal_high - c->signal_low);
        in.low += hair;
        in.high -= hair;
    }
    return in;
}

static void take_volume(const struct es_bench_station *station, const char *name, double *volume, double *u)
{
    for (size_t i = 0; i < station->fact_count; i++) {
        if (!strcmp(station->facts[i].name, name) && station->facts[i].dimension == ES_DIM_VOLUME) {
            *volume = station->facts[i].value;
            *u = station->facts[i].u;
        }
    }
}

void es_virtual_config_from_station(const struct es_bench_station *station, struct es_virtual_config *config)
{
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_bench_channel *c = es_station_channel(station, (enum es_role)i);
        config->instruments[i] = c ? instrument_of(c) : (struct es_virtual_instrument){0};
    }
    take_volume(station, "output 1 volume", &config->output_volume[0], &config->u_output_volume[0]);
    take_volume(station, "output 2 volume", &config->output_volume[1], &config->u_output_volume[1]);
    /* A workshop's air: what is shut in changes by 20 mK (rms) within any 15 s, as the measures expect of a
     * closed volume (common practice, no published source); over so long a wave of frequency f keeps
     * sin(x)/x, x = pi f 15 s, of its rate, rms 0.958 of the virtual bench's waves. */
    config->wall_drift = 0.020 / 15 / 0.958;
    config->watchdog_period = station->watchdog_period;
}

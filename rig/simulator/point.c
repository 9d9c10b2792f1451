#include "rig/simulator/simulator.h"

#include <math.h>

/* Outside its table an instrument says the last number it can. */
static double nearest_raw(const struct es_bench_channel *c, double reading)
{
    const double written = c->current_signal ? reading : es_to_unit(reading, c->unit);
    const size_t last = c->table_count - 1;
    const double to_first = fabs(written - c->table_written[0]);
    const double to_last = fabs(written - c->table_written[last]);
    return c->table_raw[to_first < to_last ? 0 : last];
}

double sim_point_read(const struct sim_point *p)
{
    const double reading = es_virtual_reading(p->model, p->channel->role).value;
    double raw;
    if (es_channel_reading_raw(p->channel, reading, &raw, NULL) != ES_OK) {
        return nearest_raw(p->channel, reading);
    }
    return raw;
}

void sim_point_write(const struct sim_point *p, struct es_raw raw, const struct es_log *log)
{
    double value;
    struct es_error err;
    if (es_channel_reading(p->channel, raw, &value) != ES_GOOD) {
        es_log(log, ES_LOG_WARNING, "%s: written number %g stands for nothing and is left out",
               es_role_info(p->channel->role)->name, raw.value);
        return;
    }
    if (es_virtual_write(p->model, p->channel->role, value, &err) != ES_OK) {
        es_log(log, ES_LOG_WARNING, "%s", err.text);
    }
}

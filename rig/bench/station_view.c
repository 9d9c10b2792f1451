#include "rig/bench/station_view.h"

#include <math.h>
#include <string.h>

static void view_channel(const struct es_bench_station *station, const struct es_bench_channel *c,
                         struct es_station_role *role)
{
    *role = (struct es_station_role){.present = true,
                                     .dimension = c->unit->dimension,
                                     .lowest = -INFINITY,
                                     .highest = INFINITY,
                                     .slew = INFINITY,
                                     .rate = c->writable ? 0 : c->rate,
                                     .uncertainty_known = !c->writable && !c->state,
                                     .u = es_channel_uncertainty(c)};
    const struct es_ceiling *ceiling = es_station_ceiling(station, c->role);
    if (ceiling) {
        role->lowest = ceiling->lowest;
        role->highest = ceiling->highest;
        role->slew = ceiling->slew;
    }
    for (size_t i = 0; i < station->safe_write_count; i++) {
        if (station->safe_writes[i].role == c->role) {
            role->safe_known = true;
            role->safe = station->safe_writes[i].value;
        }
    }
}

void es_station_view_fill(const struct es_bench *bench, const struct es_bench_station *station,
                          struct es_station_view *view)
{
    memset(view, 0, sizeof *view);
    view->bench = bench->name;
    view->station = station->name;
    view->safe_within = station->safe_within;
    for (size_t i = 0; i < station->channel_count; i++) {
        view_channel(station, &station->channels[i], &view->roles[station->channels[i].role]);
    }
    view->facts = (struct es_facts){station->facts, station->fact_count};
}

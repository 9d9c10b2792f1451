#include "rig/bench/write_check.h"

#include <math.h>

enum es_status es_write_check(const struct es_bench_station *station, enum es_role role, double value,
                              double *raw, struct es_error *err)
{
    const struct es_bench_channel *c = es_station_channel(station, role);
    const char *name = es_role_info(role)->name;
    if (!c || !c->writable) {
        return es_fail(err, ES_NOT_FOUND, "station %s has no output \"%s\"", station->name, name);
    }
    if (!isfinite(value) || (c->state && value != 0 && value != 1)) {
        return es_fail(err, ES_RANGE, "%g cannot be written to \"%s\"%s", value, name,
                       c->state ? ": it is a state, 0 or 1" : "");
    }
    const struct es_ceiling *ceiling = es_station_ceiling(station, role);
    if (ceiling && (value > ceiling->highest || value < ceiling->lowest)) {
        char wanted[48], limit[48];
        es_quantity_format(value, c->unit, 3, wanted, sizeof wanted);
        es_quantity_format(value > ceiling->highest ? ceiling->highest : ceiling->lowest, c->unit, 3, limit,
                           sizeof limit);
        return es_fail(err, ES_RANGE,
                       "%s for \"%s\" is beyond the bench's ceiling of %s; nothing was written", wanted, name,
                       limit);
    }
    return es_channel_raw(c, value, raw, err);
}

double es_write_slew(const struct es_bench_station *station, enum es_role role, double from, double to,
                     double elapsed)
{
    const struct es_ceiling *ceiling = es_station_ceiling(station, role);
    if (!ceiling || !isfinite(ceiling->slew) || !isfinite(from)) {
        return to;
    }
    double step = ceiling->slew * elapsed;
    return fabs(to - from) <= step ? to : from + copysign(step, to - from);
}

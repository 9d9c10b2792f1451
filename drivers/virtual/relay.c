/* The pneumatic relay: coil and nozzle move a spool with a lag; the spool opens two outputs in opposite
 * sense. Within its overlap everything is shut. */
#include <math.h>

#include "drivers/virtual/model.h"

static double wanted_position(const struct es_virtual *v)
{
    const struct es_relay_parameters *r = &v->p.relay;
    if (es_interrupted(v->t, 1900 * ES_MS, r->open_share)) {
        return 0;
    }
    const double target = v->electronics.drive * r->gain;
    return fmax(-1, fmin(r->reach_up, target));
}

bool es_relay_will_move(const struct es_virtual *v)
{
    return v->relay.moving || fabs(wanted_position(v) - v->relay.position) > v->p.relay.stick;
}

void es_relay_step(struct es_virtual *v, double h)
{
    const struct es_relay_parameters *r = &v->p.relay;
    struct es_relay *s = &v->relay;
    const double off = wanted_position(v) - s->position;
    if (!s->moving && fabs(off) <= r->stick) {
        return;
    }
    const double step = off * -expm1(-h / r->lag);
    s->position += step;
    s->moving = fabs(off - step) > 0.1 * fmin(r->stick, 0.02);
}

static double opening(double position, double overlap)
{
    return fmax(0, fmin(1, (position - overlap) / (1 - overlap)));
}

void es_relay_ports(struct es_virtual *v)
{
    const struct es_relay_parameters *r = &v->p.relay;
    const double up = opening(v->relay.position, r->overlap);
    const double down = opening(-v->relay.position, r->overlap);
    const int first = r->crossed, second = !r->crossed;
    const int supply[2] = {ES_EDGE_SUPPLY_1, ES_EDGE_SUPPLY_2};
    const int exhaust[2] = {ES_EDGE_EXHAUST_1, ES_EDGE_EXHAUST_2};
    struct es_air_edge *e = v->air.edges;
    if (r->joined) {
        e[ES_EDGE_SUPPLY_1].C = e[ES_EDGE_SUPPLY_2].C = r->C_supply;
        e[ES_EDGE_EXHAUST_1].C = e[ES_EDGE_EXHAUST_2].C = e[ES_EDGE_BETWEEN].C = 0;
        return;
    }
    e[supply[first]].C = r->C_supply * up + r->leak_seat[first];
    e[exhaust[first]].C = r->C_exhaust * down + r->leak_exhaust[first];
    e[supply[second]].C = r->C_supply * down + r->leak_seat[second];
    e[exhaust[second]].C = r->C_exhaust * up + r->leak_exhaust[second];
    e[ES_EDGE_EXHAUST_1].C += r->leak_air;
    e[ES_EDGE_BETWEEN].C = r->leak_between;
    if (!v->kind->double_acting) { /* output 2 is plugged */
        e[ES_EDGE_SUPPLY_2].C = e[ES_EDGE_EXHAUST_2].C = e[ES_EDGE_BETWEEN].C = 0;
    }
}

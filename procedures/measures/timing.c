#include "procedures/measures/timing.h"

#include <math.h>

double es_timing_terms(const struct es_channel_uncertainty *u, double refresh, double u_origin,
                       struct es_budget *b)
{
    es_budget_add(b, ES_TERM_COMMON, u->time, INFINITY);
    es_budget_add(b, ES_TERM_REPEAT, u_origin, INFINITY);
    es_budget_add(b, ES_TERM_REPEAT, es_rectangular(refresh / 2), INFINITY);
    es_budget_add(b, ES_TERM_COMMON, es_rectangular(ES_LAG_KNOWN_TO * u->lag), INFINITY);
    return refresh / 2 + u->lag;
}

double es_timing_u(const struct es_channel_uncertainty *u)
{
    return hypot(u->time, es_rectangular(hypot(u->refresh / 2, ES_LAG_KNOWN_TO * u->lag)));
}

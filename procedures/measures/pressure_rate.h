/* How fast the pressure in a closed volume changes, at the pressure with which the recording began: a
 * straight line bent as little as the samples ask for.
 *
 * Model: dp/dt = r - k (p - p_begin), a rise that slows as it goes (k = 0: straight). A two-point rate of a
 * large leak is biased low by its bend; a free bend would make small leaks four times more uncertain. So the
 * bend is fitted with a normal prior k ~ N(0, r / `driving`): a leak driven by a pressure of about `driving`
 * can lose its whole rate over that much rise. Where the samples say more, they win.
 * Heat: gas flowing in warms what is there and the excess dies away with the thermal time: the fit's own
 * response to it is computed and taken off, with 0.6 of it as standard uncertainty (95 %: none to twice). Own
 * method; checks: ISO 6358 closed forms, open recordings of real decays. Pure. */
#ifndef ES_MEASURES_PRESSURE_RATE_H
#define ES_MEASURES_PRESSURE_RATE_H

#include "procedures/measures/budget.h"
#include "procedures/measures/trace.h"

struct es_pressure_rate_input {
    const struct es_series *series;
    double settle;       /* s left out at the start */
    double driving;      /* Pa */
    double thermal_time; /* s; 0: no correction */
};

struct es_pressure_rate {
    bool valid;
    char reason[160];
    double rate;                 /* Pa/s, at `begin` */
    double straight, u_straight; /* Pa/s: slope of a straight line over the same samples, for comparison */
    struct es_budget budget;     /* noise, resolution, bend, heat, stated repeatability; no gain */
    double change;               /* Pa: over the whole recording, sign as recorded; also when not valid */
    double begin;                /* Pa: pressure with which the recording began */
    double mean;                 /* Pa: over the fitted samples */
    double bend;                 /* 1/s: k */
    double heat;                 /* relative correction that was taken off */
    double length;               /* s */
    size_t first, last;
};

enum es_status es_pressure_rate_of(const struct es_pressure_rate_input *in, struct es_pressure_rate *out,
                                   struct es_error *err) ES_MUST_CHECK;

#endif

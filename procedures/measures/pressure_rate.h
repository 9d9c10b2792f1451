/* How fast the pressure in a closed volume changes, at the pressure with which the recording began: a
 * straight line bent as little as the samples ask for.
 *
 * Model: dp/dt = r - k (p - p_begin), a rise that slows as it goes (k = 0: straight). A two-point rate of a
 * large leak is biased low by its bend; a free bend would make small leaks four times more uncertain. So the
 * bend is fitted with a normal prior k ~ N(0, r / `driving`): a leak driven by a pressure of about `driving`
 * can lose its whole rate over that much rise. Where the samples say more, they win.
 * Heat: gas flowing in warms what is there and the excess dies away with the thermal time, of which only the
 * longest plausible value is known: the fit's own response to that is computed; half of it is taken off, and
 * the half is the half-width of a rectangle (from no heat to all of it).
 * Back out: what a relay lets in at its supply seat it lets out again, in part, at its exhaust seat as soon
 * as there is pressure behind it: by ISO 6358 as the root of that pressure, so that a quarter of a kilopascal
 * takes per cents of the rate before the first fitted sample, and no bend through the later ones shows it.
 * The fit's own response to that is computed and put back on. Two seats of one relay leak alike
 * unless one is damaged: the exhaust's leaks anything from nothing to twice what the supply's does
 * (rectangle, JCGM 100 4.3.7; common practice, no published source). Its middle is put back on. Own method;
 * checks: ISO 6358 closed forms, open recordings of real decays. Pure. */
#ifndef ES_MEASURES_PRESSURE_RATE_H
#define ES_MEASURES_PRESSURE_RATE_H

#include "procedures/measures/budget.h"
#include "procedures/measures/trace.h"

struct es_pressure_rate_input {
    const struct es_series *series;
    double settle;       /* s left out at the start */
    double driving;      /* Pa */
    double thermal_time; /* s, longest plausible; 0: no correction */
    double supply; /* Pa gauge, of what drives the leak; 0: not known, no correction for what escapes again */
    double ambient; /* Pa absolute, what lies behind the output's other way out */
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
    double escaped;              /* the same, put back on */
    double length;               /* s */
    size_t first, last;
};

enum es_status es_pressure_rate_of(const struct es_pressure_rate_input *in, struct es_pressure_rate *out,
                                   struct es_error *err) ES_MUST_CHECK;

#endif

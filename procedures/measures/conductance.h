/* Sonic conductance of a unit's path from a recording of flow and pressures, after ISO 6358-1 (orifice.h):
 * steady, or while a closed volume is charged or discharged (the idea of ISO 6358-2, not its isothermal
 * tank).
 *
 * By the flow sensor: least squares of its readings on the drive (orifice.h) at their times, seen with its
 * lag and refresh. A volume that empties tells the temperature of its gas, the sensor's delay and the
 * critical ratio b by itself (emptying.h), and the conductance a second time, by the known volume. Where it
 * does not, b is as stated and the gas has cooled by anything from nothing to an adiabatic fall. Where the
 * sensor is out of its range or missing, by the rise or fall of the pressure in the known volume: p = p_begin
 * + C n p0 T / (V T0) (integral of the drive), n between 1 (the gas keeps its temperature) and 1.4 (it
 * exchanges no heat): the middle of 1/n, with a rectangle over both. Samples count from where the path is
 * open until the drive has fallen to 0.3 of its largest; what a lagging sensor still owes then is a column of
 * the fit. Pure. */
#ifndef ES_MEASURES_CONDUCTANCE_H
#define ES_MEASURES_CONDUCTANCE_H

#include <stdbool.h>

#include "procedures/measures/budget.h"
#include "procedures/measures/trace.h"
#include "rig/base/error.h"

struct es_conductance_input {
    const struct es_series *flow;   /* m3/s ANR out of the unit; NULL: none */
    const struct es_series *output; /* Pa gauge */
    const struct es_series *supply; /* Pa gauge; NULL: from the output to the surroundings */
    double from;                    /* s: the command */
    double ambient, u_ambient;      /* Pa absolute */
    double T, u_T;                  /* K, of the gas upstream */
    double b, u_b;                  /* critical pressure ratio */
    double volume, u_volume;        /* m3; 0: not known */
    bool by_pressure;               /* even where the flow sensor would carry it */
};

struct es_conductance {
    bool valid;
    char reason[160];
    bool by_flow; /* the flow sensor carried it */
    double C;     /* m3/(s Pa) at ANR, >= 0 */
    struct es_budget budget;
    double C_by_volume; /* as C, of a volume that empties past a flow sensor, by its pressure; 0: not told */
    struct es_budget volume_budget;
    double half_width;  /* of the rectangle that is the budget's common term where the volume carried it */
    double drive;       /* Pa: the largest drive in the samples used: C times it is the largest flow */
    size_t first, last; /* samples of the series that carried it */
};

enum es_status es_conductance_of(const struct es_conductance_input *in, struct es_conductance *out,
                                 struct es_error *err) ES_MUST_CHECK;

#endif

/* Air in volumes, joined by restrictions.
 *
 * Mass flow through a restriction: ISO 6358 (exponent 0.5, no cracking pressure): conductance C, critical
 * ratio b, qm = C p1 rho0 sqrt(T0/T1)                                    for p2/p1 <= b qm = C p1 rho0
 * sqrt(T0/T1) sqrt(1 - ((p2/p1 - b)/(1 - b))^2)  above and, for p2/p1 above ES_AIR_LAMINAR, an odd cubic that
 * joins in value and slope, so that the flow passes through zero with a finite slope. Reference state: ISO
 * 8778 (ANR) with rho0 1.185 kg/m3 (from memory).
 *
 * Volumes: mass and energy balance with heat from the wall, m cv dT/dt = ... + hA (Tw - T); hA = 0 is
 * adiabatic, a large hA isothermal. Both balances hold to rounding in every step.
 * All pressures absolute. No state but the caller's structs. */
#ifndef ES_VIRTUAL_AIR_H
#define ES_VIRTUAL_AIR_H

#include <stdbool.h>

#define ES_AIR_T0      293.15                                  /* K, ANR */
#define ES_AIR_P0      100000.0                                /* Pa, ANR */
#define ES_AIR_RHO0    1.185                                   /* kg/m3, ANR, 65 % relative humidity */
#define ES_AIR_R       (ES_AIR_P0 / (ES_AIR_RHO0 * ES_AIR_T0)) /* J/(kg K) of that air */
#define ES_AIR_GAMMA   1.4
#define ES_AIR_CV      (ES_AIR_R / (ES_AIR_GAMMA - 1.0))
#define ES_AIR_CP      (ES_AIR_CV * ES_AIR_GAMMA)
#define ES_AIR_LAMINAR 0.999

#define ES_AIR_INNER      5                  /* volumes computed */
#define ES_AIR_NODES      (ES_AIR_INNER + 2) /* and the two that never change: */
#define ES_AIR_SOURCE     5
#define ES_AIR_ATMOSPHERE 6
#define ES_AIR_EDGES_MAX  16

/* 1 dm3/(s bar) in m3/(s Pa). */
#define ES_AIR_DM3_S_BAR 1e-8

struct es_air_edge {
    int from, to;          /* nodes; flow is positive that way */
    double C;              /* m3/(s Pa), ANR; 0: shut */
    double dC_from, dC_to; /* its change with the pressure at either end (a regulator's opening) */
    double b;
    double flow; /* out: kg/s, mean over the step */
};

struct es_air {
    double p[ES_AIR_NODES];  /* Pa */
    double T[ES_AIR_NODES];  /* K */
    double m[ES_AIR_INNER];  /* kg */
    double V[ES_AIR_INNER];  /* m3 */
    double hA[ES_AIR_INNER]; /* W/K */
    double wall;             /* K */
    struct es_air_edge edges[ES_AIR_EDGES_MAX];
    int edge_count;
    /* Sums since the start. */
    double mass_in, mass_out, enthalpy_in, enthalpy_out, heat, work;
};

/* kg/s from p1 to p2 (negative: back), with its partial derivatives. */
double es_air_flow(double C, double b, double p1, double T1, double p2, double T2, double *dq_dp1,
                   double *dq_dp2);

/* Puts a volume at pressure and temperature. */
void es_air_fill(struct es_air *air, int node, double volume, double pressure, double temperature);

/* One step of h seconds, linearly implicit, in which volume i grows by dV[i]. Second order for flows that
 * change slowly against h, without ringing for those that do not. Returns the largest relative change of a
 * pressure in the step. */
double es_air_step(struct es_air *air, double h, const double dV[ES_AIR_INNER]);

#endif

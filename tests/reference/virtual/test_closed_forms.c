/* Filling and emptying of one volume against closed forms, derived anew here from ISO 6358's flow (exponent
 * 0.5) and the first law; text-book thermodynamics of an ideal gas with constant specific heats.
 *
 * With K = C rho0 R sqrt(T0) and w = 1/(1 - b):
 *   filling, isothermal:  choked dp/dt = K sqrt(T) p1/V; from p2/p1 = b on  (r - b) w = sin(K sqrt(T) w t/V)
 *   filling, adiabatic, choked, from a source at T1: dp/dt = gamma K sqrt(T1) p1/V (enthalpy flows in)
 *   emptying, isothermal, choked: p = p0 exp(-t K sqrt(T)/V)
 *   emptying, adiabatic, choked: T = T0 (1 + (gamma - 1)/2 t/tau)^-2, tau = V/(K sqrt(T0)), p with
 * T^(gamma/(gamma-1)) */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "drivers/virtual/air.h"

#define C_PIPE  (0.2 * ES_AIR_DM3_S_BAR)
#define B       0.3
#define V       0.5e-3
#define T_ROOM  293.15
#define P_ROOM  1.0e5
#define P_HIGH  7.0e5
#define SECONDS 1e-3

static double K(void)
{
    return C_PIPE * ES_AIR_RHO0 * ES_AIR_R * sqrt(ES_AIR_T0);
}

/* Volume 0 at `p`, joined to the outside at `outside` (a source that never changes). */
static struct es_air joined(double p, double outside, double hA)
{
    struct es_air air;
    memset(&air, 0, sizeof air);
    for (int i = 0; i < ES_AIR_INNER; i++) {
        es_air_fill(&air, i, V, i == 0 ? p : P_ROOM, T_ROOM);
    }
    es_air_fill(&air, ES_AIR_SOURCE, 0, outside, T_ROOM);
    es_air_fill(&air, ES_AIR_ATMOSPHERE, 0, P_ROOM, T_ROOM);
    air.hA[0] = hA;
    air.wall = T_ROOM;
    air.edges[0] = (struct es_air_edge){.from = ES_AIR_SOURCE, .to = 0, .C = C_PIPE, .b = B};
    air.edge_count = 1;
    return air;
}

static void pass(struct es_air *air, double seconds)
{
    static const double still[ES_AIR_INNER];
    const long steps = lround(seconds / SECONDS);
    for (long n = 0; n < steps; n++) {
        (void)es_air_step(air, SECONDS, still);
    }
}

#define ISOTHERMAL 1e6
#define ADIABATIC  0.0

static double filling(double t)
{
    const double rate = K() * sqrt(T_ROOM) / V; /* of p2/p1, choked */
    const double start = P_ROOM / P_HIGH, choked_until = (B - start) / rate;
    if (t <= choked_until) {
        return (start + rate * t) * P_HIGH;
    }
    const double angle = rate * (t - choked_until) / (1 - B);
    return angle < M_PI_2 ? (B + (1 - B) * sin(angle)) * P_HIGH : P_HIGH;
}

Test(closed_form, isothermal_filling_choked_and_beyond)
{
    struct es_air air = joined(P_ROOM, P_HIGH, ISOTHERMAL);
    for (double t = 0.1; t < 3; t += 0.1) {
        pass(&air, 0.1);
        cr_expect_float_eq(air.p[0], filling(t), 2e-3 * filling(t), "%g s: %g, not %g Pa", t, air.p[0],
                           filling(t));
        cr_expect_float_eq(air.T[0], T_ROOM, 0.01);
    }
}

Test(closed_form, adiabatic_filling_while_choked)
{
    struct es_air air = joined(P_ROOM, P_HIGH, ADIABATIC);
    const double rate = ES_AIR_GAMMA * K() * sqrt(T_ROOM) * P_HIGH / V;
    for (double t = 0.05; P_ROOM + rate * t < B * P_HIGH; t += 0.05) {
        pass(&air, 0.05);
        cr_expect_float_eq(air.p[0], P_ROOM + rate * t, 1e-9 * air.p[0], "%g s", t);
    }
    /* Filled from nothing it would become gamma T1; from one bar to p: by the energy of what came in. */
    const double grown = air.p[0] - P_ROOM;
    const double mass = P_ROOM * V / (ES_AIR_R * T_ROOM) + grown * V / (ES_AIR_GAMMA * ES_AIR_R * T_ROOM);
    cr_expect_float_eq(air.T[0], air.p[0] * V / (mass * ES_AIR_R), 1e-6);
    cr_expect(air.T[0] > 320 && air.T[0] < ES_AIR_GAMMA * T_ROOM);
}

Test(closed_form, isothermal_emptying_while_choked)
{
    struct es_air air = joined(P_HIGH, P_ROOM, ISOTHERMAL);
    for (double t = 0.1; t <= 1.5; t += 0.1) {
        pass(&air, 0.1);
        const double p = P_HIGH * exp(-t * K() * sqrt(T_ROOM) / V);
        if (p < P_ROOM / B) {
            break;
        }
        cr_expect_float_eq(air.p[0], p, 2e-4 * p, "%g s: %g, not %g Pa", t, air.p[0], p);
    }
}

Test(closed_form, adiabatic_emptying_while_choked_is_isentropic)
{
    struct es_air air = joined(P_HIGH, P_ROOM, ADIABATIC);
    const double tau = V / (K() * sqrt(T_ROOM)), g = ES_AIR_GAMMA;
    for (double t = 0.1; t <= 1.5; t += 0.1) {
        pass(&air, 0.1);
        const double T = T_ROOM * pow(1 + (g - 1) / 2 * t / tau, -2);
        const double p = P_HIGH * pow(T / T_ROOM, g / (g - 1));
        if (p < P_ROOM / B) {
            break;
        }
        cr_expect_float_eq(air.p[0], p, 5e-4 * p, "%g s: %g, not %g Pa", t, air.p[0], p);
        cr_expect_float_eq(air.T[0], T, 0.05, "%g s: %g, not %g K", t, air.T[0], T);
    }
}

/* A closed volume, compressed by a piston while its heat passes into the wall: dT/dt = (Tw - T) hA/(m cv). */
Test(closed_form, hot_air_in_a_closed_volume_cools_by_an_exponential)
{
    struct es_air air = joined(P_ROOM, P_HIGH, 0.8);
    air.edge_count = 0;
    es_air_fill(&air, 0, V, P_HIGH, 350);
    const double tau = air.m[0] * ES_AIR_CV / 0.8;
    for (double t = 0.2; t < 5; t += 0.2) {
        pass(&air, 0.2);
        cr_expect_float_eq(air.T[0], T_ROOM + (350 - T_ROOM) * exp(-t / tau), 0.02, "%g s", t);
    }
}

/* Heat exchange between its limits: pressure in a filling volume lies between isothermal and adiabatic. */
Test(closed_form, real_filling_lies_between_the_limits)
{
    struct es_air cold = joined(P_ROOM, P_HIGH, ISOTHERMAL), hot = joined(P_ROOM, P_HIGH, ADIABATIC),
                  real = joined(P_ROOM, P_HIGH, 0.8);
    for (int n = 0; n < 15; n++) {
        pass(&cold, 0.1);
        pass(&hot, 0.1);
        pass(&real, 0.1);
        cr_expect(cold.p[0] <= real.p[0] && real.p[0] <= hot.p[0], "%d", n);
    }
    cr_expect(hot.T[0] > real.T[0] && real.T[0] > cold.T[0]);
}

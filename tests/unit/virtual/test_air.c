/* The air network: limits of the flow formula, its slopes, and the two balances. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "drivers/virtual/air.h"

#define C02 2e-9 /* 0.2 dm3/(s bar) */
#define B   0.3

static double flow(double p1, double p2)
{
    double a, b;
    return es_air_flow(C02, B, p1, 293.15, p2, 293.15, &a, &b);
}

Test(air, no_flow_at_equal_pressure)
{
    for (double p = 1e4; p < 2e6; p *= 1.7) {
        cr_assert(flow(p, p) == 0.0);
    }
}

Test(air, choked_flow_does_not_depend_on_the_pressure_behind)
{
    const double choked = flow(6e5, 0.3 * 6e5);
    for (double p2 = 1e3; p2 <= 0.3 * 6e5; p2 += 1e4) {
        cr_assert_float_eq(flow(6e5, p2), choked, 1e-15 * fabs(choked));
    }
    cr_assert(flow(6e5, 0.31 * 6e5) < choked);
}

Test(air, turned_round_it_is_the_same_flow_backwards)
{
    for (double r = 0.05; r < 1; r += 0.03) {
        cr_assert_float_eq(flow(6e5, r * 6e5), -flow(r * 6e5, 6e5), 1e-15);
    }
}

Test(air, falls_steadily_through_zero)
{
    double before = INFINITY;
    for (double p2 = 1e5; p2 <= 9e5; p2 += 50) {
        const double q = flow(5e5, p2);
        cr_assert(p2 <= 1.5e5 ? q <= before : q < before, "at %g", p2);
        before = q;
    }
}

/* The slopes that the integrator uses are those of the flow, in every branch and across their joints. */
Test(air, slopes_are_those_of_the_flow)
{
    const double ratios[] = {0.1, 0.29, 0.31, 0.6, 0.9, 0.99, 0.998, 0.9995, 0.99995};
    for (size_t i = 0; i < sizeof ratios / sizeof ratios[0]; i++) {
        const double p1 = 6e5, p2 = ratios[i] * p1, d = 0.5;
        double a, b;
        (void)es_air_flow(C02, B, p1, 293.15, p2, 300, &a, &b);
        const double scale = C02 * ES_AIR_RHO0;
        cr_assert_float_eq(a / scale, (flow(p1 + d, p2) - flow(p1 - d, p2)) / (2 * d) / scale, 2e-4, "%g",
                           ratios[i]);
        cr_assert_float_eq(b / scale, (flow(p1, p2 + d) - flow(p1, p2 - d)) / (2 * d) / scale, 2e-4, "%g",
                           ratios[i]);
    }
}

Test(air, value_and_slope_join_at_the_laminar_limit)
{
    const double p1 = 5e5, limit = ES_AIR_LAMINAR * p1;
    double a, below, above;
    const double q_below = es_air_flow(C02, B, p1, 293.15, limit - 0.01, 293.15, &a, &below);
    const double q_above = es_air_flow(C02, B, p1, 293.15, limit + 0.01, 293.15, &a, &above);
    cr_assert_float_eq(q_below / q_above, 1.0, 1e-4);
    cr_assert_float_eq(below / above, 1.0, 1e-3);
}

static void two_volumes(struct es_air *air)
{
    memset(air, 0, sizeof *air);
    for (int i = 0; i < ES_AIR_INNER; i++) {
        es_air_fill(air, i, 0.5e-3, 1e5, 293.15);
    }
    es_air_fill(air, ES_AIR_SOURCE, 0, 7e5, 293.15);
    es_air_fill(air, ES_AIR_ATMOSPHERE, 0, 1e5, 293.15);
    air->wall = 293.15;
    air->hA[0] = 0.5;
    air->hA[1] = 2;
    air->edges[0] = (struct es_air_edge){.from = ES_AIR_SOURCE, .to = 0, .C = C02, .b = B};
    air->edges[1] = (struct es_air_edge){.from = 0, .to = 1, .C = 20 * C02, .b = B};
    air->edges[2] = (struct es_air_edge){.from = 1, .to = 2, .C = C02 / 3, .b = B};
    air->edges[3] = (struct es_air_edge){.from = 2, .to = ES_AIR_ATMOSPHERE, .C = C02 / 50, .b = B};
    air->edge_count = 4;
}

static void sums(const struct es_air *air, double *mass, double *energy)
{
    *mass = *energy = 0;
    for (int i = 0; i < ES_AIR_INNER; i++) {
        *mass += air->m[i];
        *energy += air->m[i] * ES_AIR_CV * air->T[i];
    }
}

/* Whatever the step, what went in and out is what is there; and the equation of state holds. */
Test(air, mass_and_energy_are_kept)
{
    const double steps[] = {1e-4, 1e-3, 5e-3, 1e-2};
    for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++) {
        struct es_air air;
        double m0, e0, m1, e1;
        two_volumes(&air);
        sums(&air, &m0, &e0);
        for (int n = 0; n < 2000; n++) {
            const double dV[ES_AIR_INNER] = {0, 0, 1e-7 * sin(n / 50.0)};
            (void)es_air_step(&air, steps[s], dV);
        }
        sums(&air, &m1, &e1);
        cr_assert_float_eq(m1 - m0, air.mass_in - air.mass_out, 1e-12 * m1);
        cr_assert_float_eq(e1 - e0, air.enthalpy_in - air.enthalpy_out + air.heat - air.work, 1e-10 * e1);
        for (int i = 0; i < ES_AIR_INNER; i++) {
            cr_assert_float_eq(air.p[i] * air.V[i], air.m[i] * ES_AIR_R * air.T[i],
                               1e-12 * air.p[i] * air.V[i]);
        }
    }
}

/* A big valve between small volumes: far stiffer than the step; pressures meet without ringing. */
Test(air, stiff_joint_neither_rings_nor_overshoots)
{
    struct es_air air;
    const double none[ES_AIR_INNER] = {0};
    memset(&air, 0, sizeof air);
    for (int i = 0; i < ES_AIR_INNER; i++) {
        es_air_fill(&air, i, 2e-5, 1e5, 293.15);
    }
    es_air_fill(&air, 0, 2e-5, 6e5, 293.15);
    es_air_fill(&air, ES_AIR_SOURCE, 0, 7e5, 293.15);
    es_air_fill(&air, ES_AIR_ATMOSPHERE, 0, 1e5, 293.15);
    air.wall = 293.15;
    air.edges[0] = (struct es_air_edge){.from = 0, .to = 1, .C = 5e-8, .b = B};
    air.edge_count = 1;
    double difference = air.p[0] - air.p[1];
    for (int n = 0; n < 100; n++) {
        (void)es_air_step(&air, 0.01, none);
        const double now = air.p[0] - air.p[1];
        cr_assert(fabs(now) <= fabs(difference) * 1.0001, "step %d: %g after %g", n, now, difference);
        cr_assert(now > -0.05 * 5e5);
        difference = now;
    }
    cr_assert_float_eq(difference, 0.0, 1.0);
}

/* Reversible adiabatic: p V^gamma stays, when a closed volume breathes slowly. */
Test(air, closed_volume_breathes_adiabatically)
{
    struct es_air air;
    two_volumes(&air);
    air.edge_count = 0;
    air.hA[0] = 0;
    const double before = air.p[0] * pow(air.V[0], ES_AIR_GAMMA);
    for (int n = 0; n < 1000; n++) {
        const double dV[ES_AIR_INNER] = {2e-7};
        (void)es_air_step(&air, 1e-3, dV);
    }
    cr_assert_float_eq(air.p[0] * pow(air.V[0], ES_AIR_GAMMA) / before, 1.0, 1e-6);
}

/* Bias and spread of every estimator, and how often its 95 % interval covers the truth, on synthetic traces
 * over a grid of noise, rate and time constant. Prints the tables of docs/measures.md.
 * Use: bench_estimators [traces a cell, 400] [seed, 1] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/bench/measures/tally.h"
#include "tests/unit/measures/synthetic.h"

static long repeats = 400;
static uint64_t seed = 1;

static const char *const step_outputs[] = {"dead time", "T63", "T86", "T98", "settling time", "overshoot"};
static const double step_units[] = {1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 0.01};

static double first_order_truth(int o, double dead, double tau)
{
    static const double share[] = {0, 0.63, 0.865, 0.98, 0.98, 0};
    return o == 0 ? dead : o == 5 ? 0 : dead - tau * log1p(-share[o]);
}

static void first_order(double noise, double rate, double tau, double resolution, double red)
{
    double dead = 0.35;
    struct tally t[6] = {0};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *trace = syn_trace();
        double origin = 1 + syn_uniform(&seed) / rate, end = origin + dead + 12 * tau;
        double from = 0.01 + 0.001 * syn_uniform(&seed);
        struct es_series *s = syn_series(trace, ES_ROLE_TRAVEL, (size_t)(end * rate), rate);
        for (size_t i = 0; i < s->count; i++)
            s->y[i] = from + 0.001 * syn_first_order(s->t[i] - origin, dead, tau);
        if (red > 0)
            syn_red_noise(s, noise * 0.001, red, &seed);
        else
            syn_noise(s, noise * 0.001, &seed);
        if (resolution > 0)
            syn_round(s, resolution * 0.001);
        syn_command(trace, ES_ROLE_LOOP_DEMAND, origin, 0.012, 0.0136);
        struct es_measured *m = syn_measure_one("step response", NULL, trace, NULL);
        for (int o = 0; o < 6; o++)
            tally_count(&t[o], syn_output("step response", m, step_outputs[o]),
                        first_order_truth(o, dead, tau));
        free(m);
        es_trace_free(trace);
    }
    char cell[96];
    int n = snprintf(cell, sizeof cell, "%g %%, %g Hz, tau %g s", 100 * noise, rate, tau);
    if (resolution > 0)
        n += snprintf(cell + n, sizeof cell - (size_t)n, ", resolution %g %%", 100 * resolution);
    if (red > 0)
        snprintf(cell + n, sizeof cell - (size_t)n, ", lag-1 %g", red);
    tally_row(cell, t, step_units, 6);
}

/* Time of the last entry into, or first passage of, from a dense evaluation. */
static double second_truth(int o, double zeta, double omega)
{
    static const double share[] = {0, 0.63, 0.865, 0.98};
    if (o == 0)
        return 0;
    if (o == 5)
        return exp(-acos(-1) * zeta / sqrt(1 - zeta * zeta));
    double step = 1e-5 / omega, last = 0;
    for (double t = 0; t < 60 / omega; t += step) {
        double y = syn_second_order(t, zeta, omega);
        if (o < 4 && y >= share[o])
            return t;
        if (o == 4 && fabs(y - 1) > 0.02)
            last = t;
    }
    return last;
}

static void second_order(double noise, double rate, double zeta, double omega)
{
    struct tally t[6] = {0};
    double truth[6];
    for (int o = 0; o < 6; o++)
        truth[o] = second_truth(o, zeta, omega);
    for (long k = 0; k < repeats; k++) {
        struct es_trace *trace = syn_trace();
        double origin = 1 + syn_uniform(&seed) / rate, end = origin + 12 / (zeta * omega);
        struct es_series *s = syn_series(trace, ES_ROLE_TRAVEL, (size_t)(end * rate), rate);
        for (size_t i = 0; i < s->count; i++)
            s->y[i] = 0.010 + 0.001 * syn_second_order(s->t[i] - origin, zeta, omega);
        syn_noise(s, noise * 0.001, &seed);
        syn_command(trace, ES_ROLE_LOOP_DEMAND, origin, 0.012, 0.0136);
        struct es_measured *m = syn_measure_one("step response", NULL, trace, NULL);
        for (int o = 0; o < 6; o++)
            tally_count(&t[o], syn_output("step response", m, step_outputs[o]), truth[o]);
        free(m);
        es_trace_free(trace);
    }
    char cell[80];
    snprintf(cell, sizeof cell, "%g %%, %g Hz, zeta %g, omega %g rad/s", 100 * noise, rate, zeta, omega);
    tally_row(cell, t, step_units, 6);
}

static void steps(void)
{
    tally_head("noise, rate (ms; overshoot in %)", step_outputs, 6);
    for (int n = 0; n < 3; n++)
        for (int r = 0; r < 3; r++)
            first_order((double[]){0.0005, 0.005, 0.02}[n], (double[]){20, 100, 500}[r], 0.8, 0, 0);
    first_order(0.005, 20000, 0.8, 0, 0);
    first_order(0.005, 100, 0.2, 0, 0);
    first_order(0.005, 100, 3, 0, 0);
    first_order(0.005, 100, 0.8, 0, 0.6);
    first_order(0.001, 100, 0.8, 0.01, 0);
    first_order(0, 100, 0.8, 0.002, 0);
    first_order(0, 100, 0.8, 0, 0);
    second_order(0.0005, 100, 0.4, 4);
    second_order(0.005, 100, 0.4, 4);
    second_order(0.005, 100, 0.6, 5);
    second_order(0.005, 100, 0.8, 2);
    second_order(0.02, 100, 0.7, 3);
}

static const char *const leak_outputs[] = {"flow", "flow by flow sensor", "flow by pressure rise",
                                           "agreement"};

static void leak(double rate_true, double noise, double red, double length, double limit)
{
    struct tally t[4] = {0};
    double volume_u = 2e-6, gain_u = 0.0005, flow_gain = 0.005;
    for (long k = 0; k < repeats; k++) {
        struct es_trace *tr[4];
        double V = 5e-4 + volume_u * syn_normal(&seed), gain = 1 + gain_u * syn_normal(&seed);
        double drift = 0.02 * syn_normal(&seed) / length, tare_rate = 0.02e3 / 60, T = 295;
        double dpdt = rate_true * 1e5 / V * T / 293.15;
        size_t n = (size_t)(length * 20);
        for (int i = 0; i < 4; i++) {
            bool tare = i >= 2, rise = i % 2;
            tr[i] = syn_trace();
            struct es_series *s =
                syn_series(tr[i], rise ? ES_ROLE_OUTPUT_1_PRESSURE : ES_ROLE_OUTPUT_1_FLOW, n, 20);
            double tau_heat = 2 + 3 * syn_uniform(&seed);
            for (size_t j = 0; j < n; j++) {
                double x = s->t[j];
                if (rise) {
                    double own = limit > 0 ? limit * -expm1(-dpdt * x / limit) : dpdt * x;
                    own += limit > 0 && dpdt * length > limit ? 0
                                                              : 0.4 * dpdt * tau_heat * -expm1(-x / tau_heat);
                    s->y[j] =
                        gain * ((tare ? 0 : own) + tare_rate * x) + 101325 / T * drift * x * (tare ? 0 : 1);
                } else {
                    s->y[j] = (tare ? 0 : rate_true * (1 + flow_gain * 0)) + 2e-8;
                }
            }
            if (red > 0)
                syn_red_noise(s, rise ? noise : 2e-9, red, &seed);
            else
                syn_noise(s, rise ? noise : 2e-9, &seed);
            s->u.gain = rise ? gain_u : flow_gain;
            s->u.offset = rise ? 100 : 1e-8;
        }
        /* the flow sensor's gain error is the same in both of its recordings */
        double fg = 1 + flow_gain * syn_normal(&seed);
        for (int i = 0; i < 4; i += 2)
            for (size_t j = 0; j < n; j++)
                tr[i]->series[0].y[j] *= fg;
        struct es_fact facts[] = {{"output 1 volume", ES_DIM_VOLUME, 5e-4, volume_u, INFINITY},
                                  {"ambient temperature", ES_DIM_TEMPERATURE, T, 0.3, INFINITY},
                                  {"ambient pressure", ES_DIM_PRESSURE, 101325, 100, INFINITY}};
        struct es_facts all = {facts, 3};
        struct es_measured *m =
            syn_measure("relay leak", NULL, (const struct es_trace *[]){tr[0], tr[1], tr[2], tr[3]}, &all);
        for (int o = 0; o < 4; o++)
            tally_count(&t[o], syn_output("relay leak", m, leak_outputs[o]), o == 3 ? 0 : rate_true);
        free(m);
        for (int i = 0; i < 4; i++)
            es_trace_free(tr[i]);
    }
    char cell[96];
    int n = snprintf(cell, sizeof cell, "%g Nl/h, %g Pa, lag-1 %g, %g s", rate_true * 3.6e6 / 1.08744, noise,
                     red, length);
    if (limit > 0)
        snprintf(cell + n, sizeof cell - (size_t)n, ", towards %g bar", limit / 1e5);
    double nl = 1.08744 / 3.6e6;
    tally_row(cell, t, (const double[]){nl, nl, nl}, 3);
}

static void leaks(void)
{
    tally_head("leak, noise of the pressure, length (Nl/h)", leak_outputs, 3);
    double nl = 1.08744 / 3.6e6;
    leak(0.5 * nl, 20, 0, 60, 0);
    leak(5 * nl, 20, 0, 60, 0);
    leak(5 * nl, 20, 0.5, 60, 0);
    leak(5 * nl, 100, 0.8, 30, 0);
    leak(5 * nl, 20, 0, 60, 0.4e5);
    leak(50 * nl, 20, 0, 30, 0);
    leak(50 * nl, 20, 0, 30, 3e5);
    leak(500 * nl, 100, 0, 30, 4e5);
}

#define DEG 0.017453292519943295

static const char *const sweep_outputs[] = {
    "usable range", "linearity terminal-based", "hysteresis", "repeatability", "smoothness",
    "dropouts",     "widest dropout",           "delay",      "margin low"};
/* deg, % of span, number, ms, % of the reading */
static const double sweep_units[] = {DEG, 0.01, 0.01, 0.01, 0.01, 1, DEG, 1e-3, 0.01};

static void sweep(double noise, double rate, double delay, double play_deg, double bow, double resolution)
{
    enum { N = sizeof sweep_outputs / sizeof sweep_outputs[0] };
    struct tally t[N] = {0};
    for (long k = 0; k < repeats / 4 + 1; k++) {
        struct syn_sweep s = {.rate = rate,
                              .speeds = {15 * DEG, 45 * DEG},
                              .bow = bow,
                              .play = play_deg * DEG,
                              .delay = delay,
                              .noise = noise,
                              .dropout_at = {20 * DEG},
                              .dropout_width = {1.5 * DEG},
                              .phase = syn_uniform(&seed)};
        struct es_trace *trace = syn_sweep_trace(&s, &seed);
        if (resolution > 0)
            syn_round(&trace->series[1], resolution);
        struct es_measured *m = syn_measure_one("sensor sweep", NULL, trace, NULL);
        double judged = 0.94 * 90,
               sense = bow * (sin(acos(-1) * 0.94)) / (0.94 * 45); /* the end points' own line */
        double most = 0, wide = 0, half = play_deg / 2;
        for (int i = 0; i < 21; i++) {
            double a = -0.5 * judged + judged * i / 20;
            most = fmax(most, fabs(bow * sin(acos(-1) * a / 45) - sense * a));
            wide = fmax(wide, 0.8 / 90 * play_deg +
                                  bow * (sin(acos(-1) * (a + half) / 45) - sin(acos(-1) * (a - half) / 45)));
        }
        double span = 0.8 * 0.94 + 2 * bow * sin(acos(-1) * 0.94);
        double truth[N] = {65 * DEG - (0.75 + play_deg / 2) * DEG,
                           most / span,
                           wide / span,
                           0,
                           0,
                           1,
                           1.5 * DEG,
                           delay,
                           0.1 + 0.8 / 90 * half + bow * sin(acos(-1) * (half - 45) / 45)};
        for (int o = 0; o < N; o++)
            tally_count(&t[o], syn_output("sensor sweep", m, sweep_outputs[o]), truth[o]);
        free(m);
        es_trace_free(trace);
    }
    char cell[96];
    int n = snprintf(cell, sizeof cell, "%g %%, %g Hz, %g ms, play %g deg, bow %g %%", 100 * noise, rate,
                     1e3 * delay, play_deg, 100 * bow);
    if (resolution > 0)
        snprintf(cell + n, sizeof cell - (size_t)n, ", resolution %g %%", 100 * resolution);
    tally_row(cell, t, sweep_units, N);
}

static void sweeps(void)
{
    tally_head("noise, rate, delay, play, bow (deg, % of span, ms)", sweep_outputs,
               sizeof sweep_outputs / sizeof sweep_outputs[0]);
    sweep(0.0002, 100, 0, 0, 0, 0);
    sweep(0.0002, 100, 0.034, 0, 0.004, 0);
    sweep(0.001, 100, 0.034, 0, 0.004, 0);
    sweep(0.0002, 100, 0.034, 0.4, 0.004, 0);
    sweep(0.001, 200, 0.01, 0.4, 0.008, 0);
    sweep(0.0002, 50, 0.034, 0.4, 0.004, 0.001);
    sweep(0.0002, 20, 0.034, 0.4, 0.004, 0);
    sweep(0.002, 10000, 0.034, 0.4, 0.004, 0); /* judged by means of blocks */
    sweep(0.002, 10000, 0, 0, 0, 0);
}

int main(int argc, char **argv)
{
    if (argc > 1)
        repeats = strtol(argv[1], NULL, 10);
    if (argc > 2)
        seed = strtoull(argv[2], NULL, 10);
    if (repeats < 1)
        repeats = 1;
    printf("%ld traces a cell, seed %llu\n", repeats, (unsigned long long)seed);
    const char *only = argc > 3 ? argv[3] : "";
    if (!only[0] || strcmp(only, "steps") == 0)
        steps();
    if (!only[0] || strcmp(only, "leaks") == 0)
        leaks();
    if (!only[0] || strcmp(only, "sweeps") == 0)
        sweeps();
    return 0;
}

/* Bias and spread of the static and of the other later measures, and how often their 95 % intervals cover the
 * truth, on synthetic traces over a grid of noise, rate and time constant. Prints the tables of
 * docs/measures.md.
 * Use: bench_static_estimators [traces a cell, 400] [seed, 1] [measure] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/orifice.h"
#include "tests/bench/measures/tally.h"
#include "tests/unit/measures/synthetic_static.h"

static long repeats = 400;
static uint64_t seed = 1;

/* Evaluates once and counts each named output against its truth; frees the traces. */
struct cell {
    const char *measure, *settings, *name;
    const char *const *outputs;
    double *truths;
    struct tally tallies[8];
    size_t outputs_count;
    double unit;
};

static void take(struct cell *c, struct es_trace *const *traces, size_t traces_count,
                 const struct es_facts *facts)
{
    const struct es_trace *given[8] = {0};
    for (size_t i = 0; i < traces_count; i++)
        given[i] = traces[i];
    struct es_measured *m = syn_measure(c->measure, c->settings, given, facts);
    for (size_t o = 0; o < c->outputs_count; o++) {
        const struct es_measured *v = syn_output(c->measure, m, c->outputs[o]);
        if (!v->valid && c->tallies[o].all == c->tallies[o].valid && (o == 0 || c->tallies[0].valid))
            printf("  (%s: %s)\n", c->outputs[o], v->reason);
        tally_count(&c->tallies[o], v, c->truths[o]);
    }
    free(m);
    for (size_t i = 0; i < traces_count; i++)
        es_trace_free(traces[i]);
}

static const char *const columns[] = {"output: bias +- spread, covered"};

static void finish(const struct cell *c)
{
    tally_named_row(c->name, c->outputs, c->tallies, c->unit, c->outputs_count);
}

/* ---- staircase ---- */

static const char *const stair_outputs[] = {"inaccuracy",
                                            "linearity terminal-based",
                                            "linearity independent",
                                            "linearity zero-based",
                                            "hysteresis",
                                            "repeatability",
                                            "largest error",
                                            "smallest error"};

static double three_cycles[60];

static size_t fill_cycles(void)
{
    static const double up[] = {-0.05, 0, 0.2, 0.4, 0.6, 0.8, 1, 1.05};
    size_t n = 0;
    for (int k = 0; k < 3; k++) {
        for (int i = 0; i < 8; i++)
            three_cycles[n++] = up[i];
        for (int i = 6; i >= 0; i--)
            three_cycles[n++] = up[i];
    }
    return n;
}

/* Truth of noise-free stairs by the measure itself, without noise. */
static void staircase(double noise, double rate, double tau, double play, double bow, double red, double q)
{
    struct syn_stairs s = {.demands = three_cycles,
                           .count = fill_cycles(),
                           .lead = 5,
                           .hold = 8,
                           .rate = rate,
                           .tau = tau,
                           .play = play,
                           .bow = bow,
                           .zero = 0.001,
                           .read_noise = -1};
    double truths[8];
    struct es_trace *clean = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("staircase", "{\"settle\": \"4 s\"}", clean, &syn_unit_facts);
    for (int o = 0; o < 8; o++)
        truths[o] = syn_output("staircase", m, stair_outputs[o])->value;
    free(m);
    es_trace_free(clean);
    char name[80];
    snprintf(name, sizeof name, "n %.2f%% %gHz tau %g play %.1f%% r %.1f q %.2f%%", 100 * noise, rate, tau,
             100 * play, red, 100 * q);
    struct cell c = {.measure = "staircase",
                     .settings = "{\"settle\": \"4 s\"}",
                     .name = name,
                     .outputs = stair_outputs,
                     .truths = truths,
                     .outputs_count = 8,
                     .unit = 0.01};
    for (long k = 0; k < repeats; k++) {
        s.noise = noise;
        s.red = red;
        s.resolution = q;
        double off = syn_normal(&seed);
        struct es_trace *t = syn_stairs_trace(&s, &seed);
        for (size_t i = 0; i < t->series[0].count; i++)
            t->series[0].y[i] += 2e-5 * off; /* the calibration's share: 0.1 % of span */
        t->series[0].u.offset = 2e-5;
        take(&c, &t, 1, &syn_unit_facts);
    }
    finish(&c);
}

static void staircases(void)
{
    tally_head("staircase (% of span; truth: the same without noise)", columns, 1);
    staircase(0.0005, 20, 0.5, 0.005, 0.01, 0, 0);
    staircase(0.002, 20, 0.5, 0.005, 0.01, 0, 0);
    staircase(0.002, 5, 0.5, 0.005, 0.01, 0, 0);
    staircase(0.002, 20, 0.5, 0.005, 0.01, 0.8, 0);
    staircase(0.0005, 20, 0.5, 0, 0, 0, 0);
    staircase(0.0005, 20, 0.5, 0.005, 0.01, 0, 0.001);
    staircase(0.0005, 20, 0.7, 0.005, 0.01, 0, 0);
    staircase(0.002, 20, 0.5, 0.02, 0.002, 0.5, 0);
}

/* ---- dead band ---- */

static void dead_bands(double noise, double rate, double tau, double width, bool stick, double step)
{
    static const char *const names[] = {"dead band"};
    static double demands[80];
    double truths[1] = {width};
    struct cell c = {
        .measure = "dead band", .outputs = names, .truths = truths, .outputs_count = 1, .unit = 0.01};
    char name[80];
    snprintf(name, sizeof name, "n %.2f%% %gHz tau %g %s %.2f%% step %.2f%%", 100 * noise, rate, tau,
             stick ? "stick" : "play", 100 * width, 100 * step);
    c.name = name;
    for (long k = 0; k < repeats; k++) {
        size_t n = 0;
        double phase = step * (syn_uniform(&seed) - 0.5); /* the truth lies anywhere between two sizes */
        demands[n++] = 0.45;
        demands[n++] = 0.5;
        for (int i = 1; i <= 16; i++) {
            demands[n++] = 0.5 - i * step + phase;
            demands[n++] = 0.5;
        }
        demands[n++] = 0.44;
        struct syn_stairs s = {.demands = demands,
                               .count = n,
                               .lead = 4,
                               .hold = 5,
                               .rate = rate,
                               .tau = tau,
                               .play = stick ? 0 : width,
                               .stick = stick ? width : 0,
                               .noise = noise,
                               .read_noise = -1};
        struct es_trace *t = syn_stairs_trace(&s, &seed);
        take(&c, &t, 1, &syn_unit_facts);
    }
    finish(&c);
}

static void all_dead_bands(void)
{
    tally_head("dead band (% of span)", columns, 1);
    dead_bands(0.0001, 20, 0.3, 0.005, false, 0.001);
    dead_bands(0.0005, 20, 0.3, 0.005, false, 0.001);
    dead_bands(0.0005, 20, 0.3, 0.005, true, 0.001);
    dead_bands(0.0005, 5, 0.5, 0.005, false, 0.001);
    dead_bands(0.002, 20, 0.3, 0.005, false, 0.001);
    dead_bands(0.0005, 20, 0.3, 0.012, false, 0.002);
}

/* ---- levels: difference, drift, supply influence ---- */

static void levels(double noise, double red, double rate, double length)
{
    static const char *const value[] = {"value"}, *const change[] = {"change"},
                             *const influence[] = {"change low", "change high", "per bar"};
    double truth_d[1] = {1e-4}, truth_c[1] = {-5e-5}, truth_i[3] = {-0.004, 0.002, 0.002};
    char name[80];
    snprintf(name, sizeof name, "n %.2f%% r %.1f %gHz %gs", 100 * noise, red, rate, length);
    struct cell d = {.measure = "difference",
                     .settings = "{\"channel\": \"travel\", \"reference channel\": \"travel\"}",
                     .name = name,
                     .outputs = value,
                     .truths = truth_d,
                     .outputs_count = 1,
                     .unit = 1e-6};
    struct cell e = {.measure = "drift",
                     .settings = "{\"channel\": \"travel\"}",
                     .name = name,
                     .outputs = change,
                     .truths = truth_c,
                     .outputs_count = 1,
                     .unit = 1e-6};
    struct cell f = {.measure = "supply influence",
                     .name = name,
                     .outputs = influence,
                     .truths = truth_i,
                     .outputs_count = 3,
                     .unit = 0.01};
    double sd = noise * SYN_TRAVEL, mid = 0.01;
    for (long k = 0; k < repeats; k++) {
        struct es_trace *t[3];
        t[0] = syn_flat(ES_ROLE_TRAVEL, mid + truth_d[0], length, rate, sd, red, &seed);
        t[1] = syn_flat(ES_ROLE_TRAVEL, mid, length, rate, sd, red, &seed);
        take(&d, t, 2, NULL);
        t[0] = syn_flat(ES_ROLE_TRAVEL, mid, length, rate, sd, red, &seed);
        t[1] = syn_flat(ES_ROLE_TRAVEL, mid + truth_c[0], length, rate, sd, red, &seed);
        take(&e, t, 2, NULL);
        static const double at[] = {0, -0.004, 0.002}, bar[] = {4e5, 2e5, 6e5};
        for (int i = 0; i < 3; i++) {
            t[i] = syn_flat(ES_ROLE_TRAVEL, mid + SYN_TRAVEL * at[i], length, rate, sd, red, &seed);
            struct es_series *p = syn_series(t[i], ES_ROLE_SUPPLY_PRESSURE, (size_t)(length * rate), rate);
            for (size_t j = 0; j < p->count; j++)
                p->y[j] = bar[i] + 200 * syn_normal(&seed);
        }
        take(&f, t, 3, &syn_unit_facts);
    }
    finish(&d);
    finish(&e);
    finish(&f);
}

static void all_levels(void)
{
    tally_head("difference, drift (um), supply influence (% of span)", columns, 1);
    levels(0.0005, 0, 20, 5);
    levels(0.002, 0, 20, 5);
    levels(0.002, 0.8, 20, 10);
    levels(0.002, 0, 5, 4);
}

/* ---- loss ---- */

static void loss(double noise, double rate, double dead, double tau)
{
    static const char *const names[] = {"final", "delay", "time"};
    double truths[3] = {0.0005, dead, dead - tau * log(0.1)};
    char name[80];
    snprintf(name, sizeof name, "n %.2f%% %gHz dead %g tau %g", 100 * noise, rate, dead, tau);
    struct cell c = {
        .measure = "loss", .name = name, .outputs = names, .truths = truths, .outputs_count = 3, .unit = 1};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *t = syn_trace();
        double origin = 2 + syn_uniform(&seed) / rate;
        struct es_series *s =
            syn_series(t, ES_ROLE_TRAVEL, (size_t)((origin + dead + 14 * tau) * rate), rate);
        for (size_t i = 0; i < s->count; i++)
            s->y[i] = 0.0105 - 0.01 * syn_first_order(s->t[i] - origin, dead, tau);
        syn_noise(s, noise * 0.01, &seed);
        syn_command(t, ES_ROLE_LOOP_DEMAND, origin, 0.012, 0);
        take(&c, &t, 1, NULL);
    }
    finish(&c);
}

static void losses(void)
{
    tally_head("loss (m, s)", columns, 1);
    loss(0.001, 50, 0.1, 0.5);
    loss(0.005, 50, 0.1, 0.5);
    loss(0.005, 20, 0.1, 0.5);
    loss(0.02, 100, 0.3, 2);
}

/* ---- burden ---- */

static void burden(double noise, double rate, double length)
{
    static const char *const names[] = {"voltage low", "voltage high", "resistance", "largest voltage",
                                        "lowest operating current"};
    double truths[5] = {8.0 + 250 * 0.0038, 8.0 + 250 * 0.0205, 250,
                        8.0 + 250 * (0.0206 - 0.0176 / length * 2 / rate), 0.00352};
    char name[80];
    snprintf(name, sizeof name, "n %.0f mV %gHz %gs", 1e3 * noise, rate, length);
    struct cell c = {.measure = "burden",
                     .settings = "{\"least voltage\": \"8 V\"}",
                     .name = name,
                     .outputs = names,
                     .truths = truths,
                     .outputs_count = 5,
                     .unit = 1};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *t = syn_trace();
        size_t n = (size_t)(length * rate);
        syn_series(t, ES_ROLE_LOOP_CURRENT, n, rate);
        syn_series(t, ES_ROLE_LOOP_VOLTAGE, n, rate);
        struct es_series *i = &t->series[0], *v = &t->series[1];
        for (size_t j = 0; j < n; j++) {
            v->t[j] += 0.4 / rate;
            i->y[j] = 0.003 + 0.0176 * i->t[j] / length;
            double at = 0.003 + 0.0176 * v->t[j] / length;
            v->y[j] = at < 0.00352 ? 3 + 300 * at : 8 + 250 * at;
        }
        syn_noise(i, 2e-6, &seed);
        syn_noise(v, noise, &seed);
        take(&c, &t, 1, NULL);
    }
    finish(&c);
}

static void burdens(void)
{
    tally_head("burden (V, ohm, A)", columns, 1);
    burden(0.002, 20, 40);
    burden(0.02, 20, 40);
    burden(0.02, 10, 20);
}

/* ---- capacity ---- */

static void capacity(const char *name, struct syn_air a, int way)
{
    static const char *const deliver[] = {"conductance deliver", "delivered flow"}, *const exhaust[] = {
                                                                                        "conductance exhaust",
                                                                                        "exhausted flow"};
    double truths[2] = {a.C, a.C * es_orifice_drive(a.supply + 101325, a.back + 101325, 293.15, 0.3)};
    struct cell c = {.measure = "capacity",
                     .name = name,
                     .outputs = way > 0 ? deliver : exhaust,
                     .truths = truths,
                     .outputs_count = a.volume > 0 ? 1 : 2,
                     .unit = 1e-9};
    struct es_fact facts[] = {{"output 1 volume", ES_DIM_VOLUME, 5e-4, 2e-6, INFINITY},
                              {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.5, INFINITY},
                              {"ambient pressure", ES_DIM_PRESSURE, 101325, 100, INFINITY}};
    struct es_facts all = {facts, 3};
    for (long k = 0; k < repeats / 4 + 1; k++) {
        struct es_trace *t[2] = {NULL, NULL};
        struct syn_air b = a;
        b.b = 0.2 + 0.2 * syn_uniform(&seed);
        if (a.volume > 0)
            b.exchange = 1000 * pow(10, syn_uniform(&seed));
        t[way > 0 ? 0 : 1] = syn_air_trace(&b, &seed);
        take(&c, t, 2, &all);
    }
    finish(&c);
}

static void capacities(void)
{
    tally_head("capacity (1e-9 m3/(s Pa), 1e-9 m3/s)", columns, 1);
    struct syn_air a = {.C = 4e-9,
                        .supply = 4e5,
                        .back = 3e4,
                        .open_at = 0.5,
                        .opening = 0.03,
                        .length = 3,
                        .rate = 100,
                        .noise_p = 200,
                        .noise_q = 1e-5};
    capacity("steady, into the open", a, 1);
    a.lag = 0.05;
    capacity("steady, sensor lags 50 ms", a, 1);
    a.volume = 5e-4;
    a.lag = 0;
    capacity("charge of 0.5 l, by flow", a, 1);
    a.lag = 0.05;
    capacity("charge of 0.5 l, by flow, lags 50 ms", a, 1);
    a.most_flow = 1e-4;
    capacity("charge of 0.5 l, by pressure", a, 1);
    a.exhaust = true;
    a.start = 4e5;
    a.most_flow = 0;
    a.lag = 0;
    capacity("discharge of 0.5 l, by flow", a, -1);
    a.most_flow = 1e-4;
    capacity("discharge of 0.5 l, by pressure", a, -1);
}

/* ---- self-adjustment ---- */

static void self_adjustment(double noise, double rate, double tau)
{
    static const char *const names[] = {"duration", "ended"};
    double truths[2] = {40 + tau * log(0.8 / 0.01), 1}; /* the last move is 0.8 of the largest */
    char name[80];
    snprintf(name, sizeof name, "n %.2f%% %gHz tau %g", 100 * noise, rate, tau);
    struct cell c = {.measure = "self-adjustment",
                     .name = name,
                     .outputs = names,
                     .truths = truths,
                     .outputs_count = 2,
                     .unit = 1};
    for (long k = 0; k < repeats / 4 + 1; k++) {
        struct es_trace *t = syn_trace();
        struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, (size_t)(100 * rate), rate);
        double begin = 2 + syn_uniform(&seed) / rate;
        syn_command(t, ES_ROLE_SELF_ADJUSTMENT, begin, 0, 1);
        for (size_t i = 0; i < s->count; i++) {
            double now = s->t[i] - begin;
            double y = now < 1    ? 0
                       : now < 10 ? 1
                       : now < 20 ? 0
                       : now < 40 ? 1
                                  : 0.2 + 0.8 * exp(-(now - 40) / tau);
            s->y[i] = 0.02 * y;
        }
        syn_noise(s, noise * 0.02, &seed);
        take(&c, &t, 1, NULL);
    }
    finish(&c);
}

static void self_adjustments(void)
{
    tally_head("self-adjustment (s)", columns, 1);
    self_adjustment(0.0005, 20, 0.5);
    self_adjustment(0.002, 20, 0.5);
    self_adjustment(0.0005, 5, 1);
    self_adjustment(0.0005, 20, 3);
}

/* ---- lever geometry ---- */

static void lever(double noise, double pin)
{
    static const char *const names[] = {"non-linearity", "angle low", "angle high", "pin offset",
                                        "lever length"};
    double L = 0.0259807621135, low = atan((-0.015 + pin) / L), high = atan((0.015 + pin) / L), most = 0;
    for (int i = 0; i <= 20000; i++) {
        double x = i / 20000.0, angle = atan((-0.015 + pin + 0.03 * x) / L);
        most = fmax(most, fabs((angle - low) / (high - low) - x));
    }
    double truths[5] = {most, low, high, pin, L};
    char name[80];
    snprintf(name, sizeof name, "n %.2f%% pin %.1f mm", 100 * noise, 1e3 * pin);
    struct cell c = {.measure = "lever geometry",
                     .name = name,
                     .outputs = names,
                     .truths = truths,
                     .outputs_count = 5,
                     .unit = 1e-3};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *t[3] = {NULL, NULL, NULL};
        double off = 1e-3 * syn_normal(&seed);
        for (int i = 0; i < 2; i++) {
            t[1 + i] = syn_flat(ES_ROLE_TRAVEL, i == 0 ? 0.03 : 0, 3, 50, noise * 0.03, 0, &seed);
            struct es_series *a = syn_series(t[1 + i], ES_ROLE_SHAFT_ANGLE, 150, 50);
            for (size_t j = 0; j < a->count; j++)
                a->y[j] = (i == 0 ? high : low) + off + noise * syn_normal(&seed);
            a->u.offset = 1e-3;
        }
        take(&c, t, 3, NULL);
    }
    finish(&c);
}

static void levers(void)
{
    tally_head("lever geometry (0.001, mrad, mm)", columns, 1);
    lever(0.0005, 0);
    lever(0.002, 0.002);
    lever(0.002, -0.004);
}

int main(int argc, char **argv)
{
    static const struct {
        const char *name;
        void (*run)(void);
    } studies[] = {{"staircase", staircases},
                   {"dead band", all_dead_bands},
                   {"levels", all_levels},
                   {"loss", losses},
                   {"burden", burdens},
                   {"capacity", capacities},
                   {"self-adjustment", self_adjustments},
                   {"lever geometry", levers}};
    if (argc > 1)
        repeats = strtol(argv[1], NULL, 10);
    if (argc > 2)
        seed = strtoull(argv[2], NULL, 10);
    if (repeats < 1)
        repeats = 1;
    printf("%ld traces a cell, seed %llu\n", repeats, (unsigned long long)seed);
    for (size_t i = 0; i < sizeof studies / sizeof studies[0]; i++)
        if (argc < 4 || strcmp(argv[3], studies[i].name) == 0)
            studies[i].run();
    return 0;
}

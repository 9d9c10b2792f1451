/* Bias and spread of level, extreme, stroke, relay direction, held pressure and filling, and how often their
 * 95 % intervals cover the truth, on synthetic traces over a grid of noise, rate and time constant. Prints
 * the tables of docs/measures.md. Use: bench_act_estimators [traces a cell, 200] [seed, 1] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "tests/bench/measures/tally.h"
#include "tests/unit/measures/synthetic.h"

#define NL   (1.087440005 / 3.6e6) /* m3/s ANR of 1 Nl/h */
#define SPAN 0.03                  /* m */
#define MOST 4

static long repeats = 200;
static uint64_t seed = 1;

static struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 2.5e-4, 5e-7, INFINITY},
                                 {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.3, INFINITY}};
static const struct es_facts facts = {items, 2};

struct noise {
    double share, red, rate; /* of the span; lag-1 correlation; Hz */
};

struct cell {
    const char *measure, *settings;
    const char *outputs[MOST];
    double truths[MOST];
    size_t count;
    struct tally tallies[MOST];
};

/* Counts and frees the recordings. */
static void take(struct cell *c, struct es_trace *first, struct es_trace *second)
{
    const struct es_trace *traces[8] = {first, second};
    struct es_measured *m = syn_measure(c->measure, c->settings, traces, &facts);
    for (size_t i = 0; i < c->count; i++)
        tally_count(&c->tallies[i], syn_output(c->measure, m, c->outputs[i]), c->truths[i]);
    free(m);
    es_trace_free(first);
    es_trace_free(second);
}

static void row(const struct cell *c, const struct noise *n, const char *more, double unit)
{
    char name[200];
    (void)snprintf(name, sizeof name, "n %.2f%% r %.1f %gHz %s", 100 * n->share, n->red, n->rate, more);
    tally_named_row(name, c->outputs, c->tallies, unit, c->count);
}

static struct es_series *still(struct es_trace *t, enum es_role role, double value, double span,
                               double seconds, const struct noise *n)
{
    struct es_series *s = syn_series(t, role, (size_t)(seconds * n->rate), n->rate);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = value;
    syn_red_noise(s, n->share * span, n->red, &seed);
    return s;
}

static void levels(const struct noise *n)
{
    struct cell level = {
        "level", "{\"channel\": \"travel\"}", {"value", "spread"}, {0.01, n->share * SPAN}, 2, {{0}}};
    struct cell extreme = {"extreme", "{\"channel\": \"travel\"}", {"largest", "smallest"}, {0.01, 0.01}, 2,
                           {{0}}};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *t = syn_trace(), *u = syn_trace();
        (void)still(t, ES_ROLE_TRAVEL, 0.01, SPAN, 10, n);
        (void)still(u, ES_ROLE_TRAVEL, 0.01, SPAN, 10, n);
        take(&level, t, NULL);
        take(&extreme, u, NULL);
    }
    row(&level, n, "level, 10 s", 1e-6);
    row(&extreme, n, "extreme of 0.05 s, 10 s", 1e-6);
}

/* Up at 1 s and down at 9 s, first order with dead time 0.2 s. */
static void strokes(const struct noise *n, double tau)
{
    double time = 0.2 - tau * log(0.05);
    struct cell c = {"stroke",
                     "{\"complete at\": \"95 %\"}",
                     {"travel", "upper end", "time up", "time down"},
                     {SPAN, 0.001 + SPAN, time, time},
                     4,
                     {{0}}};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *t = syn_trace();
        struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, (size_t)(17 * n->rate), n->rate);
        for (size_t i = 0; i < s->count; i++)
            s->y[i] = 0.001 + SPAN * (syn_first_order(s->t[i] - 1, 0.2, tau) -
                                      syn_first_order(s->t[i] - 9, 0.2, tau));
        syn_red_noise(s, n->share * SPAN, n->red, &seed);
        syn_command(t, ES_ROLE_LOOP_DEMAND, 1, 0.004, 0.020);
        syn_command(t, ES_ROLE_LOOP_DEMAND, 9, 0.020, 0.004);
        take(&c, t, NULL);
    }
    char more[48];
    (void)snprintf(more, sizeof more, "tau %g s", tau);
    row(&c, n, more, 1e-3);
}

static void directions(const struct noise *n, double wrong)
{
    double right = 1000 * NL;
    struct cell c = {"relay direction", NULL, {"flow right", "flow wrong"}, {right, wrong * NL}, 2, {{0}}};
    for (long k = 0; k < repeats; k++) {
        struct es_trace *up = syn_trace(), *down = syn_trace();
        (void)still(up, ES_ROLE_OUTPUT_1_FLOW, right, right, 4, n);
        (void)still(up, ES_ROLE_OUTPUT_2_FLOW, wrong * NL, 10 * NL, 4, n);
        (void)still(down, ES_ROLE_OUTPUT_1_FLOW, wrong * NL, 10 * NL, 4, n);
        (void)still(down, ES_ROLE_OUTPUT_2_FLOW, right, right, 4, n);
        take(&c, up, down);
    }
    char more[48];
    (void)snprintf(more, sizeof more, "wrong %g Nl/h", wrong);
    row(&c, n, more, NL);
}

/* 4 bar shut in at 0.5 s; `warm`: what the gas still cools by, Pa, with 3 s. */
static struct es_trace *shut_in(double unit, double bench, double warm, const struct noise *n)
{
    struct es_trace *t = syn_trace();
    size_t count = (size_t)(26.5 * n->rate);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_FLOW, count, n->rate);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, count, n->rate);
    struct es_series *f = &t->series[0], *p = &t->series[1];
    double k = (unit + bench) * 1e5 / 2.5e-4 / 5.01325e5;
    for (size_t i = 0; i < count; i++) {
        double x = fmax(0, f->t[i] - 0.5), absolute = fmax(101325, 5.01325e5 * exp(-k * x));
        p->y[i] = absolute - 101325 - warm * (1 - exp(-x / 3));
        f->y[i] = 0.2 * NL - (x > 0 && absolute > 101325 ? unit * absolute / 5.01325e5 : 0);
    }
    syn_red_noise(f, n->share * 50 * NL, n->red, &seed);
    syn_red_noise(p, n->share * 2e4, n->red, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 0.5, 0.02, 0);
    return t;
}

/* Less escapes as the pressure falls: the truth is the mean from `settle` after the command to the end. */
static void held(const struct noise *n, double unit, double bench, double warm)
{
    double fall = (unit + bench) * NL * 1e5 / 2.5e-4 / 5.01325e5, from = 1, to = 26;
    double left = fall > 0 ? (exp(-fall * from) - exp(-fall * to)) / (fall * (to - from)) : 1;
    struct cell c = {"held pressure", NULL, {"leak back"}, {unit * NL * left}, 1, {{0}}};
    for (long k = 0; k < repeats; k++)
        take(&c, shut_in(unit * NL, bench * NL, warm, n), shut_in(0, 0, 0, n));
    char more[100];
    (void)snprintf(more, sizeof more, "unit %g, bench %g Nl/h, cools by %g mbar", unit, bench, warm / 100);
    row(&c, n, more, NL);
}

static struct es_trace *filled(double seconds, double gain, const struct noise *n)
{
    struct es_trace *t = syn_trace();
    size_t count = (size_t)(10 * n->rate);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_FLOW, count, n->rate);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, count, n->rate);
    struct es_series *f = &t->series[0], *p = &t->series[1];
    double read = 0;
    for (size_t i = 0; i < count; i++) {
        double since = f->t[i] - 0.7 + 1e-9, x = fmin(fmax(0, since), seconds);
        double q = since >= 0 && since < seconds ? 1000 * NL : 0;
        p->y[i] = x * 1000 * NL / (2.5e-4 * 1e-5);
        read += (q - read) * (1 - exp(-1 / n->rate / 0.05));
        f->y[i] = gain * read + 2 * NL;
    }
    syn_red_noise(f, n->share * 50 * NL, n->red, &seed);
    syn_red_noise(p, n->share * 2e4, n->red, &seed);
    return t;
}

static void fillings(const struct noise *n, double gain)
{
    struct cell c = {"filling", NULL, {"difference"}, {gain - 1}, 1, {{0}}};
    for (long k = 0; k < repeats; k++)
        take(&c, filled(2, gain, n), filled(0, 1, n));
    char more[48];
    (void)snprintf(more, sizeof more, "sensor %+g %%", 100 * (gain - 1));
    row(&c, n, more, 0.01);
}

static const char *const columns[] = {"output: bias +- spread, covered"};

int main(int argc, char **argv)
{
    static const struct noise grid[] = {
        {0.0005, 0, 20}, {0.0005, 0, 100}, {0.002, 0, 20}, {0.002, 0, 100}, {0.002, 0.8, 100}};
    if (argc > 1)
        repeats = strtol(argv[1], NULL, 10);
    if (argc > 2)
        seed = strtoull(argv[2], NULL, 10);
    tally_head("level, extreme (um)", columns, 1);
    for (size_t i = 0; i < 5; i++)
        levels(&grid[i]);
    tally_head("stroke (mm, ms)", columns, 1);
    for (size_t i = 0; i < 5; i++)
        strokes(&grid[i], 0.4);
    strokes(&grid[3], 0.1);
    strokes(&grid[3], 0.8);
    tally_head("relay direction (Nl/h)", columns, 1);
    for (size_t i = 0; i < 5; i++)
        directions(&grid[i], 5);
    tally_head("held pressure (Nl/h)", columns, 1);
    for (size_t i = 0; i < 5; i++)
        held(&grid[i], 2, 0, 0);
    held(&grid[1], 2, 3, 0);
    held(&grid[1], 0, 0, 2000);
    tally_head("filling (%)", columns, 1);
    for (size_t i = 0; i < 5; i++)
        fillings(&grid[i], 1.02);
    return 0;
}

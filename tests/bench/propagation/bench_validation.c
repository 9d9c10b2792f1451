/* Which values JCGM 100 carries, decided by JCGM 101 clause 8: the ends of both 95 % intervals against delta,
 * half a unit of the first digit of u.
 *
 *   bench-validation      prints the table of docs/measures.md
 *
 * Cells are typical of the shipped benches; where a value's model is stated by its measure, the cells lie on
 * both sides of where the answer turns. The last table is of the largest of several figures: the truth of
 * each is drawn, and how often each way of stating an interval holds it is counted. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/numeric/monte_carlo.h"
#include "procedures/measures/numeric/student.h"

#define INPUTS 4

struct cell {
    const char *value, *cell;
    es_model *model;
    struct es_input inputs[INPUTS];
    size_t count;
    double scale; /* to the unit of the table */
    const char *unit;
};

static double sum(const void *context, const double *x)
{
    (void)context;
    return x[0] + x[1];
}

static double size(const void *context, const double *x)
{
    (void)context;
    return fabs(x[0]);
}

static double ratio(const void *context, const double *x)
{
    (void)context;
    return fmax(0, x[0]) / x[1];
}

/* V dp/dt (T0 / T) / p0: volume, rate, temperature */
static double rise(const void *context, const double *x)
{
    (void)context;
    return x[0] * x[1] * 293.15 / (x[2] * 1e5);
}

/* Flow over ISO 6358's drive: flow, upstream pressure, pressure ratio, b. */
static double conductance(const void *context, const double *x)
{
    (void)context;
    double b = fmin(fmax(x[3], 0), 0.95), r = fmax(x[2], b), part = (r - b) / (1 - b);
    return x[0] / (x[1] * sqrt(1 - part * part));
}

/* Time at which a response of this slope reaches a level: level, slope. */
static double crossing(const void *context, const double *x)
{
    (void)context;
    return x[0] / x[1];
}

/* Pin offset of a slotted lever: stroke s between the angles, L (tan high + tan low) / 2 with L from both. */
static double pin(const void *context, const double *x)
{
    (void)context;
    double high = tan(x[1]), low = tan(x[2]);
    return x[0] / (high - low) * (high + low) / 2;
}

#define N(a, b)                                                                                              \
    {                                                                                                        \
        ES_DISTRIBUTION_NORMAL, (a), (b), 0                                                                  \
    }
#define R(a, b)                                                                                              \
    {                                                                                                        \
        ES_DISTRIBUTION_RECTANGULAR, (a), (b), 0                                                             \
    }
#define DEG (3.14159265358979323846 / 180)

static const struct cell cells[] = {
    {"dead band", "steps of 0.1 %, noise 0.01 %", sum, {N(0.5, 0.014), R(0, 0.05)}, 2, 1, "%"},
    {"dead band", "steps of 0.1 %, noise 0.02 %", sum, {N(0.5, 0.028), R(0, 0.05)}, 2, 1, "%"},
    {"dead band", "steps of 0.1 %, noise 0.05 %", sum, {N(0.5, 0.071), R(0, 0.05)}, 2, 1, "%"},
    {"lowest current", "points 0.1 mA apart", sum, {N(3.5, 0.004), R(0, 0.1)}, 2, 1, "mA"},
    {"leak, methods apart", "En 1.2", sum, {N(2, 0.08), R(0, 0.5)}, 2, 1, "Nl/h"},
    {"conductance by volume", "between two gas models", sum, {N(1, 0.02), R(0, 1.0 / 6)}, 2, 1, "rel."},
    {"steady-state error", "0", size, {N(0, 0.1)}, 1, 1, "%"},
    {"steady-state error", "1 u", size, {N(0.1, 0.1)}, 1, 1, "%"},
    {"steady-state error", "2 u", size, {N(0.2, 0.1)}, 1, 1, "%"},
    {"cross-talk", "no wrong flow", ratio, {N(0, 0.5), N(3000, 30)}, 2, 100, "%"},
    {"cross-talk", "wrong flow 2 u", ratio, {N(1, 0.5), N(3000, 30)}, 2, 100, "%"},
    {"cross-talk", "5 %, right flow to 1 %", ratio, {N(150, 2), N(3000, 30)}, 2, 100, "%"},
    {"cross-talk", "5 %, right flow to 10 %", ratio, {N(150, 2), N(3000, 300)}, 2, 100, "%"},
    {"filling, difference", "volume to 1 %", ratio, {N(1, 0.003), N(1, 0.01)}, 2, 100, "%"},
    {"leak by pressure rise",
     "volume to 1 %",
     rise,
     {N(0.5e-3, 5e-6), N(300, 3), N(293.15, 0.3)},
     3,
     3.6e6,
     "l/h"},
    {"leak by pressure rise",
     "volume to 5 %",
     rise,
     {N(0.5e-3, 25e-6), N(300, 3), N(293.15, 0.3)},
     3,
     3.6e6,
     "l/h"},
    {"conductance by flow",
     "choked",
     conductance,
     {N(2, 0.02), N(5, 0.01), N(0.2, 0.002), N(0.3, 0.1)},
     4,
     1,
     "l/(s bar)"},
    {"conductance by flow",
     "p2/p1 0.4",
     conductance,
     {N(2, 0.02), N(5, 0.01), N(0.4, 0.002), N(0.3, 0.1)},
     4,
     1,
     "l/(s bar)"},
    {"conductance by flow",
     "p2/p1 0.6",
     conductance,
     {N(2, 0.02), N(5, 0.01), N(0.6, 0.002), N(0.3, 0.1)},
     4,
     1,
     "l/(s bar)"},
    {"T86, crossing", "slope to 2 %", crossing, {N(0.865, 0.002), N(1, 0.02)}, 2, 1e3, "ms"},
    {"T98, crossing", "slope to 10 %", crossing, {N(0.98, 0.002), N(1, 0.1)}, 2, 1e3, "ms"},
    {"lever, pin offset",
     "angles to 1 mrad",
     pin,
     {N(30, 0.02), N(33 * DEG, 1e-3), N(-27 * DEG, 1e-3)},
     3,
     1,
     "mm"},
};

/* Value and standard uncertainty by JCGM 100 5.1.2, sensitivities by central differences of u/100. */
static void linear(const struct cell *c, double *y, double *u)
{
    double x[INPUTS], square = 0;
    for (size_t i = 0; i < c->count; i++)
        x[i] = c->inputs[i].a;
    *y = c->model(NULL, x);
    for (size_t i = 0; i < c->count; i++) {
        const struct es_input *in = &c->inputs[i];
        double spread = in->kind == ES_DISTRIBUTION_RECTANGULAR ? in->b / sqrt(3) : in->b,
               step = spread / 100;
        x[i] = in->a + step;
        double up = c->model(NULL, x);
        x[i] = in->a - step;
        double slope = c->model == size || c->model == ratio /* one-sided where the model has a kink */
                           ? (up - *y) / step
                           : (up - c->model(NULL, x)) / (2 * step);
        x[i] = in->a;
        square += slope * spread * slope * spread;
    }
    *u = sqrt(square);
}

static void validate(const struct cell *c)
{
    struct es_monte_carlo job = {.inputs = c->inputs,
                                 .input_count = c->count,
                                 .model = c->model,
                                 .seed = 2026,
                                 .coverage = 0.95,
                                 .digits = 1,
                                 .finer = 5,
                                 .most = 1000000};
    struct es_monte_carlo_result r;
    struct es_error err = {0};
    double y, u, s = c->scale;
    if (es_monte_carlo_run(&job, &r, &err) != ES_OK) {
        fprintf(stderr, "%s\n", err.text);
        exit(1);
    }
    linear(c, &y, &u);
    double k = es_normal_quantile(0.975), delta = es_numerical_tolerance(r.u, 1);
    bool good = fabs(y - k * u - r.low) <= delta && fabs(y + k * u - r.high) <= delta;
    printf("| %s | %s | %.4g [%.4g, %.4g] %s | %.4g [%.4g, %.4g] | %.2g | %s |\n", c->value, c->cell, s * y,
           s * (y - k * u), s * (y + k * u), c->unit, s * r.estimate, s * r.low, s * r.high, s * delta,
           good ? "yes" : "**no**");
}

/* ---- The largest of several ---- */

static double normal(uint64_t *draw)
{
    return es_normal_quantile(es_draw(7, 1, (*draw)++));
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* How often the truth (largest of n, scattering by `scatter` u) lies in the deciding figure's own interval,
 * and in what JCGM 101 gives for max(X1 .. Xn) with each X about its reading. */
static void largest(size_t n, double scatter)
{
    enum { TIMES = 2000, TRIALS = 1000 };
    static double y[TRIALS];
    size_t own = 0, drawn = 0;
    uint64_t draw = 0;
    for (int t = 0; t < TIMES; t++) {
        double seen[16], truth = -INFINITY, most = -INFINITY;
        for (size_t i = 0; i < n; i++) {
            double true_value = scatter * normal(&draw);
            seen[i] = true_value + normal(&draw);
            truth = fmax(truth, true_value);
            most = fmax(most, seen[i]);
        }
        own += fabs(most - truth) <= 1.959964;
        for (size_t k = 0; k < TRIALS; k++) {
            y[k] = -INFINITY;
            for (size_t i = 0; i < n; i++)
                y[k] = fmax(y[k], seen[i] + normal(&draw));
        }
        qsort(y, TRIALS, sizeof *y, by_value);
        drawn += y[TRIALS / 40] <= truth && truth <= y[TRIALS - 1 - TRIALS / 40];
    }
    printf("| %zu | %.1f u | %.0f %% | %.0f %% |\n", n, scatter, 100.0 * (double)own / TIMES,
           100.0 * (double)drawn / TIMES);
}

int main(void)
{
    printf("| value | cell | JCGM 100 | Monte Carlo | delta | validated |\n| --- | --- | --- | --- | --- | "
           "--- |\n");
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++)
        validate(&cells[i]);
    printf("\n| figures | their truths scatter by | deciding figure with its own U | Monte Carlo of the "
           "largest |\n"
           "| --- | --- | --- | --- |\n");
    for (size_t n = 2; n <= 6; n += 2)
        for (int i = 0; i < 3; i++)
            largest(n, (double[]){0, 1, 5}[i]);
    return 0;
}

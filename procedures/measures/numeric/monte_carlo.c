#include "procedures/measures/numeric/monte_carlo.h"

#include <math.h>
#include <stdlib.h>

#include "procedures/measures/numeric/student.h"

#define BLOCK       10000 /* 7.9.4 b: at least 1e4, enough for 95 % */
#define LEAST_BLOCK 3     /* from how many on their scatter says something */
#define MOST        1000000
#define PI          3.14159265358979323846

enum { ESTIMATE, SPREAD, LOW, HIGH, FIGURES };

static uint64_t mix(uint64_t z)
{
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

double es_draw(uint64_t seed, uint64_t stream, uint64_t index)
{
    uint64_t z = mix(mix(seed + 0x9e3779b97f4a7c15u * (stream + 1)) + 0x9e3779b97f4a7c15u * (index + 1));
    return ((double)(z >> 11) + 0.5) / 9007199254740992.0; /* 2^53 */
}

/* One pair of normal draws by Box and Muller; the second is kept for the next trial. */
static double normal_of(uint64_t seed, uint64_t stream, uint64_t index)
{
    double u = es_draw(seed, stream, index & ~(uint64_t)1), v = es_draw(seed, stream, index | 1);
    double r = sqrt(-2 * log(u));
    return index & 1 ? r * sin(2 * PI * v) : r * cos(2 * PI * v);
}

static double draw_input(const struct es_input *in, uint64_t seed, uint64_t stream, uint64_t index)
{
    switch (in->kind) {
    case ES_DISTRIBUTION_NORMAL:
        return in->a + in->b * normal_of(seed, stream, index);
    case ES_DISTRIBUTION_RECTANGULAR:
        return in->a + in->b * (2 * es_draw(seed, stream, index) - 1);
    case ES_DISTRIBUTION_ARCSINE:
        return in->a + in->b * sin(2 * PI * es_draw(seed, stream, index));
    case ES_DISTRIBUTION_STUDENT:
        return in->a + in->b * es_t_quantile(es_draw(seed, stream, index), in->dof);
    }
    return NAN;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void moments(const double *y, size_t n, double *mean, double *spread)
{
    double sum = 0, square = 0;
    for (size_t i = 0; i < n; i++)
        sum += y[i] - y[0];
    *mean = y[0] + sum / (double)n;
    for (size_t i = 0; i < n; i++)
        square += (y[i] - *mean) * (y[i] - *mean);
    *spread = sqrt(square / (double)(n - 1));
}

/* `y` is sorted. 7.7: q = p M trials lie between the ends. */
static size_t inside(size_t n, double coverage)
{
    return (size_t)(coverage * (double)n + 0.5);
}

static void symmetric(const double *y, size_t n, double coverage, double *low, double *high)
{
    size_t q = inside(n, coverage), r = (n - q + 1) / 2;
    r = r < 1 ? 1 : r;
    *low = y[r - 1];
    *high = y[r - 1 + q < n ? r - 1 + q : n - 1];
}

static void shortest(const double *y, size_t n, double coverage, struct es_monte_carlo_result *out)
{
    size_t q = inside(n, coverage), best = 0;
    for (size_t i = 1; i + q < n; i++)
        if (y[i + q] - y[i] < y[best + q] - y[best])
            best = i;
    out->shortest = y[best];
    out->shortest_end = y[best + q < n ? best + q : n - 1];
}

/* Half of the last stated digit of u (7.9.2): u = c 10^l with `digits` digits in c. */
static double tolerance(double u, int digits)
{
    return u > 0 ? 0.5 * pow(10, floor(log10(u)) - (digits - 1)) : 0;
}

static enum es_status block(const struct es_monte_carlo *job, size_t from, double *x, double *y,
                            struct es_error *err)
{
    for (size_t i = 0; i < BLOCK; i++) {
        for (size_t k = 0; k < job->input_count; k++)
            x[k] = draw_input(&job->inputs[k], job->seed, k, from + i);
        y[i] = job->model(job->context, x);
        if (!isfinite(y[i]))
            return es_fail(err, ES_RANGE, "the model gave no finite number in trial %zu", from + i + 1);
    }
    return ES_OK;
}

/* Averages over the blocks and twice the standard deviation of each average (7.9.4 e to i). */
struct progress {
    double sum[FIGURES], square[FIGURES], first[FIGURES];
    size_t blocks;
};

static void take_block(struct progress *p, double *y, double coverage)
{
    double v[FIGURES];
    moments(y, BLOCK, &v[ESTIMATE], &v[SPREAD]);
    qsort(y, BLOCK, sizeof *y, by_value);
    symmetric(y, BLOCK, coverage, &v[LOW], &v[HIGH]);
    for (int i = 0; i < FIGURES; i++) {
        if (p->blocks == 0)
            p->first[i] = v[i];
        p->sum[i] += v[i] - p->first[i];
        p->square[i] += (v[i] - p->first[i]) * (v[i] - p->first[i]);
    }
    p->blocks++;
}

static bool is_stable(const struct progress *p, int digits)
{
    double h = (double)p->blocks, u = p->first[SPREAD] + p->sum[SPREAD] / h, wanted = tolerance(u, digits);
    for (int i = 0; i < FIGURES; i++) {
        double variance = fmax(0, p->square[i] - p->sum[i] * p->sum[i] / h) / (h * (h - 1));
        if (2 * sqrt(variance) > wanted)
            return false;
    }
    return true;
}

static bool sensible(const struct es_monte_carlo *job)
{
    if (!job->model || job->input_count == 0 || !(job->coverage > 0 && job->coverage < 1) ||
        job->digits < 1 || job->digits > 4)
        return false;
    for (size_t i = 0; i < job->input_count; i++) {
        const struct es_input *in = &job->inputs[i];
        if (!isfinite(in->a) || !isfinite(in->b) || in->b < 0 ||
            (in->kind == ES_DISTRIBUTION_STUDENT && !(in->dof > 0)))
            return false;
    }
    return true;
}

enum es_status es_monte_carlo_run(const struct es_monte_carlo *job, struct es_monte_carlo_result *out,
                                  struct es_error *err)
{
    if (!sensible(job))
        return es_fail(err, ES_BAD_INPUT, "inputs, coverage or digits of a Monte Carlo run make no sense");
    size_t most = job->most ? job->most : MOST, blocks = most < BLOCK ? 1 : most / BLOCK;
    struct progress p = {.blocks = 0};
    double *x = malloc(job->input_count * sizeof *x), *y = malloc(blocks * BLOCK * sizeof *y);
    enum es_status status = x && y ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for %zu trials", most);
    *out = (struct es_monte_carlo_result){.stable = false};
    while (status == ES_OK && p.blocks < blocks && !out->stable) {
        double *here = y + p.blocks * BLOCK;
        status = block(job, p.blocks * BLOCK, x, here, err);
        if (status == ES_OK) {
            take_block(&p, here, job->coverage);
            out->stable = p.blocks >= LEAST_BLOCK && is_stable(&p, job->digits);
        }
    }
    if (status == ES_OK) { /* 7.9.4 k: results from all trials together */
        out->trials = p.blocks * BLOCK;
        moments(y, out->trials, &out->estimate, &out->u);
        qsort(y, out->trials, sizeof *y, by_value);
        symmetric(y, out->trials, job->coverage, &out->low, &out->high);
        shortest(y, out->trials, job->coverage, out);
    }
    free(x);
    free(y);
    return status;
}

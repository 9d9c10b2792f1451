#include "procedures/measures/numeric/monte_carlo.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK       10000 /* 7.9.4 b: at least 1e4, enough for 95 % */
#define LEAST_BLOCK 3     /* from how many on their scatter says something */
#define MOST        1000000
#define MANY_DOF    1e7 /* above, the normal distribution */
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

/* Draws 2 i and 2 i + 1 of a stream (index even), by Box and Muller. */
static void normal_pair(uint64_t seed, uint64_t stream, uint64_t index, double z[2])
{
    double r = sqrt(-2 * log(es_draw(seed, stream, index)));
    double angle = 2 * PI * es_draw(seed, stream, index + 1);
    z[0] = r * cos(angle);
    z[1] = r * sin(angle);
}

/* Bailey's polar method (Math. Comp. 62 (1994) 779, from memory): exact for any dof > 0, two draws each. */
static double student(double dof, uint64_t seed, uint64_t stream, uint64_t index)
{
    double u = es_draw(seed, stream, 2 * index), v = es_draw(seed, stream, 2 * index + 1);
    return sqrt(dof * expm1(-2 / dof * log(u))) * cos(2 * PI * v);
}

/* Trials from .. from + BLOCK - 1 (from even) of one input, every `stride`-th place of x. */
static void draw_input(const struct es_input *in, uint64_t seed, uint64_t stream, uint64_t from,
                       size_t stride, double *x)
{
    if (in->b == 0) {
        for (size_t i = 0; i < BLOCK; i++)
            x[i * stride] = in->a;
        return;
    }
    bool normal =
        in->kind == ES_DISTRIBUTION_NORMAL || (in->kind == ES_DISTRIBUTION_STUDENT && !(in->dof < MANY_DOF));
    for (size_t i = 0; i < BLOCK; i += 2, x += 2 * stride) {
        double z[2];
        if (normal) {
            normal_pair(seed, stream, from + i, z);
        } else {
            for (size_t k = 0; k < 2; k++) {
                if (in->kind == ES_DISTRIBUTION_STUDENT)
                    z[k] = student(in->dof, seed, stream, from + i + k);
                else
                    z[k] = 2 * es_draw(seed, stream, from + i + k) - 1;
                if (in->kind == ES_DISTRIBUTION_ARCSINE)
                    z[k] = sin(PI * z[k]);
            }
        }
        x[0] = in->a + in->b * z[0];
        x[stride] = in->a + in->b * z[1];
    }
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

double es_numerical_tolerance(double u, int digits)
{
    return u > 0 ? 0.5 * pow(10, floor(log10(u)) - (digits - 1)) : 0;
}

/* One block of trials; x: BLOCK rows of input_count numbers. */
static enum es_status block(const struct es_monte_carlo *job, size_t from, double *x, double *y,
                            struct es_error *err)
{
    size_t n = job->input_count;
    for (size_t k = 0; k < n; k++)
        draw_input(&job->inputs[k], job->seed, k, from, n, x + k);
    for (size_t i = 0; i < BLOCK; i++) {
        y[i] = job->model(job->context, x + i * n);
        if (!isfinite(y[i]))
            return es_fail(err, ES_RANGE, "the model gave no finite number in trial %zu", from + i + 1);
    }
    return ES_OK;
}

/* Two sorted runs into one. */
static void merge(const double *a, size_t n, const double *b, size_t m, double *out)
{
    while (n > 0 && m > 0) {
        bool first = *a <= *b;
        *out++ = first ? *a : *b;
        first ? (a++, n--) : (b++, m--);
    }
    memcpy(out, n > 0 ? a : b, (n > 0 ? n : m) * sizeof *out);
}

/* Sorts `y`, of which each block is sorted already; `work` as long. The result is in *sorted, one of both. */
static void merge_blocks(double *y, double *work, size_t n, double **sorted)
{
    for (size_t run = BLOCK; run < n; run *= 2) {
        for (size_t i = 0; i < n; i += 2 * run) {
            size_t left = n - i < run ? n - i : run, rest = n - i - left, right = rest < run ? rest : run;
            merge(y + i, left, y + i + left, right, work + i);
        }
        double *swap = y;
        y = work;
        work = swap;
    }
    *sorted = y;
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

static bool is_stable(const struct progress *p, const struct es_monte_carlo *job)
{
    double h = (double)p->blocks, u = p->first[SPREAD] + p->sum[SPREAD] / h,
           wanted = es_numerical_tolerance(u, job->digits) / (job->finer > 0 ? job->finer : 1);
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

/* 7.9.4 k: results from all trials together. */
static void conclude(const struct es_monte_carlo *job, double *y, double *work, size_t trials,
                     struct es_monte_carlo_result *out)
{
    double *sorted;
    out->trials = trials;
    moments(y, trials, &out->estimate, &out->u);
    merge_blocks(y, work, trials, &sorted);
    symmetric(sorted, trials, job->coverage, &out->low, &out->high);
    shortest(sorted, trials, job->coverage, out);
    for (size_t i = 0; i < job->quantile_count; i++) {
        double at = job->probabilities[i] * (double)trials - 0.5; /* trial r stands for (r + 1/2)/M */
        size_t r = at > 0 ? (size_t)at : 0;
        double share = at > 0 ? at - (double)r : 0;
        r = r + 1 < trials ? r : trials - 2;
        job->quantiles[i] = sorted[r] + fmin(share, 1) * (sorted[r + 1] - sorted[r]);
    }
}

enum es_status es_monte_carlo_run(const struct es_monte_carlo *job, struct es_monte_carlo_result *out,
                                  struct es_error *err)
{
    if (!sensible(job))
        return es_fail(err, ES_BAD_INPUT, "inputs, coverage or digits of a Monte Carlo run make no sense");
    size_t most = job->most ? job->most : MOST, blocks = most < BLOCK ? 1 : most / BLOCK;
    struct progress p = {.blocks = 0};
    double *x = malloc(BLOCK * job->input_count * sizeof *x), *y = NULL, *work = NULL;
    enum es_status status = ES_OK;
    size_t room = 0;
    *out = (struct es_monte_carlo_result){.stable = false};
    while (status == ES_OK && p.blocks < blocks && !out->stable) {
        if (p.blocks == room) {
            room = room ? 2 * room : 4;
            double *more = realloc(y, room * BLOCK * sizeof *y);
            y = more ? more : y;
            if (!more || !x) {
                status = es_fail(err, ES_NO_MEMORY, "no memory for %zu trials", room * BLOCK);
                break;
            }
        }
        status = block(job, p.blocks * BLOCK, x, y + p.blocks * BLOCK, err);
        if (status == ES_OK) {
            take_block(&p, y + p.blocks * BLOCK, job->coverage);
            out->stable = p.blocks >= LEAST_BLOCK && is_stable(&p, job);
        }
    }
    if (status == ES_OK) {
        work = malloc(p.blocks * BLOCK * sizeof *work);
        if (work)
            conclude(job, y, work, p.blocks * BLOCK, out);
        else
            status = es_fail(err, ES_NO_MEMORY, "no memory for %zu trials", p.blocks * BLOCK);
    }
    free(work);
    free(x);
    free(y);
    return status;
}

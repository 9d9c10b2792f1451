#include "procedures/measures/propagate.h"

#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/monte_carlo.h"
#include "procedures/measures/numeric/student.h"

#define COVERAGE 0.95
#define DIGITS   1 /* of u that are meaningful: most of its terms are known to a tenth at best */
#define FINER    5

/* ---- What a measure states ---- */

static double dof_of(double square, double fourth_per_dof)
{
    return fourth_per_dof > 0 ? square * square / fourth_per_dof : INFINITY;
}

/* The budget without the rectangle that is stated apart. */
static struct es_part part_of(double value, const struct es_budget *b, enum es_term term, double half_width)
{
    double square[2] = {b->square[ES_TERM_REPEAT], b->square[ES_TERM_COMMON]};
    square[term] -= half_width * half_width / 3;
    if (square[term] < 1e-12 * b->square[term]) /* nothing but rounding is left */
        square[term] = 0;
    return (struct es_part){
        .value = value,
        .u_repeat = sqrt(square[ES_TERM_REPEAT]),
        .dof_repeat = dof_of(square[ES_TERM_REPEAT], b->fourth_per_dof[ES_TERM_REPEAT]),
        .u_common = sqrt(square[ES_TERM_COMMON]),
        .dof_common = dof_of(square[ES_TERM_COMMON], b->fourth_per_dof[ES_TERM_COMMON]),
        .half_width = half_width,
    };
}

void es_model_sum(struct es_measured *m, const struct es_budget *b, enum es_term term, double half_width)
{
    m->model = (struct es_model){.shape = ES_SHAPE_SUM, .a = part_of(m->value, b, term, fabs(half_width))};
}

void es_model_size(struct es_measured *m, double value, const struct es_budget *b)
{
    m->model = (struct es_model){.shape = ES_SHAPE_SIZE, .a = part_of(value, b, ES_TERM_REPEAT, 0)};
}

void es_model_ratio(struct es_measured *m, double a, const struct es_budget *budget_a, double b,
                    const struct es_budget *budget_b)
{
    m->model = (struct es_model){ES_SHAPE_RATIO, part_of(a, budget_a, ES_TERM_REPEAT, 0),
                                 part_of(b, budget_b, ES_TERM_REPEAT, 0)};
}

/* ---- The model ---- */

static double part_u(const struct es_part *p)
{
    return sqrt(p->u_repeat * p->u_repeat + p->u_common * p->u_common + p->half_width * p->half_width / 3);
}

/* Sum: with the rectangle's u at most 0.7 of the rest's, the 97.5 % point of the sum (normal rest) lies
 * within 0.02 u of 1.96 u. Size: 4 u from zero. Ratio: the numerator 4 u above zero, the divisor known to
 * 2 %. All below the least delta there is, 0.05 u. */
bool es_model_is_plain(const struct es_measured *m)
{
    const struct es_part *a = &m->model.a, *b = &m->model.b;
    double rest = hypot(a->u_repeat, a->u_common);
    switch (m->model.shape) {
    case ES_SHAPE_LINEAR:
        return true;
    case ES_SHAPE_SUM:
        return a->half_width <= 0.7 * sqrt(3.0) * rest;
    case ES_SHAPE_SIZE:
        return fabs(a->value) >= 4 * part_u(a);
    case ES_SHAPE_RATIO:
        return a->value >= 4 * part_u(a) && part_u(b) <= 0.02 * b->value;
    }
    return true;
}

enum { REPEAT, COMMON, RECTANGLE, INPUTS };

static double draw(const double *x)
{
    return x[REPEAT] + x[COMMON] + x[RECTANGLE];
}

static double model(const void *context, const double *x)
{
    const struct es_model *m = context;
    double a = draw(x);
    switch (m->shape) {
    case ES_SHAPE_SIZE:
        return fabs(a);
    case ES_SHAPE_RATIO:
        return fmax(0, a) / draw(x + INPUTS);
    default:
        return a;
    }
}

static void inputs_of(const struct es_part *p, struct es_input *in)
{
    in[REPEAT] = (struct es_input){ES_DISTRIBUTION_STUDENT, p->value, p->u_repeat, p->dof_repeat};
    in[COMMON] = (struct es_input){ES_DISTRIBUTION_STUDENT, 0, p->u_common, p->dof_common};
    in[RECTANGLE] = (struct es_input){ES_DISTRIBUTION_RECTANGULAR, 0, p->half_width, 0};
}

/* ---- Quantiles ---- */

/* Normal deviates of the quantiles that are kept: -3.719 .. 3.719 (1e-4) in even steps, but for those of the
 * interval's ends. */
#define OUTERMOST 3.71901648545568
#define STEP      (2 * OUTERMOST / (ES_SPREAD_POINTS - 1))

static double deviate_at(size_t i)
{
    return -OUTERMOST + STEP * (double)i;
}

static double deviate_of(const struct es_spread *s, double x)
{
    size_t high = 1;
    while (high + 1 < ES_SPREAD_POINTS && s->at[high] < x)
        high++;
    double low = s->at[high - 1], width = s->at[high] - low;
    if (!(width > 0)) /* many trials gave this very value */
        return x > low ? INFINITY : -INFINITY;
    return deviate_at(high - 1) + STEP * (x - low) / width;
}

double es_spread_below(const struct es_spread *spread, double x)
{
    return es_normal_cumulative(deviate_of(spread, x));
}

double es_spread_above(const struct es_spread *spread, double x)
{
    return es_normal_cumulative(-deviate_of(spread, x));
}

double es_spread_quantile(const struct es_spread *spread, double p)
{
    double z = es_normal_quantile(p), at = (z + OUTERMOST) / STEP;
    size_t low = at > 0 ? (size_t)at : 0;
    low = low + 1 < ES_SPREAD_POINTS ? low : ES_SPREAD_POINTS - 2;
    return spread->at[low] + (z - deviate_at(low)) / STEP * (spread->at[low + 1] - spread->at[low]);
}

/* ---- Monte Carlo ---- */

static void take(struct es_measured *m, const struct es_monte_carlo_result *r, const double *quantiles)
{
    m->value = r->estimate;
    m->u = r->u;
    m->U = fmax(r->high - r->estimate, r->estimate - r->low);
    m->k = m->U / m->u;
    m->dof = INFINITY;
    m->spread = (struct es_spread){.trials = r->trials, .stable = r->stable, .low = r->low, .high = r->high};
    memcpy(m->spread.at, quantiles, sizeof m->spread.at);
}

enum es_status es_measured_propagate(struct es_measured *m, const struct es_draws *draws,
                                     struct es_error *err)
{
    if (!m->valid || es_model_is_plain(m))
        return ES_OK;
    if (m->model.shape == ES_SHAPE_RATIO && !(m->model.b.value > 4 * part_u(&m->model.b))) {
        es_measured_refuse(m, "its divisor is not surely above zero: there is nothing to relate to");
        return ES_OK;
    }
    struct es_input inputs[2 * INPUTS];
    double probabilities[ES_SPREAD_POINTS], quantiles[ES_SPREAD_POINTS];
    struct es_monte_carlo_result r;
    inputs_of(&m->model.a, inputs);
    inputs_of(&m->model.b, inputs + INPUTS);
    for (size_t i = 0; i < ES_SPREAD_POINTS; i++)
        probabilities[i] = es_normal_cumulative(deviate_at(i));
    struct es_monte_carlo job = {.inputs = inputs,
                                 .input_count = m->model.shape == ES_SHAPE_RATIO ? 2 * INPUTS : INPUTS,
                                 .model = model,
                                 .context = &m->model,
                                 .seed = draws->seed,
                                 .coverage = COVERAGE,
                                 .digits = DIGITS,
                                 .finer = FINER,
                                 .most = draws->most ? draws->most : ES_MOST_TRIALS,
                                 .probabilities = probabilities,
                                 .quantiles = quantiles,
                                 .quantile_count = ES_SPREAD_POINTS};
    enum es_status status = es_monte_carlo_run(&job, &r, err);
    if (status != ES_OK)
        return status;
    double delta = es_numerical_tolerance(r.u, DIGITS);
    if (fabs(m->value - m->U - r.low) > delta || fabs(m->value + m->U - r.high) > delta)
        take(m, &r, quantiles);
    return ES_OK;
}

/* ---- Seeds ---- */

static uint64_t absorb(uint64_t hash, const char *text)
{
    do { /* with its end, so that "ab" "c" is not "a" "bc" */
        hash = (hash ^ (unsigned char)*text) * 0x100000001b3u;
    } while (*text++ != '\0');
    return hash;
}

uint64_t es_seed_of(uint64_t seed, const char *procedure, const char *measurand, const char *output)
{
    uint64_t hash = absorb(absorb(absorb(0xcbf29ce484222325u, procedure), measurand), output);
    for (int byte = 0; byte < 8; byte++)
        hash = (hash ^ ((seed >> (8 * byte)) & 0xff)) * 0x100000001b3u;
    return hash;
}

/* Propagation of distributions by the adaptive Monte Carlo procedure of JCGM 101:2008 clause 7.9: blocks of
 * trials until estimate, standard uncertainty and the ends of the coverage interval are stable to the digits
 * that are to be stated (7.9.2: n_dig of the standard uncertainty). The same seed gives the same result on
 * every machine: counter-based generator, no global state. Pure; thread-safe. */
#ifndef ES_MEASURES_NUMERIC_MONTE_CARLO_H
#define ES_MEASURES_NUMERIC_MONTE_CARLO_H

#include <stddef.h>
#include <stdint.h>

#include "rig/base/error.h"

enum es_distribution {
    ES_DISTRIBUTION_NORMAL,      /* a: mean, b: standard deviation */
    ES_DISTRIBUTION_RECTANGULAR, /* a: middle, b: half-width */
    ES_DISTRIBUTION_ARCSINE,     /* a: middle, b: half-width (6.4.6) */
    ES_DISTRIBUTION_STUDENT      /* a: estimate, b: scale, dof (6.4.9); dof INFINITY is the normal one */
};

struct es_input {
    enum es_distribution kind;
    double a, b;
    double dof; /* > 0; of ES_DISTRIBUTION_STUDENT only */
};

/* The model: y for one draw of the inputs. */
typedef double es_model(const void *context, const double *x);

struct es_monte_carlo {
    const struct es_input *inputs;
    size_t input_count;
    es_model *model;
    const void *context;
    uint64_t seed;
    double coverage; /* probability, such as 0.95 */
    int digits;      /* significant ones of u that shall be stable: 1 or 2 */
    size_t most;     /* trials at most; 0: 1,000,000 */
    double finer;    /* that part of the last digit shall stand still: 5 where JCGM 100 is to be validated
                        (clause 8.2, from memory); 0: all of it */
    const double *probabilities; /* of further quantiles that are wanted, each in (0, 1) */
    double *quantiles;           /* filled */
    size_t quantile_count;
};

struct es_monte_carlo_result {
    double estimate, u;
    double low, high;              /* probabilistically symmetric interval (7.7.1) */
    double shortest, shortest_end; /* shortest interval (7.7.3) */
    size_t trials;
    bool stable; /* false: `most` was reached before the digits stood still */
};

/* ES_BAD_INPUT: nonsense in `job`; ES_RANGE: the model gave no finite number; ES_NO_MEMORY. */
enum es_status es_monte_carlo_run(const struct es_monte_carlo *job, struct es_monte_carlo_result *out,
                                  struct es_error *err) ES_MUST_CHECK;

/* Numerical tolerance (7.9.2): half of the last stated digit of u; u = c 10^l with `digits` digits in c. */
double es_numerical_tolerance(double u, int digits);

/* Draw number `index` of the stream `stream` of a seed: 0 < u < 1 (splitmix64 of a counter; Steele, Lea,
 * Flood 2014). */
double es_draw(uint64_t seed, uint64_t stream, uint64_t index);

#endif

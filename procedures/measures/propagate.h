/* Propagation of distributions (JCGM 101:2008) for values whose measure states that straight-line propagation
 * may not do (struct es_model). The interval of JCGM 100 is validated as clause 8 has it: where both ends
 * agree with Monte Carlo's within delta, half a unit of the one digit of u that is meaningful, JCGM 100
 * stays; otherwise value, u and interval are Monte Carlo's. Pure, thread-safe; the same seed gives the same
 * bits. */
#ifndef ES_MEASURES_PROPAGATE_H
#define ES_MEASURES_PROPAGATE_H

#include <stdint.h>

#include "procedures/measures/budget.h"

/* Trials at most where nothing else is said. */
#define ES_MOST_TRIALS 300000

struct es_draws {
    uint64_t seed;
    size_t most; /* trials at most; 0: ES_MOST_TRIALS */
};

/* After es_measured_set, in a measure. A refused value stays refused.
 * Sum: the budget `b` that m was set with, of which a rectangle of `half_width` (its u = half_width / sqrt 3
 * counts in b as a term of kind `term`) is part. */
void es_model_sum(struct es_measured *m, const struct es_budget *b, enum es_term term, double half_width);

/* |a|: m was set with |value| of a signed value and its budget `b`. */
void es_model_size(struct es_measured *m, double value, const struct es_budget *b);

/* max(0, a) / b, each a value with its budget. */
void es_model_ratio(struct es_measured *m, double a, const struct es_budget *budget_a, double b,
                    const struct es_budget *budget_b);

/* Whether the model's departure from the straight line is too small to be seen in an interval (bounds in
 * propagate.c): then no trial is made. */
bool es_model_is_plain(const struct es_measured *m);

/* Validates, and replaces where needed. Leaves alone what is refused, states no model, or is plain. */
enum es_status es_measured_propagate(struct es_measured *m, const struct es_draws *draws,
                                     struct es_error *err) ES_MUST_CHECK;

/* The seed of one value: from the certificate's and the value's own names, so that neither order nor number
 * of the others matters (FNV-1a of the names, 64 bits). */
uint64_t es_seed_of(uint64_t seed, const char *procedure, const char *measurand, const char *output);

/* Probability that the value lies below x, by interpolation on the scale of normal deviates; beyond the
 * outermost quantiles (1e-4) along their slope. spread->trials > 0. */
double es_spread_below(const struct es_spread *spread, double x);
/* The same above x. */
double es_spread_above(const struct es_spread *spread, double x);
/* Quantile for 0 < p < 1, as inverse of the above. */
double es_spread_quantile(const struct es_spread *spread, double p);

#endif

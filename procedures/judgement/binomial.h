/* How sure a share is that was counted: k of n. Pure, thread-safe.
 * Sources: Clopper & Pearson, Biometrika 26 (1934) 404, by the beta quantiles; Wilson, JASA 22 (1927) 209, as
 * method 3 of Newcombe, Stat Med 17 (1998) 857; zero failures: 1 - reliability^n >= confidence. */
#ifndef ES_JUDGEMENT_BINOMIAL_H
#define ES_JUDGEMENT_BINOMIAL_H

#include <stddef.h>

struct es_share {
    size_t k, n;
    double share;        /* k / n; NAN when n is 0 */
    double lower, upper; /* 0 and 1 when n is 0 */
};

/* Two-sided intervals; 0 < confidence < 1. Clopper-Pearson never covers less than it says; Wilson does so on
 * the average. */
struct es_share es_share_clopper_pearson(size_t k, size_t n, double confidence);
struct es_share es_share_wilson(size_t k, size_t n, double confidence);

/* Trials without a failure that show a reliability with a confidence, both in (0, 1); 0 otherwise. */
size_t es_trials_without_failure(double reliability, double confidence);

#endif

/* From which size on something is found: logistic regression of found / missed on the logarithm of the size,
 * with the penalty of Firth (Biometrika 80 (1993) 27), which stays finite when one size parts all found from
 * all missed. Interval by the profile of the penalised likelihood (Heinze & Schemper, Stat Med 21 (2002)
 * 2409). Pure, thread-safe. */
#ifndef ES_JUDGEMENT_THRESHOLD_H
#define ES_JUDGEMENT_THRESHOLD_H

#include <stdbool.h>
#include <stddef.h>

struct es_trial {
    double size; /* > 0 */
    bool found;
};

struct es_threshold {
    bool valid;          /* false: see `reason`, no number may be used */
    const char *reason;  /* static; NULL when valid */
    double a, b;         /* logit P(found) = a + b ln(size) */
    double size;         /* at which P(found) is what was asked for */
    double lower, upper; /* 95 %; 0 or INFINITY where the trials do not bound it */
};

/* `share` in (0, 1): 0.95 for the size found 95 times in 100. Not valid when fewer than 8 trials, none found,
 * none missed, or not more often found the larger it is. */
struct es_threshold es_threshold_fit(const struct es_trial *trials, size_t count, double share);

#endif

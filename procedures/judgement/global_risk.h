/* Global risk of a decision rule before a unit is measured (JCGM 106:2012 clause 9.5): what share of all
 * units of a kind would be accepted although they do not conform (consumer's risk), and rejected although
 * they do (producer's risk), given how their values are distributed and how well is measured. Pure,
 * thread-safe. */
#ifndef ES_JUDGEMENT_GLOBAL_RISK_H
#define ES_JUDGEMENT_GLOBAL_RISK_H

#include <stdbool.h>

enum es_prior_kind {
    ES_PRIOR_NONE,
    ES_PRIOR_NORMAL, /* a: mean, b: standard deviation */
    ES_PRIOR_GAMMA   /* a: shape, b: scale; of quantities that cannot be negative */
};

/* How the values of all units of a kind are distributed. */
struct es_prior {
    enum es_prior_kind kind;
    double a, b; /* b > 0; a > 0 of a gamma distribution */
};

struct es_interval {
    double lower, upper; /* -INFINITY, INFINITY where open */
};

struct es_global_risk {
    bool valid;            /* false: the inputs make no sense; the numbers are NAN */
    double non_conforming; /* share of units outside the tolerance limits */
    double consumer;       /* accepted and not conforming, of all */
    double producer;       /* rejected and conforming, of all */
};

/* `u`: standard uncertainty (normal) of the measured value, >= 0. A value on a limit is inside. Both risks
 * are right to 1e-9 for u of at least 1e-3 of the prior's standard deviation. */
struct es_global_risk es_global_risk_of(const struct es_prior *prior, double u, struct es_interval tolerance,
                                        struct es_interval acceptance);

/* A gamma distribution by its mean and standard deviation, both above 0. */
struct es_prior es_prior_gamma_of(double mean, double deviation);

#endif

/* What a study came to: counts, shares with intervals, thresholds, coverage. Pure; the same study gives the
 * same numbers. */
#ifndef ES_STUDY_SUMMARY_H
#define ES_STUDY_SUMMARY_H

#include "procedures/judgement/binomial.h"
#include "procedures/judgement/threshold.h"
#include "rig/study/study.h"

/* How units ended. */
struct es_study_count {
    size_t n;
    size_t passed; /* pass or conditional pass */
    size_t failed; /* fail or conditional fail */
    size_t held;   /* not tested, or the run was not completed: neither passed nor failed */
};

struct es_study_fault {
    int fault;
    size_t type;
    struct es_study_count all;
    double matters;                  /* severity */
    struct es_study_count mattering; /* units at or above it */
    struct es_threshold threshold;   /* severity failed 95 times in 100 */
    double largest_missed;           /* severity of the worst unit that passed; 0: none did */
};

struct es_study_coverage {
    size_t type, slot;
    struct es_share covered; /* of 95 % intervals, Clopper-Pearson at 95 % */
    /* The same of those whose truth is more than 3 u from zero: what cannot be negative, and is next to zero
     * in a good unit, is covered nearly always there, and says nothing of u. */
    struct es_share away;
    double bias;      /* mean of value - truth, in standard uncertainties */
    double spread;    /* standard deviation of the same: 1 when u is right */
    size_t worst;     /* unit that lies farthest from its truth, in its own u; SIZE_MAX: none */
    double worst_off; /* by how many u */
    size_t exact;     /* intervals of no width that were right: counted values. Not among `covered` */
    size_t exact_wrong;
};

struct es_study_summary {
    struct es_study_count good[ES_STUDY_TYPES_MAX], good_all;
    struct es_study_count unit_all, unit_mattering;   /* faults of unit and mounting */
    struct es_study_count bench_all, bench_mattering; /* faults of the bench on a good unit */
    struct es_study_fault *faults;                    /* by type, then as the virtual bench lists them */
    size_t fault_count;
    struct es_study_coverage *coverage,
        *coverage_faulty;                   /* good units; those with a fault not of the bench */
    size_t coverage_count;                  /* of each that is not NULL */
    double duration_mean, duration_longest; /* s of bench time, completed runs of good units */
};

enum es_status es_study_summarise(const struct es_study *study, struct es_study_summary *out,
                                  struct es_error *err) ES_MUST_CHECK;
void es_study_summary_clear(struct es_study_summary *summary);

#endif

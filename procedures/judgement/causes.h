/* From the pattern of lines to likely causes, and from a clean sheet to what may still be wrong.
 *
 * Ranking: Bayes' rule over "no fault" and the causes of a table (detection.h) that such a unit can have,
 * lines taken as independent within a cause's band of severity; a procedure's lines count together as the
 * square root of their number, because they share recordings. How often an outcome is met with a cause is
 * counted on the type, and where units were few eked out by what other types of the plan showed in the same
 * line. A cause's prior is its rate in the table, or the caller's. One fault at a time is assumed. Pure
 * functions, thread-safe. */
#ifndef ES_JUDGEMENT_CAUSES_H
#define ES_JUDGEMENT_CAUSES_H

#include "procedures/judgement/detection.h"

#define ES_CAUSES_MAX   64
#define ES_EVIDENCE_MAX 3
#define ES_CAUSE_SHOWN  0.01 /* causes less likely than this are not listed */

/* A line that speaks for a cause. */
struct es_evidence {
    size_t seen;    /* index into what was given */
    double here;    /* how often such an outcome is met with this cause, 0..1 */
    double without; /* and over all others, weighed by their probability */
};

struct es_cause {
    size_t index; /* into the table's causes */
    double probability;
    struct es_evidence evidence[ES_EVIDENCE_MAX]; /* strongest first */
    size_t evidence_count;
};

struct es_causes {
    struct es_cause items[ES_CAUSES_MAX]; /* most likely first */
    size_t count;
    double no_fault;                        /* probability */
    double by_place[3];                     /* enum es_cause_place */
    const struct es_detection_check *check; /* tells the leading ones apart best for its time, or confirms the
                             first; NULL: none does */
};

/* `rates` (NULL: the table's own): one a cause of the table, each the share of tested units that have it, sum
 * of those possible below 1. ES_NOT_FOUND when the table knows nothing of the plan, or of the type with it,
 * or none of the lines. */
enum es_status es_causes_rank(const struct es_detection *table, const char *plan, const char *type,
                              const struct es_seen *seen, size_t count, const double *rates,
                              struct es_causes *out, struct es_error *err) ES_MUST_CHECK;

/* One sentence for a line of evidence: "leak of output 1 at nominal supply failed: so in 98 % of units with
 * this cause, in 2 % of others". Always terminated. */
void es_evidence_say(const struct es_evidence *evidence, const struct es_seen *seen, char *out, size_t size);

/* What may still be wrong with a unit whose required lines have all passed. */
struct es_remaining {
    double probability; /* that what is judged has a fault at a severity that matters */
    double upper;       /* the same with every cause's share of misses at the end of its 95 % interval */
    double before;      /* the same before the test, as assumed */
    struct {
        size_t index; /* into the table's causes */
        double probability;
    } leading[3];
    size_t leading_count;
};

/* Only the counts of the table and the rates go into it: how often units with that cause passed the whole
 * plan. ES_NOT_FOUND when the table knows nothing of the plan, or of the type with it. */
enum es_status es_causes_remaining(const struct es_detection *table, const char *plan, const char *type,
                                   const double *rates, struct es_remaining *out,
                                   struct es_error *err) ES_MUST_CHECK;

#endif

/* What the lines of a run say beyond their verdicts: for a unit that did not pass the likely causes, for one
 * that passed what may still be wrong. An interpretation, never a result: no verdict follows from it.
 * Pure functions, thread-safe. */
#ifndef ES_JUDGEMENT_LIKELY_H
#define ES_JUDGEMENT_LIKELY_H

#include "procedures/judgement/causes.h"

#define ES_LIKELY_MAX     5 /* causes that are named */
#define ES_LIKELY_REMARKS 3

/* How many confirmed repairs the assumed split of the rates is worth: a workshop's own findings outweigh it
 * from there on. This project's choice. */
#define ES_ASSUMED_WORTH 20.0

/* What workshops found when they opened units of one kind that this table had judged: how often each cause.
 * Complete units, spare relay modules and the bench's own block are apart: a module can have none of the
 * faults of a sensor, so that what was found in modules would count against sensors. */
struct es_confirmed {
    size_t counts[ES_CAUSES_MAX]; /* one a cause of the table */
    size_t repairs;               /* their sum: these move the rates */
    size_t no_fault_found;        /* counted, but they move nothing */
    size_t others;                /* causes that the table does not know */
};

/* Counts one finding, a cause's name or "no fault found", for units of the type `judged` if the type `opened`
 * is of the same kind; a type that the table does not know, or NULL, is taken for one. */
void es_confirmed_add(struct es_confirmed *confirmed, const struct es_detection *table, const char *judged,
                      const char *opened, const char *found);

/* The rates after the confirmed repairs: the table's total rate R is kept, its split among the causes is a
 * Dirichlet distribution with weights ES_ASSUMED_WORTH r_c / R, of which the mean after n_c repairs of n is
 * R (ES_ASSUMED_WORTH r_c / R + n_c) / (ES_ASSUMED_WORTH + n) (multinomial counts: Gelman et al., Bayesian
 * Data Analysis, 3.4, from memory). `out` holds one a cause. NULL `confirmed`: the table's own. */
void es_confirmed_rates(const struct es_detection *table, const struct es_confirmed *confirmed,
                        double out[static ES_CAUSES_MAX]);

enum es_likely_kind {
    ES_LIKELY_UNKNOWN,  /* nothing can be said; `unknown` says why */
    ES_LIKELY_CAUSES,   /* the unit did not pass */
    ES_LIKELY_REMAINING /* the unit passed */
};

struct es_likely_cause {
    char *name, *meaning;
    int place; /* enum es_cause_place */
    double probability;
    double assumed, rate;            /* how often it occurs: by the table; after the confirmed repairs */
    char *evidence[ES_EVIDENCE_MAX]; /* sentences, strongest first */
    size_t evidence_count;
};

/* All texts are its own. */
struct es_likely {
    enum es_likely_kind kind;
    char *unknown;                                /* one sentence; NULL */
    struct es_likely_cause causes[ES_LIKELY_MAX]; /* most likely first; of REMAINING: without evidence */
    size_t count;
    double no_fault;                  /* of CAUSES: probability that unit, mounting and bench are good */
    double by_place[3];               /* of CAUSES: enum es_cause_place */
    char *check, *caution;            /* of CAUSES: what to do next; NULL when no check tells more */
    double minutes;                   /* that it takes */
    double remaining, upper, before;  /* of REMAINING: as struct es_remaining */
    char *basis;                      /* what it was learned on; NULL when unknown */
    char *table;                      /* SHA-256 of the table's bytes, hex; NULL when it was read from none */
    size_t repairs, no_fault_found;   /* confirmed by the workshop */
    char *remarks[ES_LIKELY_REMARKS]; /* what does not fit exactly: another version of the type sheet */
    size_t remark_count;
};

/* Says what can be said of a completed run; a type, plan or line that the table was not learned on gives
 * ES_LIKELY_UNKNOWN with the reason, not an error. `table` NULL: the same. `confirmed` NULL: none.
 * ES_BAD_INPUT: the run was not completed. The caller frees *out with es_likely_free. */
enum es_status es_likely_make(const struct es_detection *table, const struct es_confirmed *confirmed,
                              const struct es_outcome *outcome, struct es_likely **out,
                              struct es_error *err) ES_MUST_CHECK;
void es_likely_free(struct es_likely *likely); /* NULL allowed */

/* What was taken for granted, one sentence each; the same for both kinds. NULL-terminated, static. */
const char *const *es_likely_assumptions(void);
const char *es_cause_place_word(int place); /* "unit", "mounting", "bench" */

#endif

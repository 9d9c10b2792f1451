/* What came out of one run of a test plan on one unit: everything that the certificate is built from.
 * Filled by the runtime (rig/bench) from engine, measures and judgement. Owner: the caller.
 * All strings are allocated; free with es_outcome_free. Times of day are RFC 3339 UTC. */
#ifndef ES_JUDGEMENT_OUTCOME_H
#define ES_JUDGEMENT_OUTCOME_H

#include "procedures/judgement/global_risk.h"
#include "procedures/measures/measure.h"

enum es_verdict { ES_PASS, ES_CONDITIONAL_PASS, ES_CONDITIONAL_FAIL, ES_FAIL, ES_NOT_TESTED };

enum es_rule {
    ES_RULE_SIMPLE,    /* simple acceptance, AL = TL (JCGM 106 8.2; ILAC-G8 4.2.1) */
    ES_RULE_GUARDED,   /* guarded acceptance, AL = TL - w (JCGM 106 8.3.2; ILAC-G8 4.2.2) */
    ES_RULE_NON_BINARY /* with conditional results (ILAC-G8 4.2.3) */
};

/* A limit as applied; a side without limit is -INFINITY or INFINITY. */
struct es_limit {
    char *name;          /* in the type sheet */
    double lower, upper; /* coherent */
    const struct es_unit *unit;
    int decimals; /* for people */
    enum es_rule rule;
    double guard_factor;   /* w = guard_factor * U; see guard_risk */
    double guard_risk;     /* 0, or: w such that a value on the acceptance limit has this probability of lying
                              beyond the tolerance limit; guard_factor does not count then */
    struct es_prior prior; /* how units of the type are distributed, where the owner states it; coherent */
    bool required;         /* a failing or untested required line fails the unit */
    char *source;          /* "common practice, no published source", or the owner's document */
};

struct es_line {
    char *procedure;
    char *measurand; /* "leak of output 1 at 4 bar" */
    struct es_measured value;
    struct es_limit limit;
    double guard;            /* w, coherent */
    double false_acceptance; /* specific risk: probability that the true value is outside, given y and u */
    double consumer_risk, producer_risk; /* global (JCGM 106 9.5); NAN where the limit states no prior */
    enum es_verdict verdict;
    char *reason; /* of not tested or of a failure, one sentence; NULL */
};

struct es_curve { /* small version of a recording's series, for drawing */
    char *recording;
    enum es_role role;
    const struct es_unit *unit;
    size_t count;
    double *t, *y;
};

struct es_procedure_record {
    char *name, *version, *digest; /* digest: SHA-256 of the document's bytes, hex */
    char *title;
    char *began;     /* time of day */
    double duration; /* s */
    bool completed;
    char *skipped; /* reason, or NULL */
};

struct es_confirmation { /* a caution or question and who answered */
    char *text, *answer, *person, *when;
};

struct es_recording_record { /* a raw recording kept beside the certificate */
    char *name, *procedure, *digest, *file;
    size_t bytes;
};

struct es_instrument_record {
    char *name, *identity; /* identity as the instrument told it, or NULL */
    char *calibration, *calibrated, *due;
};

struct es_likely; /* procedures/judgement/likely.h */

struct es_outcome {
    char *run;           /* identity of the run, unique on the bench */
    char *began, *ended; /* time of day */
    bool clock_synchronised;
    bool completed; /* false: not completed; `ended_because` says why */
    char *ended_because;
    double safe_state_time; /* s from the cause to the safe state reached; NAN when not needed */

    char *plan, *plan_version, *plan_digest, *plan_title;
    char *type, *type_version, *type_digest, *type_title;
    char *bench, *bench_digest, *station, *place;
    char *unit_serial, *unit_tag, *customer, *reason, *state; /* state: "as found" or "as left" */
    char *parts_replaced;
    char *inputs;  /* SHA-256 of the run's inputs, kept beside its recordings; NULL: not kept */
    char *person;  /* who ran it */
    bool attended; /* false: cautions confirmed by option, naming the person */

    struct es_procedure_record *procedures;
    size_t procedure_count;
    struct es_line *lines;
    size_t line_count;
    struct es_confirmation *confirmations;
    size_t confirmation_count;
    struct es_instrument_record *instruments;
    size_t instrument_count;
    struct es_recording_record *recordings;
    size_t recording_count;
    bool recordings_lost; /* one at least could not be kept as a file: only the run's journal holds it */
    struct es_curve *curves;
    size_t curve_count;
    struct es_measured environment[4];
    size_t environment_count; /* ambient t, p, humidity, dew point */
    uint64_t seed;            /* of the Monte Carlo; 0 when none was used */
    enum es_verdict verdict;  /* overall; ES_NOT_TESTED when not completed */
    struct es_likely *likely; /* likely causes, or what may remain; NULL when nobody looked */
};

/* Empty: not completed, not tested, no safe-state time. */
void es_outcome_init(struct es_outcome *outcome);
/* Frees everything in it, not the struct itself, and leaves it empty as es_outcome_init does. NULL allowed.
 */
void es_outcome_free(struct es_outcome *outcome);

/* Adders for the arrays: grow by one and return the new, zeroed element, NULL when memory is refused (the
 * outcome is unchanged then). The pointer holds until the next call for the same array. */
struct es_procedure_record *es_outcome_add_procedure(struct es_outcome *outcome);
struct es_line *es_outcome_add_line(struct es_outcome *outcome);
struct es_confirmation *es_outcome_add_confirmation(struct es_outcome *outcome);
struct es_instrument_record *es_outcome_add_instrument(struct es_outcome *outcome);
struct es_recording_record *es_outcome_add_recording(struct es_outcome *outcome);
struct es_curve *es_outcome_add_curve(struct es_outcome *outcome);

/* Free what is in them, leave them empty. */
void es_limit_clear(struct es_limit *limit);
void es_line_clear(struct es_line *line);

/* Copies a limit. On failure *copy is empty. */
enum es_status es_limit_copy(const struct es_limit *limit, struct es_limit *copy,
                             struct es_error *err) ES_MUST_CHECK;

const char *es_verdict_word(enum es_verdict verdict); /* "pass", "conditional pass", ... */
const char *es_rule_word(enum es_rule rule);          /* "simple acceptance", ... */

#endif

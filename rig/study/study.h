/* The study: many virtual units through the real engine, measures and judgement, to learn how good the test
 * is. Same order, same bytes, whatever the number of threads: everything about unit i follows from (seed, i).
 *
 * What counts as what is said in docs/study.md. No global state; es_study_run starts and joins its own
 * threads. */
#ifndef ES_STUDY_STUDY_H
#define ES_STUDY_STUDY_H

#include "procedures/engine/plan.h"
#include "procedures/judgement/outcome.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/base/findings.h"

#define ES_STUDY_TYPES_MAX   8
#define ES_STUDY_FAULTS_MAX  64
#define ES_STUDY_THREADS_MAX 256

/* What is to be done. All pointers are borrowed until es_study_free. */
struct es_study_order {
    const char *plan;
    const char *types[ES_STUDY_TYPES_MAX]; /* type sheets; units of each in turn */
    size_t type_count;
    const char *benches[ES_STUDY_TYPES_MAX]; /* bench files; each type takes the first whose first station
                                                has its kind of travel, modules and blocks one without */
    size_t bench_count;
    uint64_t seed;
    size_t units;
    unsigned threads;                        /* 0: one a core */
    double good_share;                       /* 0..1, of units without a fault */
    const char *faults[ES_STUDY_FAULTS_MAX]; /* only these; none: all that the types can have */
    size_t fault_count;
    double severity_low, severity_high; /* drawn evenly between them; 0 <= low < high <= 1 */
    bool mattering;                     /* only severities that matter in service (notes.h), if below high */
    /* Of how many good, and of how many faulty units of each type the truth is kept, for the coverage of
     * intervals. A fault of the bench breaks what the bench file claims: its units are left out. */
    size_t truths, truths_faulty;
};

/* One line of the certificate, as every unit of a type has it. */
struct es_study_slot {
    const char *procedure, *measurand; /* in the plan */
    const struct es_limit *limit;      /* in the type sheet */
    bool required;
};

/* What one unit showed in one line. */
struct es_study_value {
    enum es_verdict verdict;
    bool valid, has_truth;
    double value, u, U; /* coherent */
    double low, high;   /* 95 %: value -+ U, or what Monte Carlo found; NAN like the others */
    double truth;       /* coherent: what perfect instruments would have given in the same run */
    char *reason;       /* of not tested, its kind (es_reason_kind); NULL */
};

struct es_study_unit {
    size_t type;
    int fault;       /* of the virtual bench; -1: good */
    double severity; /* 0 when good */
    size_t nth;      /* of its type's good units, or of its type's faulty ones */
    uint64_t seed;   /* of the virtual bench */
    bool completed;
    enum es_verdict verdict;
    double duration;               /* s of bench time */
    char *ended_because;           /* of a run that was not completed; NULL */
    struct es_study_value *values; /* one a slot of its type */
};

struct es_study_type {
    struct es_type *sheet;
    const struct es_bench *bench;
    int kind;      /* enum es_virtual_type */
    bool feedback; /* units of the type have a position feedback, which can drift */
    struct es_study_slot *slots;
    size_t slot_count;
};

struct es_study {
    struct es_study_order order;
    struct es_plan *plan;
    struct es_bench *benches[ES_STUDY_TYPES_MAX];
    struct es_study_type types[ES_STUDY_TYPES_MAX];
    struct es_study_unit *units;
    double bench_seconds; /* computed, all units together */
};

/* Who watches. Called on the caller's thread some twice a second. */
struct es_study_watch {
    void *self;
    void (*progress)(void *self, size_t done, size_t units, double elapsed); /* elapsed: s of real time */
    bool (*stop)(void *self);
};

/* Loads and checks everything; faults of files go to `findings`. Runs nothing. */
enum es_status es_study_new(const struct es_study_order *order, struct es_findings *findings,
                            struct es_study **out, struct es_error *err) ES_MUST_CHECK;
void es_study_free(struct es_study *study); /* NULL allowed */

/* Runs all units. ES_CANCELLED when the watch said stop. `watch` NULL: nobody looks. */
enum es_status es_study_run(struct es_study *study, const struct es_study_watch *watch,
                            struct es_error *err) ES_MUST_CHECK;

/* One unit of it alone, with its whole outcome; the caller frees both. */
enum es_status es_study_one(const struct es_study *study, size_t index, struct es_study_unit *unit,
                            struct es_outcome *outcome, struct es_error *err) ES_MUST_CHECK;
void es_study_unit_free(const struct es_study *study, struct es_study_unit *unit); /* what is in it */

const char *es_study_fault_name(int fault); /* "good" for -1 */

/* Is the fault one of what units of this type stand for? On a self-proof block the bench itself is judged. */
bool es_study_judges(const struct es_study_type *type, int fault);

#endif

/* A measure turns recordings into measured values with uncertainty. Pure: no I/O, no clock, no state.
 * Each measure is one file with one const descriptor, listed in measure_table.c; its header comment gives
 * definition and source (standard and clause, or "common practice, no published source"). */
#ifndef ES_MEASURES_MEASURE_H
#define ES_MEASURES_MEASURE_H

#include "procedures/measures/trace.h"
#include "rig/base/document.h"
#include "rig/base/error.h"

/* A quantity that a value is made of: estimate, standard uncertainties of what repeats and of what does not
 * (Student's t, dof INFINITY: normal), and a rectangle of this half-width beside them. */
struct es_part {
    double value, u_repeat, dof_repeat, u_common, dof_common, half_width;
};

/* How a value follows from its parts where JCGM 100's straight-line propagation may not do. */
enum es_shape {
    ES_SHAPE_LINEAR, /* it does; nothing is stated */
    ES_SHAPE_SUM,    /* a: its rectangle is no small share */
    ES_SHAPE_SIZE,   /* |a| */
    ES_SHAPE_RATIO   /* max(0, a) / b, b well above 0 */
};

struct es_model {
    enum es_shape shape;
    struct es_part a, b;
};

#define ES_SPREAD_POINTS 41

/* The distribution of a value as Monte Carlo found it (JCGM 101:2008); all zero: none, Student's t about the
 * value with u holds. */
struct es_spread {
    size_t trials;
    bool stable;                 /* the digits stood still before the limit of trials */
    double low, high;            /* 95 %, probabilistically symmetric (JCGM 101 7.7.2) */
    double at[ES_SPREAD_POINTS]; /* rising quantiles, at the probabilities of propagate.h */
};

/* One measured value. When `valid` is false no number in it may be used and `reason` says why in a
 * sentence ("not settled: still moving 0.4 %/s at the end of the recording"). */
struct es_measured {
    char name[64]; /* the output of the measure: "T63", "flow" */
    enum es_dimension dimension;
    bool valid;
    char reason[200];
    double value;    /* coherent */
    double u_repeat; /* standard, what would differ if repeated (noise, repeatability) */
    double dof_repeat;
    double u_common;     /* standard, common to all repeats (calibration) */
    double dof_common;   /* INFINITY when not stated */
    double u, dof, k, U; /* combined standard; effective degrees of freedom (JCGM 100 G.4); coverage
                            factor for 95 %; expanded. Filled by es_measured_combine. */
    size_t first, last;  /* sample indices it came from, in the series named by `role` */
    enum es_role role;
    struct es_model model;   /* of the measure */
    struct es_spread spread; /* by es_measured_propagate where JCGM 100 does not hold; then u is its standard
                                deviation, U the longer side of low .. high, k = U/u, dof INFINITY */
};

/* A known quantity about bench, unit or surroundings that measures may need ("output 1 volume",
 * "ambient pressure", "span"), with standard uncertainty. */
struct es_fact {
    const char *name;
    enum es_dimension dimension;
    double value, u, dof;
};

struct es_facts {
    const struct es_fact *items;
    size_t count;
};

const struct es_fact *es_fact_find(const struct es_facts *facts, const char *name);

/* Whether a setting's text is the name of a fact: its meaning then begins with "fact: ". */
bool es_setting_is_fact(const struct es_field *row);

struct es_measure_output {
    const char *name;
    enum es_dimension dimension; /* ES_DIM_COUNT: that of the first role that roles() writes */
    const char *meaning;
};

struct es_measure {
    const char *name;    /* as in procedures: "step response" */
    const char *meaning; /* one line */
    const char *source;  /* standard and clause, or honest words */
    const char *const
        *trace_names; /* slots, NULL-terminated: {"recording", "tare", NULL}; the first is required */
    const char *const *facts_needed; /* NULL-terminated */
    const char *const *facts_used;   /* taken too where they are known: NULL-terminated, or NULL for none */
    /* Settings whose fact must be known, NULL-terminated, or NULL for none. Facts of other settings have
     * something that takes their place. */
    const char *const *fact_settings;
    const struct es_field *settings; /* read from the measurand's "with" object */
    size_t setting_count, setting_size;
    const struct es_measure_output *outputs;
    size_t output_count;
    /* Roles that `settings` makes it need; writes at most 8, returns the count. */
    size_t (*roles)(const void *settings, enum es_role out[static 8]);
    /* Least sampling rate, Hz, at which the output's limit width `tolerance` can be resolved; 0 no demand. */
    double (*rate_needed)(const void *settings, size_t output, double tolerance);
    /* Standard uncertainty to be expected beforehand from the channels alone, for the test uncertainty
     * ratio; NAN when it cannot be told. u is indexed by role, NULL where the bench lacks it. */
    double (*expected_u)(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts);
    /* Fills output_count values. traces[i] belongs to trace_names[i], NULL when not given. Returns other
     * than ES_OK only for faults of the program or memory; a trace that does not carry the value gives
     * valid = false. */
    enum es_status (*evaluate)(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err);
};

/* NULL when unknown. */
const struct es_measure *es_measure_find(const char *name);
const struct es_measure *const *es_measure_list(size_t *count);

/* Welch-Satterthwaite (JCGM 100 G.4.1), k = t_{0.975}(dof), U = k u. */
void es_measured_combine(struct es_measured *m);

#endif

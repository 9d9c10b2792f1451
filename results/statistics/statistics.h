/* What many certificates say together: agreement between two visits, control charts, repeatability and
 * reproducibility, Pareto. Pure functions on plain numbers: no I/O, no clock, no allocation; thread-safe.
 * All values of one call are in one unit, whichever the caller has. Sampling of lots: sampling.h. Drawings
 * of what comes out: results/page/plot.h. */
#ifndef ES_STATISTICS_STATISTICS_H
#define ES_STATISTICS_STATISTICS_H

#include <stddef.h>
#include <stdint.h>

#include "rig/base/error.h"

/* E_n number of two results with expanded uncertainties (95 %, U >= 0): (value - reference) /
 * sqrt(U^2 + U_reference^2). They agree when |E_n| <= 1. ISO 13528:2022 9.7, ISO/IEC 17043:2010 B.3.1.3.
 * Both U zero: 0 for equal values, else an infinity with the difference's sign. NAN when an argument is not
 * finite or a U is negative. The two results must be independent: a calibration error that both visits share
 * makes |E_n| too small. */
double es_en_number(double value, double U, double reference, double U_reference);

/* ---- Individuals and moving ranges (I-MR chart) ----
 * NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.2: centre = mean, sigma = mean moving range / d2 with
 * d2 = 1.128 (2/sqrt(pi) exactly here), control limits at 3 sigma; moving range limit D4 times its mean. */

#define ES_CHART_D2 1.1283791670955126 /* 2/sqrt(pi): mean range of two of a normal distribution */
#define ES_CHART_D4 3.2665319193       /* 1 + 3 d3/d2 for two */

/* Run rules: those of the e-Handbook 6.3.2 (Western Electric 1956, and its two trend rules). The same
 * side of the centre, or the same direction, is meant where a rule speaks of several points; a point on
 * the line belongs to neither side. A rule marks the point that completes its pattern. */
enum es_run_rule {
    ES_RUN_BEYOND_3 = 1 << 0,     /* one point beyond 3 sigma */
    ES_RUN_2_OF_3 = 1 << 1,       /* two of three beyond 2 sigma, same side */
    ES_RUN_4_OF_5 = 1 << 2,       /* four of five beyond 1 sigma, same side */
    ES_RUN_8_SAME_SIDE = 1 << 3,  /* eight in a row on the same side */
    ES_RUN_6_TREND = 1 << 4,      /* six in a row rising, or falling */
    ES_RUN_14_ALTERNATE = 1 << 5, /* fourteen in a row alternating up and down */
    ES_RUN_RANGE = 1 << 6,        /* the moving range to this point is above its limit */
    ES_RUN_RULES_ALL = (1 << 7) - 1
};
#define ES_RUN_RULE_COUNT 7

const char *es_run_rule_text(enum es_run_rule rule); /* "eight in a row on one side of the centre" */

struct es_control_chart {
    double centre, sigma;
    double upper, lower; /* centre +- 3 sigma */
    double range_mean, range_upper;
    size_t base;    /* points that centre and sigma come from */
    size_t signals; /* points that carry at least one rule */
};

/* Centre and sigma come from the first `base` values (0: from all), at least two; the rules look at all
 * `count`. `signals` (NULL: not wanted; else `count` elements) takes each point's enum es_run_rule bits,
 * of those in `rules`. ES_RANGE: fewer than two values; ES_BAD_INPUT: a value is not finite. With sigma 0
 * (all equal) only the trend rules and points off the centre can signal. */
enum es_status es_control_chart(const double *values, size_t count, size_t base, unsigned rules,
                                uint32_t *signals, struct es_control_chart *chart,
                                struct es_error *err) ES_MUST_CHECK;

/* ---- Repeatability and reproducibility ----
 * Crossed study: every one of `conditions` (persons, stations, days) measures every one of `units`
 * `repeats` times. Two-way random-effects analysis of variance with interaction; negative variance estimates
 * are set to 0. NIST/SEMATECH e-Handbook 2.4 (gauge studies) and 7.4.3.7 (the two-way table); estimators as
 * published by Burdick, Borror & Montgomery, J. Quality Technology 35 (2003) 342. */
struct es_repeatability {
    size_t units, conditions, repeats;
    double mean;
    double ss_units, ss_conditions, ss_interaction, ss_error; /* sums of squares */
    double ms_units, ms_conditions, ms_interaction, ms_error; /* mean squares */
    double var_units, var_conditions, var_interaction, var_error;
    double repeatability;   /* standard deviation: sqrt(var_error) */
    double reproducibility; /* sqrt(var_conditions + var_interaction) */
    double both;            /* sqrt of the sum of both variances */
    double between_units;   /* sqrt(var_units) */
    double share; /* (var_error + var_conditions + var_interaction) / all variances; NAN when all are 0 */
};

/* `values[(unit * conditions + condition) * repeats + repeat]`. At least two of each. */
enum es_status es_repeatability_crossed(const double *values, size_t units, size_t conditions, size_t repeats,
                                        struct es_repeatability *out, struct es_error *err) ES_MUST_CHECK;

/* The bench alone: repeated tests of each of `units` units by one bench, `counts[i]` of unit i, whose values
 * follow one another in `values`. Pooled standard deviation (e-Handbook 2.4.5); *dof its degrees of freedom.
 * NAN and 0 when no unit was tested twice. */
double es_repeatability_pooled(const double *values, const size_t *counts, size_t units, size_t *dof);

/* ---- Process capability, e-Handbook 6.1.6 ---- A missing limit is -INFINITY or INFINITY. */
struct es_capability {
    double cp, cpk; /* cp: NAN unless both limits exist */
};
struct es_capability es_capability(double mean, double s, double lower, double upper);

/* ---- Pareto ---- */
struct es_pareto_row {
    const char *name; /* borrowed */
    size_t count;
    double share;      /* of all; 0 when there is nothing */
    double cumulative; /* up to and with this row */
};

/* Sorts the rows by falling count (equal counts by name, byte by byte) and fills share and cumulative. */
void es_pareto(struct es_pareto_row *rows, size_t count);

#endif

/* The uncertainty budget of one measured value, filled term by term, and the measured value made from it.
 * Propagation: JCGM 100:2008 clause 5 (independent terms, sensitivities already multiplied in); effective
 * degrees of freedom: G.4.1. Pure; the caller owns the structs. */
#ifndef ES_MEASURES_BUDGET_H
#define ES_MEASURES_BUDGET_H

#include "procedures/measures/measure.h"

/* What a term does when the measurement is repeated on the same bench. */
enum es_term {
    ES_TERM_REPEAT, /* differs each time: noise, quantisation, connecting */
    ES_TERM_COMMON  /* stays: calibration, volume, clock */
};

struct es_budget {
    double square[2];         /* sum of u^2, by enum es_term */
    double fourth_per_dof[2]; /* sum of u^4 / dof */
    double half_width;        /* of the widest rectangle among them; 0: none */
    enum es_term wide;        /* its kind */
};

/* u: standard uncertainty in the unit of the result (|sensitivity| * u(x)); 0 is no term. dof > 0, INFINITY
 * allowed. */
void es_budget_add(struct es_budget *b, enum es_term term, double u, double dof);

/* The same for what lies anywhere within +-half_width: u = half_width / sqrt 3. The widest of a budget is
 * stated to JCGM 101 (es_model_sum): where it outweighs the rest, 95 % are 1.65 u, not 1.96 u. */
void es_budget_add_rectangle(struct es_budget *b, enum es_term term, double half_width);

/* Standard uncertainty of a rectangular distribution of the given half-width (JCGM 100 4.3.7). */
double es_rectangular(double half_width);

/* Standard uncertainty that the steps of a reading leave in a mean, when its readings scatter by `s`
 * (observed): one step of width q gives q / sqrt(12) (JCGM 100 F.2.2.1); noise from half a step on dithers it
 * away (own derivation, in budget.c). s 0: readings that are all the same, or not known. */
double es_resolution_u(double q, double s);

/* Starts an output: name, dimension, no value yet ("not evaluated"). */
void es_measured_start(struct es_measured *m, const char *name, enum es_dimension dimension);

/* Value with its budget; makes it valid, combined and expanded. Refuses when value or u is not finite. */
void es_measured_set(struct es_measured *m, double value, const struct es_budget *b);

/* Not to be used, and why: one sentence. */
void es_measured_refuse(struct es_measured *m, const char *format, ...) ES_PRINTF(2, 3);

#endif

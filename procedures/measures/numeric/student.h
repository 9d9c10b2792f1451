/* Student's t and the normal distribution: cumulative probability and quantile.
 * Regularised incomplete beta by its continued fraction (NIST DLMF 8.17.22), quantiles by a guarded Newton
 * iteration. Relative accuracy 1e-10 or better for 0.5 <= dof <= 1e6 (checked against scipy and the table of
 * JCGM 100 G.2); above 1e7 the normal distribution is used. Pure. */
#ifndef ES_MEASURES_NUMERIC_STUDENT_H
#define ES_MEASURES_NUMERIC_STUDENT_H

double es_beta_regularised(double a, double b, double x); /* I_x(a, b); a, b > 0, 0 <= x <= 1 */
double es_t_cumulative(double t, double dof);             /* dof > 0, INFINITY allowed */
double es_t_quantile(double p, double dof);               /* 0 < p < 1; NAN outside */
double es_normal_cumulative(double z);
double es_normal_quantile(double p);

#endif

/* Tail probabilities that judgement needs. Pure. Accurate to about 1e-13 relative over the tails that matter
 * (tests/reference/judgement compares with tables and with scipy). */
#ifndef ES_JUDGEMENT_PROBABILITY_H
#define ES_JUDGEMENT_PROBABILITY_H

/* P(Z > z) of the standard normal distribution. */
double es_normal_upper(double z);

/* P(T > t) of Student's t distribution; dof > 0, INFINITY: normal. NAN for other dof. Source: the regularised
 * incomplete beta function, DLMF 8.17 (continued fraction 8.17.22), P = I_{dof/(dof+t^2)}(dof/2, 1/2) / 2. */
double es_t_upper(double t, double dof);

#endif

/* Judgement: a measured value with its uncertainty against a limit by a decision rule.
 * Sources: JCGM 106:2012 (conformance probability clause 7, decision rules clause 8), ILAC-G8:09/2019
 * (4.2.1 simple acceptance, 4.2.2 guard band, 4.2.3 non-binary). Pure functions, thread-safe.
 *
 * Acceptance limits: lower AL = TL + w, upper AL = TL - w with w = guard_factor * U (U expanded, 95 %), or w
 * from a chosen probability p of false acceptance a side: w = t_{1-p}(dof) u (JCGM 106 8.3.3.2, from memory:
 * the guard band that gives a wanted conformance probability at the acceptance limit).
 * Simple acceptance has w = 0. A value exactly on an acceptance or tolerance limit counts as inside.
 *   simple      pass inside TL, else fail
 *   guarded     pass inside AL, else fail; where w leaves no room between two acceptance limits, or is more
 *               than half of a single limit (a test uncertainty ratio below 1), a value that is not
 *               outside TL by more than w is not tested: that is the bench's shortcoming, not the unit's
 *   non-binary  pass inside AL; conditional pass inside TL; conditional fail up to w outside TL; else fail
 *
 * Probabilities use the t distribution with the value's effective degrees of freedom, shifted to the value
 * and scaled by u (JCGM 101 6.4.9.2), which is the normal one of JCGM 106's examples when they are infinite.
 * Reason: U is k u with k = t_0.975(dof) (JCGM 100 G.3), so that a value at TL - U has a probability of
 * false acceptance of exactly 2.5 % for any dof; the normal distribution would promise less than that.
 * Where Monte Carlo found another distribution (struct es_spread) it is used in its place: U towards each
 * side is the distance to that end of the 95 % interval, which is probabilistically symmetric, so that the
 * 2.5 % a side hold there too. */
#ifndef ES_JUDGEMENT_JUDGE_H
#define ES_JUDGEMENT_JUDGE_H

#include "procedures/judgement/outcome.h"

struct es_judgement {
    enum es_verdict verdict;
    double guard;            /* w at the nearer limit, coherent; negative where the rule accepts beyond it */
    double conformance;      /* probability that the true value is inside the limits (JCGM 106 7.1) */
    double false_acceptance; /* 1 - conformance, computed without loss of digits: the specific risk that an
                                accepted unit does not conform on this line. Of a rejected one
                                `conformance` is the risk that it conforms: false rejection */
};

/* Judges a number. `value`, `u` (>= 0), `U` (>= 0) coherent; dof > 0, may be INFINITY. Numbers that are not
 * finite, or a limit with both sides open, give ES_NOT_TESTED with NAN probabilities. */
struct es_judgement es_judge(double value, double u, double dof, double U, const struct es_limit *limit);

/* The same of a measured value, by its own distribution. `m` is valid. */
struct es_judgement es_judge_measured(const struct es_measured *m, const struct es_limit *limit);

/* Fills a whole line. Copies everything; on ES_OK the line is the caller's, to be freed with es_line_clear
 * (or by es_outcome_free as part of an outcome). An invalid value gives "not tested" with its reason. A value
 * of another dimension than the limit's is ES_INTERNAL: the proof of the procedure must have refused it. */
enum es_status es_judge_line(const char *procedure, const char *measurand, const struct es_measured *value,
                             const struct es_limit *limit, struct es_line *line,
                             struct es_error *err) ES_MUST_CHECK;

/* A line that could not even be measured (gated, skipped, not completed), with the reason why. */
enum es_status es_judge_not_tested(const char *procedure, const char *measurand, const struct es_limit *limit,
                                   const char *reason, struct es_line *line,
                                   struct es_error *err) ES_MUST_CHECK;

/* Overall verdict over the required lines: the worst of fail, conditional fail, not tested, conditional
 * pass, pass in that order. Not tested when there is no required line at all. Lines that are not required
 * inform and do not count. */
enum es_verdict es_judge_overall(const struct es_line *lines, size_t count);

/* Probability that a value with this state of knowledge lies inside [lower, upper] (JCGM 106 7.3, 7.4).
 * u = 0: 1 inside (limits included), 0 outside. */
double es_conformance_probability(double value, double u, double dof, double lower, double upper);
double es_false_acceptance(double value, double u, double dof, double lower, double upper);

#endif

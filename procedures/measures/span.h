/* The span that figures are shares of: between two facts, as measured earlier in the plan or as the type
 * sheet has them. Pure. */
#ifndef ES_MEASURES_SPAN_H
#define ES_MEASURES_SPAN_H

#include <stdbool.h>

#include "procedures/measures/budget.h"

struct es_span {
    double low, size; /* coherent; size signed, not 0 */
    double u_low, u_high, dof_low, dof_high;
    bool measured; /* by the same channel: its offset and gain cancel in shares */
    bool placed;   /* where it lies is known, not only how wide it is */
};

/* Facts `low` and `high`; where they are not known and "full travel" has the dimension: its width alone
 * (placed false). False with a reason. */
bool es_span_find(const struct es_facts *facts, const char *low, const char *high,
                  enum es_dimension dimension, struct es_span *out, char reason[static 160]);

/* Where y lies in the span: 0 at its low end, 1 at its high end. */
double es_span_share(const struct es_span *span, double y);

/* What is not known of the ends, for a share. Of ends measured by the channel that the share is of (`u`), its
 * calibration is in the ends and in the reading alike and cancels (JCGM 100 5.2: correlated inputs); what is
 * left of both, noise and repeatability, mostly comes from one act and is added up. */
void es_span_terms(struct es_budget *b, const struct es_span *span, const struct es_channel_uncertainty *u,
                   double share);

/* Standard uncertainty of an end without the calibration of the channel that measured it. */
double es_span_end_u(double u_end, double end, const struct es_channel_uncertainty *u);

#endif

#include "procedures/measures/span.h"

#include <math.h>
#include <stdio.h>

static bool usable(const struct es_fact *f, enum es_dimension dimension)
{
    return f && isfinite(f->value) && f->dimension == dimension;
}

bool es_span_find(const struct es_facts *facts, const char *low, const char *high,
                  enum es_dimension dimension, struct es_span *out, char reason[static 160])
{
    const struct es_fact *l = es_fact_find(facts, low), *h = es_fact_find(facts, high),
                         *full = es_fact_find(facts, "full travel");
    if (usable(l, dimension) && usable(h, dimension)) {
        *out = (struct es_span){.low = l->value,
                                .size = h->value - l->value,
                                .u_low = l->u,
                                .u_high = h->u,
                                .dof_low = l->dof,
                                .dof_high = h->dof,
                                .measured = l->u > 0 || h->u > 0,
                                .placed = true};
    } else if (usable(full, dimension)) {
        *out = (struct es_span){
            .size = full->value, .u_high = full->u, .dof_low = INFINITY, .dof_high = full->dof};
    } else {
        snprintf(reason, 160, "the span is not known: no value for \"%.40s\"",
                 usable(l, dimension) ? high : low);
        return false;
    }
    if (out->size != 0)
        return true;
    snprintf(reason, 160, "the span is zero (\"%.40s\" to \"%.40s\")", low, high);
    return false;
}

double es_span_share(const struct es_span *span, double y)
{
    return (y - span->low) / span->size;
}

double es_span_end_u(double u_end, double end, const struct es_channel_uncertainty *u)
{
    double calibration = hypot(u->offset, u->gain * end);
    return sqrt(fmax(0, u_end * u_end - calibration * calibration));
}

void es_span_terms(struct es_budget *b, const struct es_span *span, const struct es_channel_uncertainty *u,
                   double share)
{
    if (!span->measured) {
        es_budget_add(b, ES_TERM_COMMON, span->u_low * (1 - share) / span->size, span->dof_low);
        es_budget_add(b, ES_TERM_COMMON, span->u_high * share / span->size, span->dof_high);
        return;
    }
    double low = es_span_end_u(span->u_low, span->low, u),
           high = es_span_end_u(span->u_high, span->low + span->size, u);
    es_budget_add(b, ES_TERM_COMMON, (low * fabs(1 - share) + high * fabs(share)) / span->size, INFINITY);
}

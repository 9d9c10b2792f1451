/* How fast a recording can be made on a bench. */
#include <math.h>

#include "procedures/engine/check.h"

/* A bench that reaches this share of what is asked for will do. */
#define NEAR_ENOUGH 0.9

static size_t add_role(enum es_role *roles, size_t count, enum es_role role)
{
    for (size_t i = 0; i < count; i++)
        if (roles[i] == role)
            return count;
    roles[count] = role;
    return count + 1;
}

size_t es_recording_roles(const struct es_step *record, enum es_role out[static ES_ROLE_COUNT])
{
    size_t n = 0;

    for (size_t i = 0; i < record->role_count; i++)
        n = add_role(out, n, record->roles[i]);
    for (size_t i = 0; i < record->throughout_count; i++) {
        const enum es_role role = record->throughout[i].role;
        if (role != ES_ROLE_NONE && es_role_info(role)->direction == ES_IN)
            n = add_role(out, n, role);
    }
    for (size_t i = 0; i < record->along_count; i++)
        n = add_role(out, n, record->along[i]);
    return n;
}

static double slowest_of(const struct es_step *s, const struct es_station_view *view, enum es_role *role)
{
    double least = INFINITY;

    for (size_t i = 0; i < s->role_count; i++) {
        const struct es_station_role *r = &view->roles[s->roles[i]];
        if (!r->present || r->rate <= 0 || r->rate >= least)
            continue;
        least = r->rate;
        *role = s->roles[i];
    }
    return least;
}

enum es_status es_recording_rate(const struct es_step *record, const struct es_station_view *view,
                                 const struct es_type *type, double *out, enum es_role *slowest,
                                 struct es_error *err)
{
    double wanted, least;
    enum es_role role = ES_ROLE_NONE;

    enum es_status status = es_amount_resolve(&record->rate, ES_ROLE_NONE, type, &wanted, err);
    if (status != ES_OK)
        return status;
    least = NEAR_ENOUGH * wanted;
    if (record->rate_least.kind != ES_AMOUNT_NONE) {
        status = es_amount_resolve(&record->rate_least, ES_ROLE_NONE, type, &least, err);
        if (status != ES_OK)
            return status;
    }
    const double reached = view != NULL ? slowest_of(record, view, &role) : INFINITY;
    if (reached < fmin(least, NEAR_ENOUGH * wanted)) {
        if (slowest != NULL)
            *slowest = role;
        return es_fail(err, ES_RANGE, "the recording \"%s\" needs %.3g Hz; the bench reaches %.3g Hz for %s",
                       record->recording, least, reached, es_role_info(role)->name);
    }
    *out = reached >= NEAR_ENOUGH * wanted ? wanted : reached;
    return ES_OK;
}

#include "procedures/measures/rest_level.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/samples.h"

#define LEAST      5
#define SHAPE      4.0 /* scatter over noise between neighbours; red noise of lag-1 0.9 has 3.2 */
#define STANDS_OUT 3.0 /* standard uncertainties of the drift */

/* Many stretches are looked at: the threshold is higher than that of es_plateau_movement. */
static void set_movement(const struct es_samples *s, struct es_rest *r)
{
    double noise = hypot(r->p.neighbours, r->series->u.resolution / sqrt(12.0));
    if (r->p.s > SHAPE * noise) { /* no noise: it begins elsewhere than it ends */
        size_t quarter = s->n / 4;
        r->surely = fabs(es_mean(s->y, quarter) - es_mean(s->y + s->n - quarter, quarter));
    }
    double beyond = fabs(r->p.drift) - STANDS_OUT * r->p.u_drift;
    if (!(beyond > 0))
        return;
    r->surely = fmax(r->surely, beyond * r->p.length);
    r->moved = sqrt(r->p.drift * r->p.drift - r->p.u_drift * r->p.u_drift) * r->p.length;
}

enum es_status es_rest_take(const struct es_trace *trace, enum es_role role, double from, double to,
                            struct es_rest *out, struct es_error *err)
{
    struct es_samples samples;
    char text[160];
    memset(out, 0, sizeof *out);
    out->series = es_trace_series(trace, role);
    if (!out->series) {
        snprintf(out->reason, sizeof out->reason, "no series of the %s", es_role_info(role)->name);
        return ES_OK;
    }
    enum es_status status = es_samples_take_level(out->series, from, to, &samples, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&samples, LEAST, text);
    if (why) {
        snprintf(out->reason, sizeof out->reason, "%s", why);
    } else if (!es_plateau_of_samples(&samples, &out->p)) {
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", samples.n);
    } else {
        out->valid = true;
        set_movement(&samples, out);
        out->first = es_samples_index(&samples, 0);
        out->last = es_samples_index(&samples, samples.n - 1);
    }
    es_samples_free(&samples);
    return status;
}

void es_rest_noise(struct es_budget *b, const struct es_rest *r, double factor)
{
    const struct es_channel_uncertainty *u = &r->series->u;
    es_plateau_noise(b, &r->p, u, factor);
    if (!(r->moved > 0))
        return;
    es_budget_add(b, ES_TERM_REPEAT, factor * es_rectangular(r->moved / 2), INFINITY);
    es_budget_add(b, ES_TERM_COMMON, factor * r->p.drift * hypot(u->time, u->lag), INFINITY);
}

double es_rest_u(const struct es_rest *r)
{
    struct es_budget b = {0};
    es_rest_noise(&b, r, 1);
    return sqrt(b.square[ES_TERM_REPEAT] + b.square[ES_TERM_COMMON]);
}

/* Turning the unit's shaft: by the bench's motor, or by a person where there is none. */
#include <math.h>

#include "procedures/engine/execution.h"

static enum es_status shaft_angle(struct es_execution *x, double *out, struct es_error *err)
{
    struct es_reading r;

    const enum es_status s = x->port->read(x->port->self, ES_ROLE_SHAFT_ANGLE, &r, err);
    if (s != ES_OK)
        return es_error_context(err, s, "shaft angle");
    if (r.quality != ES_GOOD)
        return es_fail(err, ES_RANGE,
                       "the shaft angle has no good reading, so that the motor cannot be coupled");
    *out = r.value;
    return ES_OK;
}

static double within_ceilings(const struct es_execution *x, double angle)
{
    const struct es_station_view *view = x->options->view;

    if (view == NULL)
        return angle;
    const struct es_station_role *r = &view->roles[ES_ROLE_SHAFT_DRIVE];
    return fmin(fmax(angle, r->lowest), r->highest);
}

static bool has_coupling(const struct es_execution *x)
{
    return es_find_need(x->entry->procedure, ES_ROLE_SHAFT_COUPLING, x->type) != NULL &&
           es_fitted(x, ES_ROLE_SHAFT_COUPLING);
}

/* The motor goes to where the shaft stands before it takes hold of it: the shaft must not be jerked. */
static enum es_status couple(struct es_execution *x, double speed, struct es_error *err)
{
    double angle = 0;

    if (x->written[ES_ROLE_SHAFT_COUPLING].known && x->written[ES_ROLE_SHAFT_COUPLING].value == 1)
        return ES_OK;
    enum es_status s = shaft_angle(x, &angle, err);
    if (s != ES_OK)
        return s;
    angle = within_ceilings(x, angle);
    if (has_coupling(x)) {
        s = es_ramp(x, ES_ROLE_SHAFT_DRIVE, angle, speed, err);
        if (s == ES_OK)
            s = es_write(x, ES_ROLE_SHAFT_COUPLING, 1, err);
        if (s == ES_OK)
            s = es_sleep(x, ES_COUPLE_TIME, err);
    } else { /* always coupled: the motor stands where the shaft stands */
        s = es_write(x, ES_ROLE_SHAFT_DRIVE, angle, err);
        x->written[ES_ROLE_SHAFT_COUPLING].known = s == ES_OK;
        x->written[ES_ROLE_SHAFT_COUPLING].value = 1;
    }
    return s;
}

enum es_status es_execute_turn(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double to, speed;

    if (!es_fitted(x, ES_ROLE_SHAFT_DRIVE))
        return es_ask_done(x, s, err);
    enum es_status status = es_amount_resolve(&s->to, ES_ROLE_SHAFT_DRIVE, x->type, &to, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->at, ES_ROLE_SHAFT_DRIVE, x->type, &speed, err);
    if (status == ES_OK)
        status = couple(x, speed, err);
    if (status == ES_OK)
        status = es_ramp(x, ES_ROLE_SHAFT_DRIVE, to, speed, err);
    return status;
}

enum es_status es_execute_sweep(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double from, to, speed;

    if (!es_fitted(x, ES_ROLE_SHAFT_DRIVE))
        return es_ask_done(x, s, err);
    enum es_status status = es_amount_resolve(&s->from, ES_ROLE_SHAFT_DRIVE, x->type, &from, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->to, ES_ROLE_SHAFT_DRIVE, x->type, &to, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->at, ES_ROLE_SHAFT_DRIVE, x->type, &speed, err);
    for (long n = 0; n < s->times && status == ES_OK; n++) {
        status = es_ramp(x, ES_ROLE_SHAFT_DRIVE, to, speed, err);
        if (status == ES_OK)
            status = es_ramp(x, ES_ROLE_SHAFT_DRIVE, from, speed, err);
    }
    return status;
}

/* Waiting until something is so, always with an end. */
#include <math.h>
#include <stdio.h>

#include "procedures/engine/execution.h"
#include "procedures/judgement/type_sheet.h"

/* A condition on one reading. `steady`: no level, only a width over time. */
struct condition {
    enum es_role role;
    double low, high;
    bool steady;
    double width;
};

enum es_status es_band_resolve(const struct es_execution *x, const struct es_condition *c,
                               struct es_band *out, struct es_error *err)
{
    enum es_status status = ES_OK;

    *out = (struct es_band){
        .within = es_role_info(c->role)->is_state ? 0.5 : 0, .low = -INFINITY, .high = INFINITY};
    if (c->within.kind != ES_AMOUNT_NONE)
        status = es_amount_resolve(&c->within, c->role, x->type, &out->within, err);
    if (status == ES_OK && c->near.kind != ES_AMOUNT_NONE) {
        status = es_amount_resolve(&c->near, c->role, x->type, &out->near, err);
        out->low = out->near - out->within;
        out->high = out->near + out->within;
    }
    if (status == ES_OK && c->above.kind != ES_AMOUNT_NONE)
        status = es_amount_resolve(&c->above, c->role, x->type, &out->low, err);
    if (status == ES_OK && c->below.kind != ES_AMOUNT_NONE)
        status = es_amount_resolve(&c->below, c->role, x->type, &out->high, err);
    return status;
}

static enum es_status resolve_condition(const struct es_execution *x, const struct es_step *s,
                                        struct condition *out, struct es_error *err)
{
    const struct es_condition c = es_step_condition(s);
    struct es_band band;

    const enum es_status status = es_band_resolve(x, &c, &band, err);
    *out = (struct condition){.role = s->role,
                              .low = band.low,
                              .high = band.high,
                              .steady = s->near.kind == ES_AMOUNT_NONE && s->above.kind == ES_AMOUNT_NONE &&
                                        s->below.kind == ES_AMOUNT_NONE,
                              .width = band.within};
    return status;
}

/* What has been seen since the condition began to hold. */
struct watching {
    bool holds;
    es_time since;
    double least, greatest;
    struct es_reading last;
};

static void look(struct watching *w, const struct condition *c, es_time now)
{
    const struct es_reading *r = &w->last;
    const bool good = r->quality == ES_GOOD;
    const bool inside = good && r->value >= c->low && r->value <= c->high;

    if (!inside) {
        w->holds = false;
        return;
    }
    const bool drifted =
        c->steady && w->holds && fmax(w->greatest, r->value) - fmin(w->least, r->value) > c->width;
    if (!w->holds || drifted) {
        w->since = now;
        w->least = w->greatest = r->value;
    }
    w->holds = true;
    w->least = fmin(w->least, r->value);
    w->greatest = fmax(w->greatest, r->value);
}

static void not_so(const struct es_execution *x, const struct condition *c, const struct watching *w,
                   double most, char *out, size_t size)
{
    const struct es_role_info *info = es_role_info(c->role);
    enum es_dimension d = info->dimension;
    char value[48];

    (void)x->port->has_role(x->port->self, c->role, &d);
    if (w->last.quality == ES_GOOD)
        (void)es_quantity_format(w->last.value, es_dimension_unit(d), 3, value, sizeof value);
    else
        (void)snprintf(value, sizeof value, "no good reading");
    (void)snprintf(out, size, "%s did not %s within %.3g s (last: %s)", info->name,
                   c->steady ? "come to rest" : "come to the value waited for", most, value);
}

/* *held: whether the condition came to hold for `dwell` before `most` was over. */
static enum es_status watch(struct es_execution *x, const struct condition *c, double dwell, double most,
                            bool *held, struct watching *w, struct es_error *err)
{
    const struct es_port *p = x->port;
    const es_time begin = p->now(p->self);
    const es_time deadline = begin + es_from_seconds(most);

    for (;;) {
        enum es_status s = p->read(p->self, c->role, &w->last, err);
        if (s != ES_OK)
            return es_error_context(err, s, "%s", es_role_info(c->role)->name);
        const es_time now = p->now(p->self);
        look(w, c, now);
        *held = w->holds && now - w->since >= es_from_seconds(dwell);
        if (*held || now >= deadline)
            return ES_OK;
        const es_time next = now + es_from_seconds(ES_POLL_PERIOD);
        s = es_sleep_until(x, next < deadline ? next : deadline, err);
        if (s != ES_OK)
            return s;
    }
}

enum es_status es_execute_wait(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    struct condition c;
    struct watching w = {.last = {.quality = ES_FAILED}};
    double dwell = 0, most;
    bool held = false;
    char reason[240];

    enum es_status status = resolve_condition(x, s, &c, err);
    if (status == ES_OK && s->duration.kind != ES_AMOUNT_NONE)
        status = es_amount_resolve(&s->duration, ES_ROLE_NONE, x->type, &dwell, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->at_most, ES_ROLE_NONE, x->type, &most, err);
    if (status == ES_OK)
        status = watch(x, &c, dwell, most, &held, &w, err);
    if (status != ES_OK || held)
        return status;
    not_so(x, &c, &w, most, reason, sizeof reason);
    return es_otherwise(x, s, reason, err);
}

enum es_status es_execute_vent(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    static const enum es_role roles[2][3] = {
        {ES_ROLE_OUTPUT_1_ISOLATING, ES_ROLE_OUTPUT_1_VENT, ES_ROLE_OUTPUT_1_PRESSURE},
        {ES_ROLE_OUTPUT_2_ISOLATING, ES_ROLE_OUTPUT_2_VENT, ES_ROLE_OUTPUT_2_PRESSURE}};
    const size_t outputs = x->type->action == ES_DOUBLE_ACTING ? 2 : 1;
    enum es_status status = ES_OK;
    double below, most;
    char reason[240];

    for (size_t i = 0; i < outputs && status == ES_OK; i++) {
        if (!s->outputs[i])
            continue;
        status = es_write(x, roles[i][0], 0, err);
        if (status == ES_OK)
            status = es_write(x, roles[i][1], 1, err);
    }
    if (status == ES_OK)
        status = es_amount_resolve(&s->below, ES_ROLE_OUTPUT_1_PRESSURE, x->type, &below, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->at_most, ES_ROLE_NONE, x->type, &most, err);
    const es_time begin = x->port->now(x->port->self);
    for (size_t i = 0; i < outputs && status == ES_OK && !x->skipping; i++) {
        const struct condition c = {.role = roles[i][2], .low = -INFINITY, .high = below};
        struct watching w = {.last = {.quality = ES_FAILED}};
        bool held = false;
        if (!s->outputs[i])
            continue;
        const double gone = es_seconds(x->port->now(x->port->self) - begin);
        status = watch(x, &c, 0, fmax(most - gone, 0), &held, &w, err);
        if (status == ES_OK && !held) {
            not_so(x, &c, &w, most, reason, sizeof reason);
            status = es_otherwise(x, s, reason, err);
        }
    }
    return status;
}

enum es_status es_execute_skip_unless(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    struct condition c;
    struct watching w = {.last = {.quality = ES_FAILED}};

    enum es_status status = resolve_condition(x, s, &c, err);
    if (status == ES_OK)
        status = x->port->read(x->port->self, s->role, &w.last, err);
    if (status != ES_OK)
        return status;
    look(&w, &c, 0);
    if (!w.holds)
        es_skip_rest(x, "%s", s->reason);
    return ES_OK;
}

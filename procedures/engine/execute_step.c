/* One step after the other through the port. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/execution.h"
#include "procedures/engine/say.h"

double es_elapsed(const struct es_execution *x)
{
    return es_seconds(x->port->now(x->port->self) - x->began);
}

bool es_fitted(const void *execution, enum es_role role)
{
    const struct es_execution *x = execution;
    return x->port->has_role(x->port->self, role, NULL);
}

void es_announce(struct es_execution *x, enum es_event_kind kind, const char *name, const char *text)
{
    es_announce_roles(x, kind, name, text, NULL, 0);
}

void es_announce_roles(struct es_execution *x, enum es_event_kind kind, const char *name, const char *text,
                       const enum es_role *roles, size_t role_count)
{
    const struct es_event event = {.kind = kind,
                                   .name = name != NULL ? name : "",
                                   .text = text != NULL ? text : "",
                                   .elapsed = es_elapsed(x),
                                   .remaining = fmax(x->ahead, 0),
                                   .roles = roles,
                                   .role_count = role_count};
    if (x->port->event != NULL)
        x->port->event(x->port->self, &event);
}

void es_skip_rest(struct es_execution *x, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    (void)vsnprintf(x->reason, sizeof x->reason, format, args);
    va_end(args);
    x->skipping = true;
    es_announce(x, ES_EVENT_NOTE, x->entry->label, x->reason);
}

enum es_status es_otherwise(struct es_execution *x, const struct es_step *s, const char *reason,
                            struct es_error *err)
{
    const char *why = s->reason != NULL ? s->reason : reason;

    switch (s->otherwise) {
    case ES_ELSE_GO_ON:
        es_announce(x, ES_EVENT_NOTE, x->entry->label, why);
        return ES_OK;
    case ES_ELSE_STOP_RUN:
        return es_fail(err, ES_CANCELLED, "%s", why);
    default:
        es_skip_rest(x, "%s", why);
        return ES_OK;
    }
}

static enum es_status too_late(const struct es_execution *x, struct es_error *err)
{
    return es_fail(
        err, ES_TIMEOUT,
        "the bench is slower than the plan's proof allows: %.1f s have passed, the longest is %.1f s",
        es_elapsed(x), x->longest);
}

/* However the time was lost, nothing is written after the longest duration that was proved. */
static enum es_status in_time(const struct es_execution *x, struct es_error *err)
{
    return es_elapsed(x) <= x->longest + 1e-6 ? ES_OK : too_late(x, err);
}

enum es_status es_sleep_until(struct es_execution *x, es_time until, struct es_error *err)
{
    const es_time end = x->began + es_from_seconds(x->longest + 1e-6);

    const enum es_status s = x->port->sleep_until(x->port->self, until < end ? until : end, err);
    return s == ES_OK && until > end ? too_late(x, err) : s;
}

enum es_status es_write(struct es_execution *x, enum es_role role, double value, struct es_error *err)
{
    es_time acted;

    enum es_status s = in_time(x, err);
    if (s != ES_OK)
        return s;
    s = x->port->write(x->port->self, role, value, &acted, err);
    if (s != ES_OK)
        return es_error_context(err, s, "%s", es_role_info(role)->name);
    x->written[role].known = true;
    x->written[role].value = value;
    return ES_OK;
}

enum es_status es_sleep(struct es_execution *x, double seconds, struct es_error *err)
{
    const es_time until = x->port->now(x->port->self) + es_from_seconds(seconds);
    return es_sleep_until(x, until, err);
}

/* Where an output stands: what this procedure wrote, what the bench says, or its safe state. */
static enum es_status stands_at(struct es_execution *x, enum es_role role, double *out, struct es_error *err)
{
    const struct es_station_view *view = x->options->view;
    struct es_reading r = {.quality = ES_FAILED};

    if (x->written[role].known) {
        *out = x->written[role].value;
        return ES_OK;
    }
    const enum es_status s = x->port->read(x->port->self, role, &r, err);
    if (s != ES_OK)
        return s;
    if (r.quality == ES_GOOD)
        *out = r.value;
    else if (view != NULL && view->roles[role].safe_known)
        *out = view->roles[role].safe;
    else
        return es_fail(err, ES_RANGE, "where %s stands is not known, so that it cannot be ramped",
                       es_role_info(role)->name);
    return ES_OK;
}

enum es_status es_ramp(struct es_execution *x, enum es_role role, double to, double speed,
                       struct es_error *err)
{
    /* A shaft would turn in visible steps at 10 Hz; regulators and loop sources do not notice. */
    const es_time period = es_from_seconds(role == ES_ROLE_SHAFT_DRIVE ? 0.025 : 0.1);
    double from = 0;

    enum es_status s = stands_at(x, role, &from, err);
    if (s != ES_OK)
        return s;
    const es_time begin = x->port->now(x->port->self);
    const es_time end = begin + es_from_seconds(fabs(to - from) / speed);
    es_time next = begin + period;
    while (next < end) {
        s = es_sleep_until(x, next, err);
        if (s != ES_OK)
            return s;
        /* From the time that it is, not that it should be: a late write must not be followed by a hasty one.
         */
        const es_time now = x->port->now(x->port->self);
        if (now >= end)
            break;
        const double gone = speed * es_seconds(now - begin);
        s = es_write(x, role, to > from ? from + gone : from - gone, err);
        if (s != ES_OK)
            return s;
        const es_time after = x->port->now(x->port->self);
        while (next <= after)
            next += period;
    }
    if (end > begin) {
        s = es_sleep_until(x, end, err);
        if (s != ES_OK)
            return s;
    }
    return es_write(x, role, to, err);
}

static enum es_status run_set(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double value;

    enum es_status status = es_amount_resolve(&s->to, s->role, x->type, &value, err);
    if (status == ES_OK)
        status = es_write(x, s->role, value, err);
    return status;
}

static enum es_status run_ramp(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double to, speed;

    enum es_status status = es_amount_resolve(&s->to, s->role, x->type, &to, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->at, s->role, x->type, &speed, err);
    if (status == ES_OK)
        status = es_ramp(x, s->role, to, speed, err);
    return status;
}

static enum es_status run_hold(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double time;

    const enum es_status status = es_amount_resolve(&s->duration, ES_ROLE_NONE, x->type, &time, err);
    return status == ES_OK ? es_sleep(x, time, err) : status;
}

static enum es_status write_and_hold(struct es_execution *x, const struct es_step *s, double value,
                                     double hold, struct es_error *err)
{
    const enum es_status status = es_write(x, s->role, value, err);
    return status == ES_OK ? es_sleep(x, hold, err) : status;
}

static enum es_status run_list(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double hold, value;

    enum es_status status = es_amount_resolve(&s->hold, ES_ROLE_NONE, x->type, &hold, err);
    for (size_t i = 0; i < s->list_count && status == ES_OK; i++) {
        status = es_amount_resolve(&s->list[i], s->role, x->type, &value, err);
        if (status == ES_OK)
            status = write_and_hold(x, s, value, hold, err);
    }
    return status;
}

static enum es_status climb(struct es_execution *x, const struct es_step *s, double from, double to,
                            double hold, struct es_error *err)
{
    enum es_status status = ES_OK;

    for (long i = 1; i <= s->stairs && status == ES_OK; i++) {
        const double value = i == s->stairs ? to : from + (to - from) * (double)i / (double)s->stairs;
        status = write_and_hold(x, s, value, hold, err);
    }
    return status;
}

static enum es_status run_staircase(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double from, to, hold;

    enum es_status status = es_amount_resolve(&s->from, s->role, x->type, &from, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->to, s->role, x->type, &to, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->hold, ES_ROLE_NONE, x->type, &hold, err);
    for (long n = 0; n < s->times && status == ES_OK; n++) {
        if (n == 0 || !s->and_back)
            status = write_and_hold(x, s, from, hold, err);
        if (status == ES_OK)
            status = climb(x, s, from, to, hold, err);
        if (status == ES_OK && s->and_back)
            status = climb(x, s, to, from, hold, err);
    }
    return status;
}

static enum es_status run_repeat(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    const double begin = es_elapsed(x);
    double most = INFINITY;
    enum es_status status = ES_OK;

    if (s->at_most.kind != ES_AMOUNT_NONE)
        status = es_amount_resolve(&s->at_most, ES_ROLE_NONE, x->type, &most, err);
    for (long n = 0; n < s->times && status == ES_OK && !x->skipping; n++) {
        if (es_elapsed(x) - begin >= most) {
            char reason[160];
            (void)snprintf(reason, sizeof reason, "repeated %ld times of %ld in the longest time, %.3g s", n,
                           s->times, most);
            return es_otherwise(x, s, reason, err);
        }
        status = es_execute_steps(x, s->steps, s->step_count, err);
    }
    return status;
}

static enum es_status run_one(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    switch (s->kind) {
    case ES_STEP_SET:
        return run_set(x, s, err);
    case ES_STEP_RAMP:
        return run_ramp(x, s, err);
    case ES_STEP_WAIT:
        return es_execute_wait(x, s, err);
    case ES_STEP_HOLD:
        return run_hold(x, s, err);
    case ES_STEP_RECORD:
        return es_execute_record(x, s, err);
    case ES_STEP_TURN_SHAFT:
        return es_execute_turn(x, s, err);
    case ES_STEP_SWEEP_SHAFT:
        return es_execute_sweep(x, s, err);
    case ES_STEP_STEPS:
        return run_list(x, s, err);
    case ES_STEP_STAIRCASE:
        return run_staircase(x, s, err);
    case ES_STEP_ISOLATE_VENT:
        return es_execute_vent(x, s, err);
    case ES_STEP_ASK:
        return es_execute_ask(x, s, err);
    case ES_STEP_CONFIRM:
        return es_execute_confirm(x, s, err);
    case ES_STEP_REPEAT:
        return run_repeat(x, s, err);
    case ES_STEP_SKIP_UNLESS:
        return es_execute_skip_unless(x, s, err);
    default:
        return es_fail(err, ES_INTERNAL, "a step of no known kind");
    }
}

/* The promise of the proof: what is over may not have taken more than it was allowed. */
static enum es_status account(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    const struct es_step_bound *bound = es_walk_bound(x->walk, s);

    if (bound != NULL)
        x->ahead -= bound->bench + bound->people;
    if (es_elapsed(x) > x->longest - x->ahead + 1e-6)
        return es_fail(
            err, ES_TIMEOUT,
            "the bench is slower than the plan's proof allows: %.1f s have passed where at most %.1f s "
            "were expected",
            es_elapsed(x), x->longest - x->ahead);
    return ES_OK;
}

/* What a person watches while the step runs. */
static size_t roles_of(const struct es_step *s, enum es_role out[static 2])
{
    size_t count = 0;

    if (s->kind == ES_STEP_TURN_SHAFT || s->kind == ES_STEP_SWEEP_SHAFT)
        out[count++] = ES_ROLE_SHAFT_ANGLE;
    else if (s->kind == ES_STEP_ISOLATE_VENT)
        for (int i = 0; i < 2; i++) {
            if (s->outputs[i])
                out[count++] = i == 0 ? ES_ROLE_OUTPUT_1_PRESSURE : ES_ROLE_OUTPUT_2_PRESSURE;
        }
    else if (s->role != ES_ROLE_NONE)
        out[count++] = s->role;
    return count;
}

static bool left_out(struct es_execution *x, const struct es_step *s)
{
    if (!es_when_applies(s->when, x->type))
        return true;
    if (s->where_not_fitted != ES_ROLE_NONE && es_fitted(x, s->where_not_fitted))
        return true;
    return s->where_fitted && !es_fitted(x, s->role);
}

enum es_status es_execute_steps(struct es_execution *x, const struct es_step *steps, size_t count,
                                struct es_error *err)
{
    char text[400];

    for (size_t i = 0; i < count && !x->skipping; i++) {
        const struct es_step *s = &steps[i];
        if (left_out(x, s))
            continue;
        (void)es_say_step(s, x->type, true, text, sizeof text);
        enum es_role roles[2];
        es_announce_roles(x, ES_EVENT_STEP, x->entry->label, text, roles, roles_of(s, roles));
        enum es_status status = run_one(x, s, err);
        if (status == ES_OK)
            status = account(x, s, err);
        if (status != ES_OK)
            return status;
    }
    return ES_OK;
}

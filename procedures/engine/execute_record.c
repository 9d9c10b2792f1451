/* Recordings: begun, ended, kept, and given up after an error. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/check_lines.h"
#include "procedures/engine/execution.h"
#include "procedures/engine/remeasure.h"

static bool only_along(const struct es_step *s, enum es_role role)
{
    for (size_t i = 0; i < s->role_count; i++)
        if (s->roles[i] == role)
            return false;
    return true;
}

static bool too_slow(const struct es_execution *x, enum es_role role)
{
    const struct es_station_view *view = x->options->view;

    return view != NULL && view->roles[role].rate > 0 && view->roles[role].rate < ES_LEAST_ALONG;
}

/* The roles of a recording that there are for this unit on this bench. *wanted: how many of them are its own,
 * and not only recorded along. */
static size_t present_roles(struct es_execution *x, const struct es_step *s, enum es_role *out,
                            size_t *wanted)
{
    enum es_role all[ES_ROLE_COUNT];
    const size_t n = es_recording_roles(s, all);
    size_t count = 0;

    *wanted = 0;
    for (size_t i = 0; i < n; i++) {
        const bool along = only_along(s, all[i]);
        if (!es_recorded(x, all[i]) || (along && too_slow(x, all[i])))
            continue;
        *wanted += !along;
        out[count++] = all[i];
    }
    return count;
}

/* How many of the roles at the front are the recording's own: es_recording_roles puts them first. */
static size_t leading(const struct es_step *s, const enum es_role *roles, size_t count)
{
    size_t n = 0;

    while (n < count && !only_along(s, roles[n]))
        n++;
    return n;
}

/* *begun: false when this bench has none of its channels: then nothing is recorded, its steps are done all
 * the same, and the lines that need it are not tested. */
static enum es_status begin_recording(struct es_execution *x, const struct es_step *s, bool *begun,
                                      struct es_error *err)
{
    enum es_role roles[ES_ROLE_COUNT];
    double rate;
    size_t wanted;
    struct es_running r = {.step = s};

    *begun = false;
    if (x->running_count == ES_MOST_RUNNING)
        return es_fail(err, ES_INTERNAL, "more than %d recordings at once", ES_MOST_RUNNING);
    enum es_status status = es_recording_rate(s, x->options->view, x->type, &rate, NULL, err);
    if (status != ES_OK)
        return status;
    const size_t count = present_roles(x, s, roles, &wanted);
    if (wanted == 0)
        return ES_OK;
    status = es_held_begin(x, &r, err);
    if (status == ES_OK)
        status = x->port->record_start(x->port->self, s->recording, roles, count, rate, &r.handle, err);
    if (status != ES_OK)
        return es_error_context(err, status, "recording \"%s\"", s->recording);
    x->running[x->running_count++] = r;
    *begun = true;
    es_announce_roles(x, ES_EVENT_RECORDING_BEGIN, s->recording, NULL, roles, leading(s, roles, count));
    return ES_OK;
}

/* Takes the trace over in every case. */
static enum es_status keep_trace(struct es_execution *x, const struct es_step *s, struct es_trace *trace,
                                 struct es_error *err)
{
    enum es_status status = ES_OK;

    if (x->keep->trace != NULL)
        status = x->keep->trace(x->keep->self, x->entry->label, trace, err);
    for (size_t i = 0; i < s->draw_count && status == ES_OK; i++)
        status = es_keep_curve(x, trace, s->draw[i], err);
    struct es_kept *grown = status == ES_OK ? realloc(x->kept, (x->kept_count + 1) * sizeof *grown) : NULL;
    if (grown == NULL) {
        es_trace_free(trace);
        return status != ES_OK ? status : es_fail(err, ES_NO_MEMORY, "no memory for a recording");
    }
    x->kept = grown;
    x->kept[x->kept_count++] = (struct es_kept){s, trace};
    return ES_OK;
}

/* The recording that was begun last ends first. One that was left early is kept raw but not measured. */
static enum es_status end_recording(struct es_execution *x, bool whole, struct es_error *err)
{
    struct es_trace *trace = NULL;
    const struct es_running r = x->running[x->running_count - 1];

    x->running_count--;
    const enum es_status status = x->port->record_stop(x->port->self, r.handle, &trace, err);
    if (status != ES_OK)
        return es_error_context(err, status, "recording \"%s\"", r.step->recording);
    es_announce(x, ES_EVENT_RECORDING_END, r.step->recording, NULL);
    const enum es_status held = es_held_end(x, &r, trace, err);
    if (held != ES_OK) {
        es_trace_free(trace);
        return held;
    }
    if (whole)
        return keep_trace(x, r.step, trace, err);
    enum es_status kept = ES_OK;
    if (trace->unfit == NULL)
        trace->unfit = strdup(ES_LEFT_EARLY); /* without memory it only lacks the remark */
    if (x->keep->trace != NULL)
        kept = x->keep->trace(x->keep->self, x->entry->label, trace, err);
    es_trace_free(trace);
    return kept;
}

/* Mean of the good samples with t in [from, to); false when there are none. */
static bool mean_between(const struct es_series *s, double from, double to, double *out)
{
    double sum = 0;
    size_t n = 0;

    for (size_t i = s->count; i > 0 && s->t[i - 1] >= from; i--) {
        if (s->t[i - 1] >= to || s->quality[i - 1] != ES_GOOD)
            continue;
        sum += s->y[i - 1];
        n++;
    }
    if (n == 0)
        return false;
    *out = sum / (double)n;
    return true;
}

/* At rest: the means of the four quarters of the last `dwell` seconds lie within `width`. Means, so that
 * noise of single samples neither ends a recording early nor keeps it from ending. */
static bool at_rest(const struct es_trace *trace, enum es_role role, double width, double dwell)
{
    const struct es_series *s = trace != NULL ? es_trace_series(trace, role) : NULL;
    double least = INFINITY, greatest = -INFINITY;

    if (s == NULL || s->count == 0 || s->t[s->count - 1] - s->t[0] < dwell)
        return false;
    const double end = s->t[s->count - 1];
    for (int q = 0; q < 4; q++) {
        double mean;
        if (!mean_between(s, end - dwell + dwell * q / 4,
                          q == 3 ? INFINITY : end - dwell + dwell * (q + 1) / 4, &mean))
            return false;
        least = fmin(least, mean);
        greatest = fmax(greatest, mean);
    }
    return greatest - least <= width;
}

static enum es_status until_settled(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    const struct es_port *p = x->port;
    double width, dwell, most;

    enum es_status status = es_amount_resolve(&s->within, s->role, x->type, &width, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->duration, ES_ROLE_NONE, x->type, &dwell, err);
    if (status == ES_OK)
        status = es_amount_resolve(&s->at_most, ES_ROLE_NONE, x->type, &most, err);
    if (status != ES_OK)
        return status;
    const int handle = x->running[x->running_count - 1].handle;
    const es_time deadline = p->now(p->self) + es_from_seconds(most);
    while (status == ES_OK) {
        const es_time now = p->now(p->self);
        if (now >= deadline || at_rest(p->record_look(p->self, handle), s->role, width, dwell))
            return ES_OK;
        const es_time next = now + es_from_seconds(2 * ES_POLL_PERIOD);
        status = es_sleep_until(x, next < deadline ? next : deadline, err);
    }
    return status;
}

enum es_status es_execute_record(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    double time;
    bool begun;

    enum es_status status = begin_recording(x, s, &begun, err);
    if (status != ES_OK)
        return status;
    if (!begun)
        return es_execute_steps(x, s->steps, s->step_count, err);
    if (s->until_settled) {
        status = until_settled(x, s, err);
    } else if (s->step_count > 0) {
        status = es_execute_steps(x, s->steps, s->step_count, err);
    } else {
        status = es_amount_resolve(&s->duration, ES_ROLE_NONE, x->type, &time, err);
        if (status == ES_OK)
            status = es_sleep(x, time, err);
    }
    if (status != ES_OK)
        return status; /* es_abandon_recordings ends it */
    return end_recording(x, !x->skipping, err);
}

void es_abandon_recordings(struct es_execution *x)
{
    while (x->running_count > 0) {
        /* The reason why the run ends is known already; what goes wrong here changes nothing. */
        struct es_error ignored;
        (void)!end_recording(x, false, &ignored);
    }
}

void es_forget_recordings(struct es_execution *x)
{
    for (size_t i = 0; i < x->kept_count; i++)
        es_trace_free(x->kept[i].trace);
    free(x->kept);
    x->kept = NULL;
    x->kept_count = 0;
}

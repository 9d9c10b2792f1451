/* The walk along every path of a procedure. */
#include "procedures/engine/walk.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/type_sheet.h"

void es_walk_spend(struct es_walk *w, const struct es_step *s, double bench, double people)
{
    w->bench_time += bench;
    w->people_time += people;
    if (w->unattended && people > 0)
        es_walk_fault(w, s->place, es_step_kind_word(s->kind),
                      "%s: nobody is there to be asked when the run is unattended",
                      s->kind == ES_STEP_TURN_SHAFT || s->kind == ES_STEP_SWEEP_SHAFT
                          ? "a bench with a shaft motor (shaft drive), or a person at the bench"
                          : "a person at the bench");
    for (size_t i = 0; i < w->bound_count; i++) {
        if (w->bounds[i].step != s)
            continue;
        w->bounds[i].bench = fmax(w->bounds[i].bench, bench);
        w->bounds[i].people = fmax(w->bounds[i].people, people);
        return;
    }
    if (w->bound_count == w->bound_capacity) {
        const size_t capacity = w->bound_capacity > 0 ? 2 * w->bound_capacity : 64;
        struct es_step_bound *grown = realloc(w->bounds, capacity * sizeof *grown);
        if (grown == NULL) {
            w->no_memory = true;
            return;
        }
        w->bounds = grown;
        w->bound_capacity = capacity;
    }
    w->bounds[w->bound_count++] = (struct es_step_bound){s, bench, people};
}

const struct es_step_bound *es_walk_bound(const struct es_walk *w, const struct es_step *s)
{
    for (size_t i = 0; i < w->bound_count; i++)
        if (w->bounds[i].step == s)
            return &w->bounds[i];
    return NULL;
}

void es_walk_band(struct es_walk *w, const struct es_condition *c, double *low, double *high)
{
    double near = NAN, within = es_role_info(c->role)->is_state ? 0.5 : NAN;

    *low = -INFINITY;
    *high = INFINITY;
    if (c->near.kind != ES_AMOUNT_NONE)
        (void)es_walk_resolve(w, &c->near, c->role, &near);
    if (c->within.kind != ES_AMOUNT_NONE && es_walk_resolve(w, &c->within, c->role, &within) && within <= 0)
        es_walk_fault(w, c->within.place, c->within.text, "more than nothing");
    if (isfinite(near) && isfinite(within)) {
        *low = near - within;
        *high = near + within;
    }
    const bool has_low = c->above.kind != ES_AMOUNT_NONE && es_walk_resolve(w, &c->above, c->role, low);
    const bool has_high = c->below.kind != ES_AMOUNT_NONE && es_walk_resolve(w, &c->below, c->role, high);
    if (has_low && has_high && *low >= *high)
        es_walk_fault(w, c->above.place, c->above.text, "\"above\" less than \"below\": nothing is between");
}

static void walk_condition(struct es_walk *w, const struct es_step *s)
{
    const struct es_condition c = es_step_condition(s);
    double low, high;

    es_walk_need(w, s->role, s->place, ES_WALK_READ, s->where_fitted);
    es_walk_band(w, &c, &low, &high);
}

static void walk_wait(struct es_walk *w, const struct es_step *s)
{
    walk_condition(w, s);
    const double most = es_walk_time(w, &s->at_most);
    const double dwell = s->duration.kind != ES_AMOUNT_NONE ? es_walk_time(w, &s->duration) : 0;
    if (dwell > most && most > 0)
        es_walk_fault(w, s->at_most.place, s->at_most.text, "at least as long as \"for\"");
    es_walk_spend(w, s, most, 0);
}

static void walk_list(struct es_walk *w, const struct es_step *s)
{
    const double hold = es_walk_time(w, &s->hold);

    es_walk_need(w, s->role, s->place, ES_WALK_WRITE, s->where_fitted);
    for (size_t i = 0; i < s->list_count; i++)
        es_walk_command(w, s->role, &s->list[i], true);
    es_walk_spend(w, s, (double)s->list_count * (hold + ES_ALLOW_WRITE), 0);
}

static void walk_staircase(struct es_walk *w, const struct es_step *s)
{
    const double hold = es_walk_time(w, &s->hold);
    const double stairs = (double)s->stairs, times = (double)s->times;
    const double writes = s->and_back ? 1 + 2 * stairs * times : (1 + stairs) * times;

    /* All stairs lie between the two ends, so that the ends speak for them. */
    es_walk_need(w, s->role, s->place, ES_WALK_WRITE, s->where_fitted);
    es_walk_command(w, s->role, &s->from, true);
    es_walk_command(w, s->role, &s->to, true);
    if (s->and_back)
        es_walk_command(w, s->role, &s->from, true);
    es_walk_spend(w, s, writes * (hold + ES_ALLOW_WRITE), 0);
}

static void walk_vent(struct es_walk *w, const struct es_step *s)
{
    static const enum es_role pressure[2] = {ES_ROLE_OUTPUT_1_PRESSURE, ES_ROLE_OUTPUT_2_PRESSURE};
    static const enum es_role valves[2][2] = {{ES_ROLE_OUTPUT_1_ISOLATING, ES_ROLE_OUTPUT_1_VENT},
                                              {ES_ROLE_OUTPUT_2_ISOLATING, ES_ROLE_OUTPUT_2_VENT}};
    double below;

    for (size_t i = 0; i < 2; i++) {
        /* A single-acting unit has no output 2: the step then does without. */
        if (!s->outputs[i] || (i == 1 && !es_when_applies(ES_WHEN_DOUBLE, w->type)))
            continue;
        const unsigned context = w->context;
        if (i == 1)
            w->context |= 1u << ES_WHEN_DOUBLE;
        es_walk_need(w, pressure[i], s->place, ES_WALK_READ, false);
        es_walk_need(w, valves[i][0], s->place, ES_WALK_WRITE, false);
        es_walk_need(w, valves[i][1], s->place, ES_WALK_WRITE, false);
        w->context = context;
        w->ranges[valves[i][0]] = (struct es_range){true, 0, 0};
        w->ranges[valves[i][1]] = (struct es_range){true, 1, 1};
    }
    if (s->below.kind != ES_AMOUNT_NONE && es_walk_resolve(w, &s->below, ES_ROLE_OUTPUT_1_PRESSURE, &below) &&
        below <= 0)
        es_walk_fault(w, s->below.place, s->below.text, "more than nothing: a transducer's zero drifts");
    es_walk_spend(w, s, es_walk_time(w, &s->at_most) + 4 * ES_ALLOW_WRITE, 0);
}

static void walk_one(struct es_walk *w, const struct es_step *s)
{
    switch (s->kind) {
    case ES_STEP_SET:
        es_walk_need(w, s->role, s->place, ES_WALK_WRITE, s->where_fitted);
        es_walk_command(w, s->role, &s->to, true);
        es_walk_spend(w, s, ES_ALLOW_WRITE, 0);
        break;
    case ES_STEP_RAMP: {
        es_walk_need(w, s->role, s->place, ES_WALK_WRITE, s->where_fitted);
        const double time = es_walk_ramp(w, s->role, &s->to, &s->at);
        es_walk_command(w, s->role, &s->to, false);
        es_walk_spend(w, s, time + 2 * ES_ALLOW_WRITE, 0);
        break;
    }
    case ES_STEP_WAIT:
        walk_wait(w, s);
        break;
    case ES_STEP_HOLD:
        es_walk_spend(w, s, es_walk_time(w, &s->duration), 0);
        break;
    case ES_STEP_RECORD:
        es_walk_record(w, s);
        break;
    case ES_STEP_TURN_SHAFT:
        es_walk_turn(w, s);
        break;
    case ES_STEP_SWEEP_SHAFT:
        es_walk_sweep(w, s);
        break;
    case ES_STEP_STEPS:
        walk_list(w, s);
        break;
    case ES_STEP_STAIRCASE:
        walk_staircase(w, s);
        break;
    case ES_STEP_ISOLATE_VENT:
        walk_vent(w, s);
        break;
    case ES_STEP_ASK:
    case ES_STEP_CONFIRM:
        es_walk_spend(w, s, 0, es_walk_time(w, &s->at_most));
        break;
    case ES_STEP_REPEAT:
        es_walk_repeat(w, s);
        break;
    case ES_STEP_SKIP_UNLESS:
        walk_condition(w, s);
        break;
    default:
        break;
    }
}

static bool needs_role(enum es_step_kind kind)
{
    return kind == ES_STEP_SET || kind == ES_STEP_RAMP || kind == ES_STEP_WAIT || kind == ES_STEP_STEPS ||
           kind == ES_STEP_STAIRCASE || kind == ES_STEP_SKIP_UNLESS;
}

/* A step that may be left out leaves every output either as before or as after it. */
static void walk_maybe(struct es_walk *w, const struct es_step *s)
{
    struct es_range before[ES_ROLE_COUNT];
    const char *shaft = w->shaft_text;

    memcpy(before, w->ranges, sizeof before);
    walk_one(w, s);
    for (size_t i = 0; i < ES_ROLE_COUNT; i++) {
        w->ranges[i].known = w->ranges[i].known && before[i].known;
        w->ranges[i].low = fmin(w->ranges[i].low, before[i].low);
        w->ranges[i].high = fmax(w->ranges[i].high, before[i].high);
    }
    if (w->shaft_text != shaft)
        w->shaft_text = NULL;
}

/* False when this bench has what the step stands in for. */
static bool walk_where_not_fitted(struct es_walk *w, const struct es_step *s)
{
    if (s->where_not_fitted == ES_ROLE_NONE)
        return true;
    const struct es_need *need = es_find_need(w->procedure, s->where_not_fitted, w->type);
    if (need == NULL || !need->where_fitted)
        es_walk_fault(w, s->place, es_role_info(s->where_not_fitted)->name,
                      "under \"where not fitted\" a role that stands under \"where fitted\" of \"needs\"");
    return w->view == NULL || !es_view_has(w->view, s->where_not_fitted);
}

static void walk_step(struct es_walk *w, const struct es_step *s)
{
    const unsigned context = w->context;

    if (!es_when_applies(s->when, w->type))
        return;
    if (needs_role(s->kind) && s->role == ES_ROLE_NONE)
        return;
    if (s->where_fitted && !needs_role(s->kind)) {
        es_walk_fault(w, s->place, "\"where fitted\"",
                      "\"where fitted\" only with a step that has a \"role\"");
        return;
    }
    if (s->where_fitted && !es_view_has(w->view, s->role))
        return;
    if (!walk_where_not_fitted(w, s))
        return;
    w->context |= 1u << s->when;
    if ((s->when != ES_WHEN_ALWAYS && w->type == NULL) ||
        ((s->where_fitted || s->where_not_fitted != ES_ROLE_NONE) && w->view == NULL))
        walk_maybe(w, s);
    else
        walk_one(w, s);
    w->context = context;
}

void es_walk_steps(struct es_walk *w, const struct es_step *steps, size_t count)
{
    for (size_t i = 0; i < count; i++)
        walk_step(w, &steps[i]);
}

/* A bench whose test actuator moves the other way cannot test this type. */
static void check_motion(struct es_walk *w)
{
    const struct es_need *need = es_find_need(w->procedure, ES_ROLE_TRAVEL, w->type);

    if (need == NULL || w->view == NULL || w->type == NULL || !w->view->roles[ES_ROLE_TRAVEL].present)
        return;
    const enum es_dimension wanted = w->type->motion == ES_PART_TURN ? ES_DIM_ANGLE : ES_DIM_LENGTH;
    const enum es_dimension is = w->view->roles[ES_ROLE_TRAVEL].dimension;
    if (is != wanted)
        es_walk_fault(w, need->place, "travel",
                      "a bench whose travel is %s, for a %s unit; that of station \"%s\" is %s",
                      wanted == ES_DIM_ANGLE ? "an angle" : "a length", es_motion_word(w->type->motion),
                      w->view->station, is == ES_DIM_ANGLE ? "an angle" : "a length");
}

/* Every procedure begins in the bench's safe state (es_port.rest). */
static void begin(struct es_walk *w)
{
    for (size_t i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_station_role *r = w->view != NULL ? &w->view->roles[i] : NULL;
        if (r == NULL) /* told by the note on ceilings: no bench file */
            w->ranges[i] = (struct es_range){true, 0, 0};
        else if (r->safe_known)
            w->ranges[i] = (struct es_range){true, r->safe, r->safe};
    }
    if (w->view == NULL)
        es_walk_note(
            w, "where the outputs stand in the bench's safe state (taken as 0): no bench file was given");
    w->context = 1u << ES_WHEN_ALWAYS;
    if (w->type != NULL)
        for (int when = ES_WHEN_ALWAYS + 1; when < ES_WHEN_COUNT; when++)
            if (es_when_applies((enum es_when)when, w->type))
                w->context |= 1u << when;
    w->bench_time = (w->view != NULL ? w->view->safe_within : ES_ALLOW_REST) + ES_ALLOW_EVALUATE;
}

enum es_status es_walk_procedure(struct es_walk *walk, const struct es_procedure *procedure,
                                 const struct es_station_view *view, const struct es_type *type,
                                 bool unattended, struct es_findings *findings,
                                 struct es_check_report *report, struct es_error *err)
{
    *walk = (struct es_walk){.procedure = procedure,
                             .view = view,
                             .type = type,
                             .findings = findings,
                             .report = report,
                             .unattended = unattended};
    begin(walk);
    check_motion(walk);
    es_walk_steps(walk, procedure->steps, procedure->step_count);
    if (walk->no_memory) {
        es_walk_free(walk);
        return es_fail(err, ES_NO_MEMORY, "no memory for the proof of %s", procedure->name);
    }
    return ES_OK;
}

void es_walk_free(struct es_walk *walk)
{
    free(walk->bounds);
    free(walk->recordings);
    *walk = (struct es_walk){0};
}

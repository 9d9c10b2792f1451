/* The walk through blocks: recordings, the shaft, repetitions. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/walk.h"

#define MOST_RATE    2000.0 /* Hz */
#define MOST_SAMPLES 2e7    /* of one recording: 300 MB at worst */
#define COUPLE_TIME  0.5    /* s for the coupling to close; as in execute_shaft.c */
#define HALF_TURN    3.14159265358979323846
#define MOST_NESTED  4      /* repetitions within each other: each doubles the walk */
#define MOST_REPEAT  8.64e6 /* s that a repetition may take: 100 days */

static bool among(const enum es_role *roles, size_t count, enum es_role role)
{
    for (size_t i = 0; i < count; i++)
        if (roles[i] == role)
            return true;
    return false;
}

static void keep_recording(struct es_walk *w, const struct es_step *s)
{
    for (size_t i = 0; i < w->recording_count; i++) {
        if (w->recordings[i].step == s)
            return;
        if (!w->silent && strcmp(w->recordings[i].step->recording, s->recording) == 0)
            es_walk_fault(w, s->place, s->recording, "another name: an earlier recording has this one");
    }
    struct es_walk_recording *grown =
        realloc(w->recordings, (w->recording_count + 1) * sizeof *w->recordings);
    if (grown == NULL) {
        w->no_memory = true;
        return;
    }
    w->recordings = grown;
    w->recordings[w->recording_count++] = (struct es_walk_recording){s, w->context};
}

static void check_rate(struct es_walk *w, const struct es_step *s, double longest)
{
    double rate;

    if (s->rate.kind == ES_AMOUNT_NONE || !es_walk_resolve(w, &s->rate, ES_ROLE_NONE, &rate))
        return;
    if (rate <= 0 || rate > MOST_RATE) {
        es_walk_fault(w, s->rate.place, s->rate.text, "a rate above 0 Hz and up to %.0f Hz", MOST_RATE);
        return;
    }
    enum es_role roles[ES_ROLE_COUNT];
    if (rate * longest * (double)es_recording_roles(s, roles) > MOST_SAMPLES)
        es_walk_fault(w, s->rate.place, s->rate.text, "at most %.0f million samples in one recording",
                      MOST_SAMPLES / 1e6);
    double least = 0;
    if (s->rate_least.kind != ES_AMOUNT_NONE && es_walk_resolve(w, &s->rate_least, ES_ROLE_NONE, &least) &&
        (least <= 0 || least > rate))
        es_walk_fault(w, s->rate_least.place, s->rate_least.text,
                      "more than nothing, and at most the rate itself");
    enum es_role slowest = ES_ROLE_NONE;
    if (es_recording_rate(s, w->view, w->type, &rate, &slowest, NULL) == ES_RANGE)
        es_walk_fault(w, s->rate.place, s->rate.text, "at most %.3g Hz, what this bench reaches for %s",
                      w->view->roles[slowest].rate, es_role_info(slowest)->name);
    if (w->view == NULL)
        es_walk_note(w, "whether the bench reaches the sampling rates: no bench file was given");
}

static void check_roles(struct es_walk *w, const struct es_step *s)
{
    for (size_t i = 0; i < s->role_count; i++)
        es_walk_need(w, s->roles[i], s->place, ES_WALK_RECORD, true);
    for (size_t i = 0; i < s->draw_count; i++)
        if (!among(s->roles, s->role_count, s->draw[i]))
            es_walk_fault(w, s->place, es_role_info(s->draw[i])->name,
                          "under \"draw\" only roles that are recorded");
    for (size_t i = 0; i < s->along_count; i++)
        es_walk_need(w, s->along[i], s->place, ES_WALK_RECORD, true);
    if (!s->until_settled)
        return;
    if (!among(s->roles, s->role_count, s->role))
        es_walk_fault(w, s->place, es_role_info(s->role)->name,
                      "under \"until settled\" a role that is recorded");
    else
        es_walk_need(w, s->role, s->place, ES_WALK_READ, false);
}

/* An output that the procedure itself leaves outside a band would never let the recording be measured. */
static void check_output(struct es_walk *w, const struct es_condition *c, double low, double high)
{
    const struct es_range *now = &w->ranges[c->role];

    if (now->known && (now->low < low || now->high > high))
        es_walk_fault(w, c->place, es_role_info(c->role)->name,
                      "an output that the steps before and in the recording put where it must be throughout");
}

static void check_watched(struct es_walk *w, const struct es_step *s, const struct es_condition *c)
{
    const struct es_station_role *r = w->view != NULL ? &w->view->roles[c->role] : NULL;
    const struct es_need *need = es_find_need(w->procedure, c->role, w->type);
    char text[400];

    if (r == NULL || (need != NULL && !es_when_applies(need->when, w->type)))
        return;
    if (!r->present && need != NULL && need->where_fitted && w->report != NULL && !w->silent) {
        (void)snprintf(text, sizeof text, "nothing watches %s during \"%.120s\": the bench has none",
                       es_role_info(c->role)->name, s->recording);
        es_report_sentence(w->report, true, &w->no_memory, text);
    }
    if (r->present && r->rate > 0 && r->rate < ES_LEAST_ALONG)
        es_walk_fault(
            w, c->place, es_role_info(c->role)->name,
            "under \"throughout\" a role that the bench reads at least %g times a second; it reads this "
            "%.3g times",
            ES_LEAST_ALONG, r->rate);
}

/* The conditions before the recording's steps and, for outputs, after them. */
static void check_throughout(struct es_walk *w, const struct es_step *s, bool before)
{
    for (size_t i = 0; i < s->throughout_count; i++) {
        const struct es_condition *c = &s->throughout[i];
        double low, high;
        if (c->role == ES_ROLE_NONE)
            continue;
        const bool silent = w->silent;
        w->silent = silent || !before; /* the same words once */
        es_walk_need(w, c->role, c->place, ES_WALK_HELD, true);
        es_walk_band(w, c, &low, &high);
        check_watched(w, s, c);
        w->silent = silent;
        if (es_role_info(c->role)->direction == ES_OUT)
            check_output(w, c, low, high);
    }
}

void es_walk_record(struct es_walk *w, const struct es_step *s)
{
    const double before = w->bench_time + w->people_time;

    if (s->recording == NULL)
        return;
    if (w->repeats > 0)
        es_walk_fault(w, s->place, s->recording,
                      "a recording outside \"repeat\"; let the recording hold the repetition");
    keep_recording(w, s);
    check_roles(w, s);
    check_throughout(w, s, true);
    double own = ES_ALLOW_RECORD;
    if (s->until_settled) {
        double within;
        const double dwell = es_walk_time(w, &s->duration), most = es_walk_time(w, &s->at_most);
        (void)es_walk_resolve(w, &s->within, s->role, &within);
        if (dwell > most && most > 0)
            es_walk_fault(w, s->at_most.place, s->at_most.text, "at least as long as \"for\"");
        own += most;
    } else if (s->step_count == 0) {
        own += es_walk_time(w, &s->duration);
    }
    es_walk_steps(w, s->steps, s->step_count);
    if (s->step_count > 0)
        check_throughout(w, s, false);
    es_walk_spend(w, s, own, 0);
    check_rate(w, s, w->bench_time + w->people_time - before);
}

/* The longest way of the motor to an angle when nothing is known of where motor and shaft stand: first to
 * the shaft, then with it to the angle. */
static double longest_way(const struct es_walk *w, double angle)
{
    const struct es_station_role *r = w->view != NULL ? &w->view->roles[ES_ROLE_SHAFT_DRIVE] : NULL;

    if (r == NULL || !isfinite(r->highest) || !isfinite(r->lowest))
        return 3 * HALF_TURN;
    return r->highest - r->lowest + fmax(fabs(r->highest - angle), fabs(angle - r->lowest));
}

static bool shaft_speed(struct es_walk *w, const struct es_step *s, double *speed)
{
    if (!es_walk_resolve(w, &s->at, ES_ROLE_SHAFT_DRIVE, speed))
        return false;
    if (*speed <= 0) {
        es_walk_fault(w, s->at.place, s->at.text, "more than nothing");
        return false;
    }
    const struct es_station_role *r = w->view != NULL ? &w->view->roles[ES_ROLE_SHAFT_DRIVE] : NULL;
    if (r != NULL && r->present && *speed > r->slew * (1 + 1e-9))
        es_walk_fault(w, s->at.place, s->at.text, "at most the bench's slew limit for shaft drive");
    return true;
}

static void shaft_times(struct es_walk *w, const struct es_step *s, double bench)
{
    const double people = es_walk_time(w, &s->at_most);
    const bool motor = es_view_has(w->view, ES_ROLE_SHAFT_DRIVE);
    const bool sure = w->view != NULL;

    es_walk_spend(w, s, motor ? bench : 0, sure && motor ? 0 : people);
}

void es_walk_turn(struct es_walk *w, const struct es_step *s)
{
    double to, speed, time = 0;

    es_walk_need(w, ES_ROLE_SHAFT_DRIVE, s->place, ES_WALK_WRITE, true);
    es_walk_need(w, ES_ROLE_SHAFT_ANGLE, s->place, ES_WALK_READ, false);
    if (shaft_speed(w, s, &speed) && es_walk_resolve(w, &s->to, ES_ROLE_SHAFT_DRIVE, &to))
        time = longest_way(w, to) / speed;
    es_walk_command(w, ES_ROLE_SHAFT_DRIVE, &s->to, false);
    w->shaft_text = s->to.text;
    shaft_times(w, s, time + COUPLE_TIME + 4 * ES_ALLOW_WRITE);
}

void es_walk_sweep(struct es_walk *w, const struct es_step *s)
{
    double from, to, speed, time = 0;

    es_walk_need(w, ES_ROLE_SHAFT_DRIVE, s->place, ES_WALK_WRITE, true);
    if (w->shaft_text == NULL || s->from.text == NULL || strcmp(w->shaft_text, s->from.text) != 0)
        es_walk_fault(w, s->place, s->from.text,
                      "the shaft to stand at \"from\" already: turn it there by \"turn shaft\" before");
    if (shaft_speed(w, s, &speed) && es_walk_resolve(w, &s->from, ES_ROLE_SHAFT_DRIVE, &from) &&
        es_walk_resolve(w, &s->to, ES_ROLE_SHAFT_DRIVE, &to)) {
        time = 2 * (double)s->times * fabs(to - from) / speed;
        if (to == from)
            es_walk_fault(w, s->to.place, s->to.text, "another angle than \"from\"");
    }
    es_walk_command(w, ES_ROLE_SHAFT_DRIVE, &s->to, false);
    es_walk_command(w, ES_ROLE_SHAFT_DRIVE, &s->from, false);
    shaft_times(w, s, time + (2 * (double)s->times + 1) * ES_ALLOW_WRITE);
}

static void join(struct es_range *into, const struct es_range *other)
{
    into->known = into->known && other->known;
    into->low = fmin(into->low, other->low);
    into->high = fmax(into->high, other->high);
}

/* Twice through the body: once to learn where it leaves the outputs, once more from every place where it can
 * begin. What it commands does not depend on where it began, so that a third pass would add nothing. */
void es_walk_repeat(struct es_walk *w, const struct es_step *s)
{
    struct es_range before[ES_ROLE_COUNT];
    const bool was_silent = w->silent;
    const double bench = w->bench_time, people = w->people_time;

    if (w->repeats >= MOST_NESTED) {
        es_walk_fault(w, s->place, "repeat", "at most %d repetitions within each other", MOST_NESTED);
        return;
    }
    memcpy(before, w->ranges, sizeof before);
    w->repeats++;
    w->silent = true;
    es_walk_steps(w, s->steps, s->step_count);
    w->silent = was_silent;
    for (size_t i = 0; i < ES_ROLE_COUNT; i++)
        join(&w->ranges[i], &before[i]);
    w->bench_time = bench;
    w->people_time = people;
    es_walk_steps(w, s->steps, s->step_count);
    w->repeats--;
    const double once = w->bench_time - bench, all = (double)s->times * once;
    const double most = s->at_most.kind != ES_AMOUNT_NONE ? es_walk_time(w, &s->at_most) : INFINITY;
    w->bench_time = bench + fmin(all, most + once); /* it may be begun just before the longest time */
    w->people_time = people + (double)s->times * (w->people_time - people);
    const double taken = w->bench_time - bench + w->people_time - people;
    if (taken > MOST_REPEAT)
        es_walk_fault(w, s->place, "repeat",
                      "a repetition that is over within 100 days; this one may take %.3g", taken / 86400);
}

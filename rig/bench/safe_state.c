#include "rig/bench/safe_state.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Air that a person must know of before reaching in. */
#define PRESSURE_LEFT 2e4 /* Pa */

/* How often the outcome of something pending is looked at. */
#define LOOK_AGAIN (2 * ES_NS_PER_S / 1000)

/* An instrument that refuses may just be busy. */
#define TRY_AGAIN (ES_NS_PER_S / 10)

const char *es_safe_outcome_word(enum es_safe_outcome o)
{
    static const char *const words[] = {"waiting", "done", "unproved", "not done"};
    return words[o];
}

void es_safe_init(struct es_safe_sequence *s, const struct es_bench_station *station,
                  const struct es_safe_hands *hands)
{
    *s = (struct es_safe_sequence){.station = station, .hands = *hands};
}

void es_safe_begin(struct es_safe_sequence *s, es_time cause, es_time now, const char *why)
{
    struct es_safe_report *r = &s->report;
    *r = (struct es_safe_report){.allowed = s->station->safe_within, .count = s->station->safe_write_count};
    snprintf(r->cause, sizeof r->cause, "%s", why);
    for (size_t i = 0; i < r->count; i++) {
        r->steps[i].role = s->station->safe_writes[i].role;
        r->steps[i].value = s->station->safe_writes[i].value;
        r->steps[i].at = NAN;
    }
    memset(s->posted, 0, sizeof s->posted);
    memset(s->acknowledged, 0, sizeof s->acknowledged);
    memset(s->again, 0, sizeof s->again);
    s->cause = cause < now ? cause : now;
    s->began = now;
    s->limit = now + es_from_seconds(s->station->safe_within);
    s->at = 0;
    s->phase = ES_SAFE_WRITING;
}

static void not_done(struct es_safe_step *step, const char *why)
{
    step->outcome = ES_SAFE_NOT_DONE;
    snprintf(step->text, sizeof step->text, "%.*s", (int)sizeof step->text - 1, why);
}

/* Takes the outcome of a posted write when it is known. */
static bool take_outcome(struct es_safe_sequence *s, size_t i, es_time now)
{
    struct es_safe_step *step = &s->report.steps[i];
    enum es_status status;
    struct es_error err;
    if (s->acknowledged[i] || step->outcome != ES_SAFE_WAITING) {
        return true;
    }
    if (!s->posted[i] || !s->hands.outcome(s->hands.self, s->tickets[i], &status, &err)) {
        return false;
    }
    if (status != ES_OK) {
        not_done(step, err.text);
        if (now + TRY_AGAIN < s->limit) {
            step->outcome = ES_SAFE_WAITING; /* the reason stands until it is done */
            s->posted[i] = false;
            s->again[i] = now + TRY_AGAIN;
        }
        return true;
    }
    step->text[0] = '\0';
    s->acknowledged[i] = true;
    s->written[i] = now;
    step->at = es_seconds(now - s->began);
    if (es_station_channel(s->station, step->role)->read_back == ES_ROLE_NONE) {
        step->outcome = ES_SAFE_DONE;
    }
    return true;
}

/* Reads back what has an input that shows it. True when the step is decided. */
static bool prove(struct es_safe_sequence *s, size_t i, es_time now)
{
    struct es_safe_step *step = &s->report.steps[i];
    if (step->outcome != ES_SAFE_WAITING) {
        return true;
    }
    if (!s->acknowledged[i]) {
        return false;
    }
    const struct es_bench_channel *c = es_station_channel(s->station, step->role);
    double value = NAN;
    bool seen = s->hands.newest(s->hands.self, c->read_back, s->written[i], &value);
    if (seen && fabs(value - step->value) <= c->read_back_within) {
        step->outcome = ES_SAFE_DONE;
        return true;
    }
    if (now < s->written[i] + es_from_seconds(c->read_back_after) && now < s->limit) {
        return false;
    }
    char text[64] = "no good reading";
    if (seen) {
        es_quantity_format(value, es_station_channel(s->station, c->read_back)->unit, 3, text, sizeof text);
    }
    step->outcome = ES_SAFE_UNPROVED;
    snprintf(step->text, sizeof step->text, "acknowledged, but \"%s\" shows %s",
             es_role_info(c->read_back)->name, text);
    return true;
}

static void post(struct es_safe_sequence *s, size_t i)
{
    struct es_safe_step *step = &s->report.steps[i];
    struct es_error err;
    enum es_status status =
        s->hands.post(s->hands.self, step->role, step->value, s->limit, &s->tickets[i], &err);
    s->posted[i] = status == ES_OK;
    if (status != ES_OK) {
        not_done(step, err.text);
    }
}

/* What was refused and is due again. */
static void post_again(struct es_safe_sequence *s, es_time now)
{
    for (size_t i = 0; i < s->report.count; i++) {
        if (!s->posted[i] && s->again[i] != 0 && now >= s->again[i] &&
            s->report.steps[i].outcome == ES_SAFE_WAITING) {
            post(s, i);
        }
    }
}

static void post_next(struct es_safe_sequence *s, es_time now)
{
    const struct es_safe_step *step = &s->report.steps[s->at];
    post(s, s->at);
    /* What is left of the time is shared out, so that a mute bus cannot starve the writes behind it. */
    es_time left = s->limit > now ? s->limit - now : 0;
    s->step_deadline = now;
    if (s->hands.bus_up(s->hands.self, step->role)) {
        s->step_deadline += left / (es_time)(s->report.count - s->at + 1);
    }
}

static void write_next(struct es_safe_sequence *s, es_time now)
{
    struct es_safe_step *step = &s->report.steps[s->at];
    if (!s->posted[s->at] && step->outcome == ES_SAFE_WAITING) {
        post_next(s, now);
    }
    if (take_outcome(s, s->at, now) || now >= s->step_deadline) {
        s->next = now + es_from_seconds(s->station->safe_writes[s->at].wait_after);
        s->phase = ES_SAFE_PAUSE;
    }
}

static void say_air(const struct es_safe_sequence *s, char *text, size_t size)
{
    static const enum es_role roles[] = {ES_ROLE_SUPPLY_PRESSURE, ES_ROLE_OUTPUT_1_PRESSURE,
                                         ES_ROLE_OUTPUT_2_PRESSURE};
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        double p;
        const struct es_bench_channel *c = es_station_channel(s->station, roles[i]);
        if (!c || !s->hands.newest(s->hands.self, roles[i], s->began, &p) || p < PRESSURE_LEFT) {
            continue;
        }
        char value[48];
        size_t used = strlen(text);
        es_quantity_format(p, c->unit, 2, value, sizeof value);
        snprintf(text + used, size - used, " There is still air: \"%s\" shows %s.",
                 es_role_info(roles[i])->name, value);
    }
}

/* Adds an output and its reason to the list; by name alone when the sentence grows too long. */
static void name_step(const struct es_safe_step *step, char *list, size_t size, size_t *told)
{
    char item[256];
    size_t used = strlen(list);
    const char *name = es_role_info(step->role)->name, *comma = (*told)++ ? ", " : "";
    snprintf(item, sizeof item, "%s\"%s\" (%s)", comma, name, step->text);
    if (used + strlen(item) + 12 > size) {
        snprintf(item, sizeof item, "%s\"%s\"", comma, name);
    }
    if (used + strlen(item) + 12 <= size) {
        snprintf(list + used, size - used, "%s", item);
    } else if (!strstr(list, "and others")) {
        snprintf(list + used, size - used, ", and others");
    }
}

static void say(struct es_safe_sequence *s)
{
    struct es_safe_report *r = &s->report;
    size_t open = 0, unproved = 0, told = 0;
    char list[320] = "";
    for (size_t i = 0; i < r->count; i++) {
        bool bad = r->steps[i].outcome == ES_SAFE_NOT_DONE;
        open += bad;
        unproved += r->steps[i].outcome == ES_SAFE_UNPROVED;
        if (bad || r->steps[i].outcome == ES_SAFE_UNPROVED) {
            name_step(&r->steps[i], list, sizeof list, &told);
        }
    }
    if (open) {
        snprintf(r->sentence, sizeof r->sentence,
                 "NOT SAFE: %zu of %zu outputs could not be put into the safe state: %s. Press the emergency "
                 "stop, shut the air off by hand, do not reach in.",
                 open, r->count, list);
    } else if (unproved) {
        snprintf(
            r->sentence, sizeof r->sentence,
            "All %zu outputs were put into the safe state, but not all of them prove it: %s. Look before "
            "you reach in.",
            r->count, list);
    } else {
        snprintf(r->sentence, sizeof r->sentence, "All %zu outputs are in the safe state.", r->count);
    }
    if (r->late) {
        size_t used = strlen(r->sentence);
        snprintf(r->sentence + used, sizeof r->sentence - used,
                 " It took %.2f s from the cause, and the bench file allows %.2f s: find out what is slow.",
                 r->seconds, r->allowed);
    }
    say_air(s, r->sentence, sizeof r->sentence);
}

static void finish(struct es_safe_sequence *s, es_time now)
{
    struct es_safe_report *r = &s->report;
    r->reached = true;
    for (size_t i = 0; i < r->count; i++) {
        if (r->steps[i].outcome == ES_SAFE_WAITING && r->steps[i].text[0] == '\0') {
            not_done(&r->steps[i], "no answer in the time allowed");
        } else if (r->steps[i].outcome == ES_SAFE_WAITING) {
            r->steps[i].outcome = ES_SAFE_NOT_DONE;
        }
        r->reached &= r->steps[i].outcome != ES_SAFE_NOT_DONE;
    }
    /* The last outcome, not the last read-back: when the outputs were where they belong. */
    es_time last = s->began;
    for (size_t i = 0; i < r->count; i++) {
        if (s->acknowledged[i] && s->written[i] > last) {
            last = s->written[i];
        }
    }
    r->seconds = es_seconds((r->reached ? last : now) - s->cause);
    r->late = r->reached && r->seconds > r->allowed;
    say(s);
    s->phase = ES_SAFE_END;
}

/* Pending outcomes and read-backs; the end when all are known or the time is over. */
static void prove_all(struct es_safe_sequence *s, es_time now)
{
    bool all = true;
    for (size_t i = 0; i < s->report.count; i++) {
        all &= take_outcome(s, i, now);
        all &= prove(s, i, now);
    }
    if (all || now >= s->limit) {
        finish(s, now);
    }
}

bool es_safe_step(struct es_safe_sequence *s, es_time now, es_time *next)
{
    bool again = true;
    *next = now + LOOK_AGAIN;
    if (s->phase != ES_SAFE_IDLE && s->phase != ES_SAFE_END) {
        post_again(s, now);
    }
    while (again) {
        again = false;
        switch (s->phase) {
        case ES_SAFE_IDLE:
        case ES_SAFE_END:
            return false;
        case ES_SAFE_WRITING:
            if (s->at >= s->report.count) {
                s->phase = ES_SAFE_PROVING;
                again = true;
                break;
            }
            write_next(s, now);
            again = s->phase == ES_SAFE_PAUSE;
            break;
        case ES_SAFE_PAUSE:
            assert(s->at < s->report.count);
            if (now >= s->next) {
                s->at++;
                s->phase = ES_SAFE_WRITING;
                again = true;
            } else if (s->next < *next) {
                *next = s->next;
            }
            break;
        case ES_SAFE_PROVING:
            prove_all(s, now);
            again = s->phase == ES_SAFE_END;
            break;
        }
    }
    return s->phase != ES_SAFE_END;
}

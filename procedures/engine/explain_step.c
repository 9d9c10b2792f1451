/* One step as a sentence. */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/explain.h"
#include "procedures/engine/say.h"
#include "procedures/judgement/type_sheet.h"

struct sentence {
    char *out;
    size_t size, length;
    bool brief;
};

static void say(struct sentence *t, const char *format, ...) ES_PRINTF(2, 3);
static void say(struct sentence *t, const char *format, ...)
{
    va_list args;
    const size_t left = t->length < t->size ? t->size - t->length : 0;

    va_start(args, format);
    const int n = vsnprintf(left > 0 ? t->out + t->length : NULL, left, format, args);
    va_end(args);
    if (n > 0)
        t->length += (size_t)n;
}

void es_say_amount(const struct es_amount *a, enum es_role role, const struct es_type *type, char *out,
                   size_t size)
{
    double value;
    char number[48];
    const struct es_type_quantity *q;

    if (a->kind == ES_AMOUNT_NONE) {
        (void)snprintf(out, size, "?");
    } else if (a->kind == ES_AMOUNT_NAMED) {
        q = type != NULL ? es_type_quantity(type, a->text) : NULL;
        if (q == NULL) {
            (void)snprintf(out, size, "%s", a->text);
            return;
        }
        (void)es_quantity_format(q->written.value, q->written.unit, q->written.decimals, number,
                                 sizeof number);
        (void)snprintf(out, size, "%s (%s)", a->text, number);
    } else if (a->kind == ES_AMOUNT_SHARE && role == ES_ROLE_LOOP_DEMAND && type != NULL &&
               es_amount_resolve(a, role, type, &value, NULL) == ES_OK) {
        const enum es_dimension d = a->use == ES_AMOUNT_RATE ? ES_DIM_CURRENT_RATE : ES_DIM_CURRENT;
        (void)es_quantity_format(value, es_dimension_unit(d), 2, number, sizeof number);
        (void)snprintf(out, size, "%s (%s)", a->text, number);
    } else {
        (void)snprintf(out, size, "%s", a->text);
    }
}

#define AMOUNT 96

static void say_one(struct sentence *t, const char *before, const struct es_amount *a, enum es_role role,
                    const struct es_type *type)
{
    char text[AMOUNT];

    es_say_amount(a, role, type, text, sizeof text);
    say(t, "%s%s", before, text);
}

/* `is`: "is" or "stays". */
static void say_band(struct sentence *t, const struct es_condition *s, const char *is,
                     const struct es_type *type)
{
    say(t, "the %s %s", es_role_info(s->role)->name, is);
    if (s->near.kind != ES_AMOUNT_NONE) {
        if (s->within.kind != ES_AMOUNT_NONE)
            say_one(t, " within ", &s->within, s->role, type);
        say_one(t, s->within.kind != ES_AMOUNT_NONE ? " of " : " ", &s->near, s->role, type);
        return;
    }
    if (s->above.kind != ES_AMOUNT_NONE)
        say_one(t, " above ", &s->above, s->role, type);
    if (s->below.kind != ES_AMOUNT_NONE)
        say_one(t, s->above.kind != ES_AMOUNT_NONE ? " and below " : " below ", &s->below, s->role, type);
}

static void say_condition(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    const struct es_condition c = es_step_condition(s);

    if (s->near.kind != ES_AMOUNT_NONE || s->above.kind != ES_AMOUNT_NONE ||
        s->below.kind != ES_AMOUNT_NONE) {
        say_band(t, &c, "is", type);
        return;
    }
    say(t, "the %s", es_role_info(s->role)->name);
    say_one(t, " rests within ", &s->within, s->role, type);
}

static void say_otherwise(struct sentence *t, const struct es_step *s)
{
    static const char *const words[] = {"leave out the rest of this procedure", "go on", "stop the run"};

    if (t->brief)
        return;
    say(t, " If not: %s.", words[s->otherwise]);
}

static void say_set(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    const struct es_role_info *info = es_role_info(s->role);
    const bool one = s->to.value > 0;

    if (s->role == ES_ROLE_SHAFT_COUPLING)
        say(t, one ? "Couple the shaft motor to the shaft." : "Free the shaft from the shaft motor.");
    else if (s->role == ES_ROLE_SELF_ADJUSTMENT)
        say(t, "%s the unit's self-adjustment over its digital channel.", one ? "Start" : "Stop");
    else if (s->role == ES_ROLE_AUXILIARY_SUPPLY)
        say(t, "Switch the %s %s.", info->name, one ? "on" : "off");
    else if (strcmp(s->to.text, "open") == 0)
        say(t, "Open the %s.", info->name);
    else if (strcmp(s->to.text, "shut") == 0)
        say(t, "Shut the %s.", info->name);
    else if (info->is_state)
        say(t, "Set the %s to %s.", info->name, s->to.text);
    else {
        say(t, "Set the %s", info->name);
        say_one(t, " to ", &s->to, s->role, type);
        say(t, " at once.");
    }
}

static void say_wait(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    say(t, "Wait until ");
    say_condition(t, s, type);
    if (s->duration.kind != ES_AMOUNT_NONE)
        say_one(t, " for ", &s->duration, ES_ROLE_NONE, type);
    say_one(t, ", at most ", &s->at_most, ES_ROLE_NONE, type);
    say(t, ".");
    say_otherwise(t, s);
}

/* What it counts on, and what is recorded besides. */
static void say_throughout(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    for (size_t i = 0; i < s->along_count; i++)
        say(t, "%s%s",
            i == 0                    ? " Along with it, where the bench reads it: "
            : i + 1 == s->along_count ? " and "
                                      : ", ",
            es_role_info(s->along[i])->name);
    if (s->along_count > 0)
        say(t, ".");
    for (size_t i = 0; i < s->throughout_count; i++) {
        say(t, "%s", i == 0 ? " It counts only if " : i + 1 == s->throughout_count ? " and " : ", ");
        say_band(t, &s->throughout[i], "stays", type);
    }
    if (s->throughout_count > 0)
        say(t, " throughout; otherwise nothing is measured from it.");
}

static void say_record(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    say(t, "Record \"%s\"", s->recording);
    for (size_t i = 0; i < s->role_count; i++)
        say(t, "%s%s",
            i == 0                   ? ": "
            : i + 1 == s->role_count ? " and "
                                     : ", ",
            es_role_info(s->roles[i])->name);
    say_one(t, ", at ", &s->rate, ES_ROLE_NONE, type);
    if (s->rate_least.kind != ES_AMOUNT_NONE)
        say_one(t, " (on a slower bench at least ", &s->rate_least, ES_ROLE_NONE, type), say(t, ")");
    if (s->until_settled) {
        say(t, ", until the %s has settled", es_role_info(s->role)->name);
        say_one(t, " within ", &s->within, s->role, type);
        say_one(t, " for ", &s->duration, ES_ROLE_NONE, type);
        say_one(t, ", at most ", &s->at_most, ES_ROLE_NONE, type);
    } else if (s->step_count == 0) {
        say_one(t, ", for ", &s->duration, ES_ROLE_NONE, type);
    }
    say(t, ".");
    if (!t->brief)
        say_throughout(t, s, type);
}

static void say_shaft(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    if (s->kind == ES_STEP_TURN_SHAFT) {
        say_one(t, "Turn the shaft to ", &s->to, ES_ROLE_SHAFT_DRIVE, type);
    } else {
        say_one(t, "Sweep the shaft from ", &s->from, ES_ROLE_SHAFT_DRIVE, type);
        say_one(t, " to ", &s->to, ES_ROLE_SHAFT_DRIVE, type);
        say(t, " and back, %ld %s,", s->times, s->times == 1 ? "time" : "times");
    }
    say_one(t, " at ", &s->at, ES_ROLE_SHAFT_DRIVE, type);
    say(t, ".");
    if (t->brief)
        return;
    say(t, " Without a shaft motor the operator is asked: \"%s\"", s->text);
    say_one(t, " (at most ", &s->at_most, ES_ROLE_NONE, type);
    say(t, ").");
}

static void say_list(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    say(t, "Step the %s through ", es_role_info(s->role)->name);
    for (size_t i = 0; i < s->list_count; i++)
        say_one(t,
                i == 0                   ? ""
                : i + 1 == s->list_count ? " and "
                                         : ", ",
                &s->list[i], s->role, s->list_count <= 4 ? type : NULL);
    say_one(t, "; hold each for ", &s->hold, ES_ROLE_NONE, type);
    say(t, ".");
}

static void say_staircase(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    say(t, "Take the %s", es_role_info(s->role)->name);
    say_one(t, " from ", &s->from, s->role, type);
    say_one(t, " to ", &s->to, s->role, type);
    say(t, " in %ld stairs%s", s->stairs, s->and_back ? " and back" : "");
    if (s->times > 1)
        say(t, ", %ld times", s->times);
    say_one(t, "; hold each stair for ", &s->hold, ES_ROLE_NONE, type);
    say(t, ".");
}

static void say_vent(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    say(t, "Isolate and vent %s%s%s: isolating valve shut, vent open; wait until the pressure is",
        s->outputs[0] ? "output 1" : "", s->outputs[0] && s->outputs[1] ? " and " : "",
        s->outputs[1] ? "output 2" : "");
    say_one(t, " below ", &s->below, ES_ROLE_OUTPUT_1_PRESSURE, type);
    say_one(t, ", at most ", &s->at_most, ES_ROLE_NONE, type);
    say(t, ".");
    say_otherwise(t, s);
}

static void say_ask(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    say(t, s->kind == ES_STEP_CONFIRM ? "The operator confirms: \"%s\"" : "The operator is asked: \"%s\"",
        s->text);
    for (size_t i = 0; s->options != NULL && s->options[i] != NULL; i++)
        say(t, "%s%s", i == 0 ? " Answers: " : " / ", s->options[i]);
    if (s->unit != NULL)
        say(t, " Answer in %s.", s->unit->name);
    if (s->caution != NULL)
        say(t, " Caution: %s", s->caution);
    say_one(t, " (at most ", &s->at_most, ES_ROLE_NONE, type);
    say(t, ").");
    if (s->kind == ES_STEP_CONFIRM)
        say_otherwise(t, s);
}

static void say_kind(struct sentence *t, const struct es_step *s, const struct es_type *type)
{
    switch (s->kind) {
    case ES_STEP_SET:
        say_set(t, s, type);
        break;
    case ES_STEP_RAMP:
        say(t, "Bring the %s", es_role_info(s->role)->name);
        say_one(t, " to ", &s->to, s->role, type);
        say_one(t, " at ", &s->at, s->role, type);
        say(t, ".");
        break;
    case ES_STEP_WAIT:
        say_wait(t, s, type);
        break;
    case ES_STEP_HOLD:
        say_one(t, "Hold for ", &s->duration, ES_ROLE_NONE, type);
        say(t, ".");
        break;
    case ES_STEP_RECORD:
        say_record(t, s, type);
        break;
    case ES_STEP_TURN_SHAFT:
    case ES_STEP_SWEEP_SHAFT:
        say_shaft(t, s, type);
        break;
    case ES_STEP_STEPS:
        say_list(t, s, type);
        break;
    case ES_STEP_STAIRCASE:
        say_staircase(t, s, type);
        break;
    case ES_STEP_ISOLATE_VENT:
        say_vent(t, s, type);
        break;
    case ES_STEP_ASK:
    case ES_STEP_CONFIRM:
        say_ask(t, s, type);
        break;
    case ES_STEP_REPEAT:
        say(t, "Repeat %ld times", s->times);
        say_one(t, ", for at most ", &s->at_most, ES_ROLE_NONE, type);
        say(t, ".");
        if (s->at_most.kind != ES_AMOUNT_NONE)
            say_otherwise(t, s);
        break;
    case ES_STEP_SKIP_UNLESS:
        say(t, "Go on only if ");
        say_condition(t, s, type);
        say(t, "; else leave out the rest: %s.", s->reason);
        break;
    default:
        break;
    }
}

size_t es_say_step(const struct es_step *step, const struct es_type *type, bool brief, char *out, size_t size)
{
    struct sentence t = {out, size, 0, brief};

    if (size > 0)
        out[0] = '\0';
    say_kind(&t, step, type);
    return t.length;
}

size_t es_explain_step(const struct es_step *step, const struct es_type *type, char *out, size_t size)
{
    return es_say_step(step, type, false, out, size);
}

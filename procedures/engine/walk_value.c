/* The walk's look at single values: names, dimensions, ceilings, slew. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/walk.h"
#include "procedures/judgement/type_sheet.h"

#define DAY 86400.0

void es_walk_fault(struct es_walk *w, struct es_place place, const char *found, const char *format, ...)
{
    char expected[640];
    va_list args;

    if (w->findings == NULL || w->silent)
        return;
    va_start(args, format);
    (void)vsnprintf(expected, sizeof expected, format, args);
    va_end(args);
    es_findings_add(w->findings, w->procedure->file, place.line, place.column, found, expected, NULL);
}

void es_walk_note(struct es_walk *w, const char *format, ...)
{
    char sentence[640];
    va_list args;

    if (w->report == NULL || w->silent)
        return;
    va_start(args, format);
    (void)vsnprintf(sentence, sizeof sentence, format, args);
    va_end(args);
    es_report_sentence(w->report, false, &w->no_memory, sentence);
}

/* Travel is a length or an angle; which one, the type of unit says. */
static bool right_motion(struct es_walk *w, const struct es_amount *amount, enum es_role role)
{
    if (role != ES_ROLE_TRAVEL || w->type == NULL || amount->kind != ES_AMOUNT_QUANTITY ||
        amount->unit == NULL)
        return true;
    const enum es_dimension d = amount->unit->dimension;
    const bool turn = w->type->motion == ES_PART_TURN;
    if (d != (turn ? ES_DIM_LENGTH : ES_DIM_ANGLE) && d != (turn ? ES_DIM_LENGTH_RATE : ES_DIM_ANGLE_RATE))
        return true;
    es_walk_fault(w, amount->place, amount->text, "%s, for a %s unit; a share (%%) of the travel suits both",
                  turn ? "an angle" : "a length", es_motion_word(w->type->motion));
    return false;
}

bool es_walk_resolve(struct es_walk *w, const struct es_amount *amount, enum es_role role, double *out)
{
    struct es_error err;

    if (amount->kind == ES_AMOUNT_NONE || !right_motion(w, amount, role))
        return false;
    const enum es_status s = es_amount_resolve(amount, role, w->type, out, &err);
    if (s == ES_OK)
        return true;
    if (w->type == NULL)
        es_walk_note(w, "what depends on the type sheet's \"%s\": no type sheet was given", amount->text);
    else
        es_walk_fault(w, amount->place, amount->text, "a quantity of the type sheet: %s", err.text);
    return false;
}

double es_walk_time(struct es_walk *w, const struct es_amount *amount)
{
    double s = 0;
    struct es_error err;

    if (amount->kind == ES_AMOUNT_NAMED && w->type != NULL) {
        const struct es_type_quantity *q = es_type_quantity(w->type, amount->text);
        if (q != NULL && (q->written.unit == NULL || q->written.unit->dimension != ES_DIM_TIME)) {
            es_walk_fault(w, amount->place, amount->text, "a time; the type sheet's quantity is none");
            return 0;
        }
    }
    if (!es_walk_resolve(w, amount, ES_ROLE_NONE, &s))
        return 0;
    if (s <= 0 || s > DAY) {
        es_error_clear(&err);
        es_walk_fault(w, amount->place, amount->text, "a time above 0 s and up to 24 h");
        return 0;
    }
    return s;
}

const struct es_need *es_find_need(const struct es_procedure *p, enum es_role role,
                                   const struct es_type *type)
{
    const struct es_need *any = NULL;

    for (size_t i = 0; i < p->need_count; i++) {
        if (p->needs[i].role != role)
            continue;
        if (any == NULL || (type != NULL && es_when_applies(p->needs[i].when, type)))
            any = &p->needs[i];
    }
    return any;
}

bool es_view_has(const struct es_station_view *view, enum es_role role)
{
    return view == NULL || view->roles[role].present;
}

void es_walk_need(struct es_walk *w, enum es_role role, struct es_place place, enum es_walk_use use,
                  bool where_fitted)
{
    const struct es_role_info *info = es_role_info(role);
    const struct es_need *need = es_find_need(w->procedure, role, w->type);

    if (need == NULL) {
        es_walk_fault(w, place, info->name, "a role that stands under \"needs\"");
        return;
    }
    if (use != ES_WALK_HELD && (use == ES_WALK_WRITE) != (info->direction == ES_OUT)) {
        es_walk_fault(w, place, info->name,
                      use == ES_WALK_WRITE ? "a role that can be commanded, such as \"supply demand\""
                                           : "a role that is measured, such as \"supply pressure\"");
        return;
    }
    if (use == ES_WALK_RECORD || use == ES_WALK_HELD) /* a recording leaves out what is not there */
        return;
    if (need->when != ES_WHEN_ALWAYS && (w->context & (1u << need->when)) == 0)
        es_walk_fault(w, place, info->name, "\"when\": \"%s\" with this step, as under \"needs\"",
                      es_when_word(need->when));
    if (need->where_fitted && !where_fitted)
        es_walk_fault(w, place, info->name, "\"where fitted\": true with this step, as under \"needs\"");
}

static void shown(enum es_role role, double value, char *out, size_t size)
{
    const struct es_unit *unit = es_dimension_unit(es_role_info(role)->dimension);
    (void)es_quantity_format(value, unit, 2, out, size);
}

/* A little room for the rounding of unit conversion. */
static bool above(double value, double ceiling)
{
    return value > ceiling + 1e-9 * fabs(ceiling);
}

static void bench_ceiling(struct es_walk *w, enum es_role role, const struct es_amount *amount, double value)
{
    char limit[48];

    if (w->view == NULL) {
        es_walk_note(w, "ceilings and slew limits of the bench: no bench file was given");
        return;
    }
    const struct es_station_role *r = &w->view->roles[role];
    if (!r->present) /* nothing is commanded; people are asked, or the step is left out */
        return;
    if (above(value, r->highest)) {
        shown(role, r->highest, limit, sizeof limit);
        es_walk_fault(w, amount->place, amount->text, "at most the bench's ceiling of %s for %s", limit,
                      es_role_info(role)->name);
    } else if (above(-value, -r->lowest)) {
        shown(role, r->lowest, limit, sizeof limit);
        es_walk_fault(w, amount->place, amount->text, "at least the bench's floor of %s for %s", limit,
                      es_role_info(role)->name);
    }
}

static void type_ceiling(struct es_walk *w, enum es_role role, const struct es_amount *amount, double value)
{
    char limit[48];

    if (role != ES_ROLE_SUPPLY_DEMAND && role != ES_ROLE_LOOP_DEMAND)
        return;
    if (w->type == NULL) {
        es_walk_note(w, "ceilings of the unit (supply, loop current): no type sheet was given");
        return;
    }
    const double highest = role == ES_ROLE_SUPPLY_DEMAND ? w->type->highest_supply : w->type->highest_loop;
    if (above(value, highest)) {
        shown(role, highest, limit, sizeof limit);
        es_walk_fault(w, amount->place, amount->text, "at most what the type sheet allows for %s: %s",
                      es_role_info(role)->name, limit);
    }
}

static void slew_of_jump(struct es_walk *w, enum es_role role, const struct es_amount *amount, double value)
{
    const struct es_range *now = &w->ranges[role];

    if (w->view == NULL || !w->view->roles[role].present || !isfinite(w->view->roles[role].slew))
        return;
    if (!(now->known && now->low == now->high && now->low == value))
        es_walk_fault(w, amount->place, amount->text, "a ramp: the bench limits how fast %s may change",
                      es_role_info(role)->name);
}

void es_walk_command(struct es_walk *w, enum es_role role, const struct es_amount *amount, bool jump)
{
    double value;

    if (amount->kind == ES_AMOUNT_NONE)
        return; /* told when it was read */
    if (!es_walk_resolve(w, amount, role, &value)) {
        w->ranges[role].known = false;
        return;
    }
    bench_ceiling(w, role, amount, value);
    type_ceiling(w, role, amount, value);
    if (jump)
        slew_of_jump(w, role, amount, value);
    w->ranges[role] = (struct es_range){true, value, value};
}

double es_walk_ramp(struct es_walk *w, enum es_role role, const struct es_amount *to,
                    const struct es_amount *at)
{
    double end, speed;
    const struct es_range *now = &w->ranges[role];

    if (!es_walk_resolve(w, to, role, &end) || !es_walk_resolve(w, at, role, &speed))
        return 0;
    if (speed <= 0) {
        es_walk_fault(w, at->place, at->text, "more than nothing");
        return 0;
    }
    if (w->view != NULL && w->view->roles[role].present && above(speed, w->view->roles[role].slew))
        es_walk_fault(w, at->place, at->text, "at most the bench's slew limit for %s",
                      es_role_info(role)->name);
    if (!now->known) {
        if (w->type == NULL)
            es_walk_note(w, "the time of a ramp of %s: where it begins depends on the type sheet",
                         es_role_info(role)->name);
        else
            es_walk_fault(w, to->place, to->text,
                          "a start that is known: set %s first (the bench's safe state does not)",
                          es_role_info(role)->name);
        return 0;
    }
    return fmax(fabs(end - now->low), fabs(end - now->high)) / speed;
}

#include "rig/study/learn.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/study/inner.h"
#include "rig/study/notes.h"

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory to learn from the study");
}

void es_study_see(const struct es_study *study, const struct es_study_unit *unit, struct es_seen *seen)
{
    const struct es_study_type *type = &study->types[unit->type];
    for (size_t i = 0; i < type->slot_count; i++) {
        const struct es_study_value *v = &unit->values[i];
        seen[i] = (struct es_seen){
            type->slots[i].procedure, type->slots[i].measurand, v->verdict, v->valid, v->value, v->reason};
    }
}

static size_t band_of(double severity)
{
    size_t band = 0;
    while (band < ES_DETECTION_BANDS - 1 && severity > es_detection_bands[band]) {
        band++;
    }
    return band;
}

/* ---- Causes and checks, from the notes ---- */

static enum es_status learn_causes(struct es_detection *d, struct es_error *err)
{
    const size_t count = es_virtual_fault_count();
    d->causes = calloc(count, sizeof *d->causes);
    if (!d->causes) {
        return no_memory(err);
    }
    for (size_t i = 0; i < count && i < ES_CAUSES_MAX; i++) {
        const struct es_virtual_fault *f = es_virtual_fault_get((int)i);
        const struct es_fault_note *note = es_fault_note(f->name);
        struct es_detection_cause *c = &d->causes[d->cause_count++];
        c->name = strdup(f->name);
        c->meaning = strdup(f->meaning);
        c->place = f->place == ES_VIRTUAL_UNIT       ? ES_CAUSE_UNIT
                   : f->place == ES_VIRTUAL_MOUNTING ? ES_CAUSE_MOUNTING
                                                     : ES_CAUSE_BENCH;
        c->rate = note ? note->rate : 0.001;
        c->matters = note ? note->matters : 0;
        if (!c->name || !c->meaning) {
            return no_memory(err);
        }
    }
    return ES_OK;
}

static uint64_t finds_of(const struct es_detection *d, const char *names)
{
    uint64_t bits = 0;
    for (size_t i = 0; i < d->cause_count; i++) {
        const size_t length = strlen(d->causes[i].name);
        for (const char *at = strstr(names, d->causes[i].name); at; at = strstr(at + 1, d->causes[i].name)) {
            const bool begins = at == names || at[-1] == '|', ends = !at[length] || at[length] == '|';
            bits |= begins && ends ? UINT64_C(1) << i : 0;
        }
    }
    return bits;
}

static enum es_status learn_checks(struct es_detection *d, struct es_error *err)
{
    size_t count;
    const struct es_check_note *notes = es_check_notes(&count);
    d->checks = calloc(count, sizeof *d->checks);
    if (!d->checks) {
        return no_memory(err);
    }
    for (size_t i = 0; i < count; i++) {
        struct es_detection_check *c = &d->checks[d->check_count++];
        *c = (struct es_detection_check){strdup(notes[i].text), strdup(notes[i].caution), notes[i].minutes,
                                         finds_of(d, notes[i].finds)};
        if (!c->text || !c->caution) {
            return no_memory(err);
        }
    }
    return ES_OK;
}

/* ---- One line of one type ---- */

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *values, size_t n)
{
    qsort(values, n, sizeof *values, by_value);
    return n % 2 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}

/* Middle and scatter of good units: median and its absolute deviation, scaled for the normal distribution.
 * The scatter is at least what one value is uncertain by, and at least a thousandth of the limit: below
 * that, differences mean nothing. */
static void learn_scatter(const struct es_study *s, size_t type, size_t slot, double *values,
                          struct es_detection_line *line)
{
    const struct es_limit *limit = s->types[type].slots[slot].limit;
    double u = 0;
    size_t n = 0;
    for (size_t i = 0; i < s->order.units; i++) {
        const struct es_study_unit *unit = &s->units[i];
        if (unit->type == type && unit->fault < 0 && unit->values[slot].valid) {
            values[n++] = unit->values[slot].value;
            u += unit->values[slot].u;
        }
    }
    double least = 1e-12;
    if (limit) {
        least = fmax(least, 1e-3 * fmax(isfinite(limit->lower) ? fabs(limit->lower) : 0,
                                        isfinite(limit->upper) ? fabs(limit->upper) : 0));
    }
    line->middle = n ? median(values, n) : 0;
    for (size_t i = 0; i < n; i++) {
        values[i] = fabs(values[i] - line->middle);
    }
    line->scatter = fmax(least, n ? fmax(1.4826 * median(values, n), u / (double)n) : 0);
}

struct kind {
    const char *text;
    size_t count;
};

static int by_count(const void *a, const void *b)
{
    const struct kind *x = a, *y = b;
    return x->count != y->count ? (x->count < y->count) - (x->count > y->count) : strcmp(x->text, y->text);
}

/* The kinds of reasons met most often. */
static enum es_status learn_reasons(const struct es_study *s, size_t type, size_t slot,
                                    struct es_detection_line *line, struct es_error *err)
{
    struct kind kinds[100] = {0};
    size_t count = 0;
    for (size_t i = 0; i < s->order.units; i++) {
        const char *reason = s->units[i].type == type ? s->units[i].values[slot].reason : NULL;
        size_t k = 0;
        while (reason && k < count && strcmp(kinds[k].text, reason) != 0) {
            k++;
        }
        if (reason && k < count) {
            kinds[k].count++;
        } else if (reason && count < sizeof kinds / sizeof kinds[0]) {
            kinds[count++] = (struct kind){reason, 1};
        }
    }
    qsort(kinds, count, sizeof kinds[0], by_count);
    for (size_t k = 0; k < count && line->reason_count < ES_DETECTION_REASONS; k++) {
        line->reasons[line->reason_count] = strdup(kinds[k].text);
        if (!line->reasons[line->reason_count++]) {
            return no_memory(err);
        }
    }
    return ES_OK;
}

static enum es_status learn_line(const struct es_study *s, size_t type, size_t slot, double *values,
                                 size_t causes, struct es_detection_line *line, struct es_error *err)
{
    const struct es_study_slot *at = &s->types[type].slots[slot];
    line->procedure = strdup(at->procedure);
    line->measurand = strdup(at->measurand);
    line->causes = calloc(causes, sizeof *line->causes);
    if (!line->procedure || !line->measurand || !line->causes) {
        return no_memory(err);
    }
    learn_scatter(s, type, slot, values, line);
    const enum es_status status = learn_reasons(s, type, slot, line, err);
    for (size_t i = 0; i < s->order.units && status == ES_OK; i++) {
        const struct es_study_unit *unit = &s->units[i];
        if (unit->type != type) {
            continue;
        }
        const struct es_study_value *v = &unit->values[slot];
        const struct es_seen seen = {at->procedure, at->measurand, v->verdict, v->valid, v->value, v->reason};
        const size_t bin = es_detection_bin(line, &seen);
        if (unit->fault < 0) {
            line->good[bin]++;
        } else {
            line->causes[unit->fault][band_of(unit->severity)][bin]++;
        }
    }
    return status;
}

/* ---- Types ---- */

static void count_cell(struct es_detection_cell *cell, const struct es_study_unit *u)
{
    cell->units++;
    cell->passed += u->completed && (u->verdict == ES_PASS || u->verdict == ES_CONDITIONAL_PASS);
    cell->failed += u->completed && (u->verdict == ES_FAIL || u->verdict == ES_CONDITIONAL_FAIL);
}

static enum es_status learn_type(const struct es_study *s, size_t index, size_t causes,
                                 struct es_detection_type *type, struct es_error *err)
{
    const struct es_study_type *from = &s->types[index];
    enum es_status status = ES_OK;
    type->name = strdup(from->sheet->name);
    type->version = strdup(from->sheet->version);
    type->digest = strdup(from->sheet->digest);
    type->kind = (int)from->sheet->kind;
    type->causes = calloc(causes, sizeof *type->causes);
    type->lines = calloc(from->slot_count ? from->slot_count : 1, sizeof *type->lines);
    double *values = calloc(s->order.units, sizeof *values);
    if (!type->name || !type->version || !type->digest || !type->causes || !type->lines || !values) {
        free(values);
        return no_memory(err);
    }
    for (size_t i = 0; i < s->order.units; i++) {
        const struct es_study_unit *u = &s->units[i];
        if (u->type == index) {
            count_cell(u->fault < 0 ? &type->good : &type->causes[u->fault][band_of(u->severity)], u);
        }
    }
    for (size_t slot = 0; slot < from->slot_count && status == ES_OK; slot++) {
        status = learn_line(s, index, slot, values, causes, &type->lines[type->line_count++], err);
    }
    free(values);
    return status;
}

static enum es_status learn_plan(const struct es_study *study, size_t causes, struct es_detection_plan *plan,
                                 struct es_error *err)
{
    char seed[32];
    enum es_status status = ES_OK;
    snprintf(seed, sizeof seed, "%llu", (unsigned long long)study->order.seed);
    plan->program = strdup(ES_VERSION);
    plan->seed = strdup(seed);
    plan->name = strdup(study->plan->name);
    plan->version = strdup(study->plan->version);
    plan->digest = strdup(study->plan->digest);
    plan->units = (long)study->order.units;
    plan->types = calloc(study->order.type_count, sizeof *plan->types);
    if (!plan->program || !plan->seed || !plan->name || !plan->version || !plan->digest || !plan->types) {
        return no_memory(err);
    }
    for (size_t i = 0; i < study->order.type_count && status == ES_OK; i++) {
        status = learn_type(study, i, causes, &plan->types[plan->type_count++], err);
    }
    return status;
}

enum es_status es_study_learn(const struct es_study *study, struct es_detection **out, struct es_error *err)
{
    struct es_detection *d = calloc(1, sizeof *d);
    if (!d) {
        return no_memory(err);
    }
    d->plans = calloc(1, sizeof *d->plans);
    enum es_status status = d->plans ? learn_causes(d, err) : no_memory(err);
    if (status == ES_OK) {
        status = learn_checks(d, err);
    }
    if (status == ES_OK) {
        d->plan_count = 1;
        status = learn_plan(study, d->cause_count, &d->plans[0], err);
    }
    if (status != ES_OK) {
        es_detection_free(d);
        return status;
    }
    *out = d;
    return ES_OK;
}

/* ---- Several plans ---- */

/* Counts stand by the causes' places in the list. */
static bool same_causes(const struct es_detection *a, const struct es_detection *b)
{
    bool same = a->cause_count == b->cause_count;
    for (size_t i = 0; same && i < a->cause_count; i++) {
        same = !strcmp(a->causes[i].name, b->causes[i].name);
    }
    return same;
}

enum es_status es_detection_keep(struct es_detection *table, struct es_detection *other, struct es_error *err)
{
    if (!same_causes(table, other)) {
        return es_fail(err, ES_BAD_INPUT,
                       "the kept table has other causes than this program: learn its plans anew");
    }
    struct es_detection_plan *plans =
        reallocarray(table->plans, table->plan_count + other->plan_count, sizeof *plans);
    if (!plans) {
        return no_memory(err);
    }
    table->plans = plans;
    size_t left = 0;
    for (size_t i = 0; i < other->plan_count; i++) {
        if (es_detection_find_plan(table, other->plans[i].name)) {
            other->plans[left++] = other->plans[i];
        } else {
            plans[table->plan_count++] = other->plans[i];
        }
    }
    other->plan_count = left;
    return ES_OK;
}

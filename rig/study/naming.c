/* A table held against a study: is the first-named cause right? */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/study/inner.h"
#include "rig/study/learn.h"
#include "rig/study/notes.h"

/* A list of at most so many kinds, in the order first met; sorted at the end. */
static void confuse(struct es_study_naming *out, int fault, int named)
{
    size_t i = 0;
    while (i < out->confused_count && (out->confused[i].fault != fault || out->confused[i].named != named)) {
        i++;
    }
    if (i == out->confused_count) {
        if (i == sizeof out->confused / sizeof out->confused[0]) {
            return;
        }
        out->confused[out->confused_count++] = (struct es_study_confusion){fault, named, 0};
    }
    out->confused[i].units++;
}

static int by_units(const void *a, const void *b)
{
    const struct es_study_confusion *x = a, *y = b;
    if (x->units != y->units) {
        return (x->units < y->units) - (x->units > y->units);
    }
    return x->fault != y->fault ? x->fault - y->fault : x->named - y->named;
}

/* `judged`: the fault is of what the plan judges. */
static void name_one(const struct es_study_unit *u, bool judged, const struct es_detection *table,
                     const struct es_causes *c, struct es_study_naming *out)
{
    const struct es_virtual_fault *fault = es_virtual_fault_get(u->fault);
    const struct es_fault_note *note = fault ? es_fault_note(fault->name) : NULL;
    const struct es_detection_cause *first = c->count ? &table->causes[c->items[0].index] : NULL;
    if (!fault) {
        return;
    }
    if (!judged) {
        out->bench++;
        out->bench_first += first && first->place == ES_CAUSE_BENCH;
        return;
    }
    if (note && u->severity < note->matters) {
        return;
    }
    out->units++;
    if (first && !strcmp(first->name, fault->name)) {
        out->first++;
    } else {
        confuse(out, u->fault, first ? es_virtual_fault_find(first->name) : -1);
    }
    out->said += first ? c->items[0].probability : 0;
    for (size_t i = 0; table->causes && i < c->count && i < 3; i++) {
        out->among_three += !strcmp(table->causes[c->items[i].index].name, fault->name);
    }
}

enum es_status es_study_name_causes(const struct es_study *study, const struct es_detection *table,
                                    struct es_study_naming *out, struct es_error *err)
{
    size_t slots = 1;
    struct es_study_naming n = {0};
    for (size_t i = 0; i < study->order.type_count; i++) {
        slots = study->types[i].slot_count > slots ? study->types[i].slot_count : slots;
    }
    struct es_seen *seen = calloc(slots, sizeof *seen);
    if (!seen) {
        return es_fail(err, ES_NO_MEMORY, "no memory to name causes");
    }
    enum es_status status = ES_OK;
    for (size_t i = 0; i < study->order.units && status == ES_OK; i++) {
        const struct es_study_unit *u = &study->units[i];
        const bool passed = u->completed && (u->verdict == ES_PASS || u->verdict == ES_CONDITIONAL_PASS);
        struct es_causes causes;
        if (u->fault < 0 || passed) {
            continue;
        }
        const struct es_study_type *type = &study->types[u->type];
        es_study_see(study, u, seen);
        status = es_causes_rank(table, study->plan->name, type->sheet->name, seen, type->slot_count, NULL,
                                &causes, err);
        if (status == ES_OK) {
            name_one(u, es_study_judges(type, u->fault), table, &causes, &n);
        } else if (status == ES_NOT_FOUND) {
            n.unknown++;
            status = ES_OK;
        }
    }
    free(seen);
    qsort(n.confused, n.confused_count, sizeof n.confused[0], by_units);
    n.said = n.units ? n.said / (double)n.units : NAN;
    if (status == ES_OK) {
        *out = n;
    }
    return status;
}

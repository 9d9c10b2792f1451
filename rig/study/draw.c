/* Who is who in the study: everything about unit i follows from the order and i. */
#include <math.h>
#include <string.h>

#include "drivers/virtual/random.h"
#include "rig/study/inner.h"
#include "rig/study/notes.h"

enum { STREAM_UNIT = 5000, STREAM_SEVERITY = 5001 };

const char *es_study_fault_name(int fault)
{
    const struct es_virtual_fault *f = es_virtual_fault_get(fault);
    return f ? f->name : "good";
}

bool es_study_judges(const struct es_study_type *type, int fault)
{
    const struct es_virtual_fault *f = es_virtual_fault_get(fault);
    return f && (f->place != ES_VIRTUAL_BENCH || type->sheet->kind == ES_PROOF_BLOCK);
}

/* What a unit has not, cannot fail. */
static bool possible(const struct es_study_type *type, int fault)
{
    const bool fitted = type->feedback || strcmp(es_study_fault_name(fault), "feedback drifted") != 0;
    return fitted && es_virtual_fault_possible(fault, (enum es_virtual_type)type->kind);
}

size_t es_study_faults(const struct es_study_order *order, const struct es_study_type *type,
                       int out[static ES_STUDY_FAULTS_MAX])
{
    size_t count = 0;
    for (int i = 0; i < (int)es_virtual_fault_count() && count < ES_STUDY_FAULTS_MAX; i++) {
        bool wanted = order->fault_count == 0;
        for (size_t k = 0; k < order->fault_count; k++) {
            wanted = wanted || es_virtual_fault_find(order->faults[k]) == i;
        }
        if (wanted && possible(type, i)) {
            out[count++] = i;
        }
    }
    return count;
}

/* Severities of one fault fill the range evenly however many there are (additive recurrence of the golden
 * ratio), from a start that the seed gives. */
static double severity(const struct es_study_order *o, size_t type, int fault, size_t round)
{
    const double start = es_random_uniform(o->seed, STREAM_SEVERITY, (uint64_t)type * 1000 + (uint64_t)fault);
    const struct es_fault_note *note = o->mattering ? es_fault_note(es_study_fault_name(fault)) : NULL;
    const double low =
        note && note->matters < o->severity_high ? fmax(o->severity_low, note->matters) : o->severity_low;
    double whole;
    const double share = modf(start + 0.6180339887498949 * (double)round, &whole);
    return low + (o->severity_high - low) * share;
}

void es_study_draw(const struct es_study *study, size_t index, struct es_study_unit *unit)
{
    const struct es_study_order *o = &study->order;
    const size_t type = index % o->type_count, n = index / o->type_count;
    /* Good units evenly among the others: the share holds for every first part of the study, too. */
    const double before = floor((double)n * o->good_share), after = floor((double)(n + 1) * o->good_share);
    int faults[ES_STUDY_FAULTS_MAX];
    const size_t count = es_study_faults(o, &study->types[type], faults);
    *unit = (struct es_study_unit){.type = type,
                                   .fault = -1,
                                   .nth = (size_t)before,
                                   .seed = es_random_bits(o->seed, STREAM_UNIT, index)};
    if (after == before && count > 0) {
        const size_t faulty = n - (size_t)after;
        unit->fault = faults[faulty % count];
        unit->nth = faulty;
        unit->severity = severity(o, type, unit->fault, faulty / count);
    }
}

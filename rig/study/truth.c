/* What perfect instruments would have given: the same measures, in the same order, on the true traces of the
 * same run, with the true volumes and surroundings. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/study/inner.h"

#define FACTS_MAX   160
#define OUTPUTS_MAX 32
#define SLOTS_MAX   16

struct truths {
    struct es_fact facts[FACTS_MAX]; /* what was measured before comes first: the first of a name counts */
    size_t measured, given; /* measured facts grow downwards from FACTS_MAX / 2, the others upwards */
};

static void add_given(struct truths *t, const struct es_fact *f)
{
    if (FACTS_MAX / 2 + t->given < FACTS_MAX) {
        t->facts[FACTS_MAX / 2 + t->given++] = *f;
    }
}

static void add_measured(struct truths *t, const struct es_fact *f)
{
    for (size_t i = 0; i < t->measured; i++) {
        struct es_fact *old = &t->facts[FACTS_MAX / 2 - 1 - i];
        if (!strcmp(old->name, f->name)) {
            *old = *f;
            return;
        }
    }
    if (t->measured < FACTS_MAX / 2) {
        t->facts[FACTS_MAX / 2 - 1 - t->measured++] = *f;
    }
}

static void gather(const struct es_study_type *type, const struct es_virtual *v, struct truths *t)
{
    const struct es_bench_station *station = &type->bench->stations[0];
    struct es_virtual_inner inner;
    es_virtual_look(v, &inner);
    const struct es_fact known[] = {
        {"output 1 volume", ES_DIM_VOLUME, inner.volume[ES_NODE_1], 0, INFINITY},
        {"output 2 volume", ES_DIM_VOLUME, inner.volume[ES_NODE_2], 0, INFINITY},
        {"ambient pressure", ES_DIM_PRESSURE, es_virtual_truth(v, ES_ROLE_AMBIENT_PRESSURE), 0, INFINITY},
        {"ambient temperature", ES_DIM_TEMPERATURE, es_virtual_truth(v, ES_ROLE_AMBIENT_TEMPERATURE), 0,
         INFINITY}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        add_given(t, &known[i]);
    }
    for (size_t i = 0; i < station->fact_count; i++) {
        struct es_fact f = station->facts[i];
        f.u = 0;
        add_given(t, &f);
    }
    for (size_t i = 0; i < type->sheet->quantity_count; i++) {
        const struct es_type_quantity *q = &type->sheet->quantities[i];
        add_given(t, &(struct es_fact){q->name, q->written.unit ? q->written.unit->dimension : ES_DIM_NUMBER,
                                       q->written.value, 0, INFINITY});
    }
}

static enum es_status evaluate(const struct es_plan_entry *entry, const struct es_measurand *m,
                               const struct es_shadow *shadow, struct truths *t, struct es_measured *out,
                               bool *done, struct es_error *err)
{
    const struct es_trace *traces[SLOTS_MAX] = {0};
    *done = false;
    for (size_t k = 0; k < m->slot_count; k++) {
        traces[m->slots[k].index] = es_shadow_trace(shadow, entry->label, m->slots[k].recording);
        if (!traces[m->slots[k].index]) {
            return ES_OK;
        }
    }
    const struct es_facts facts = {&t->facts[FACTS_MAX / 2 - t->measured], t->measured + t->given};
    const enum es_status status = m->measure->evaluate(m->settings, traces, &facts, out, err);
    *done = status == ES_OK;
    for (size_t i = 0; i < m->measure->output_count && status == ES_OK; i++) {
        if (out[i].valid) {
            add_measured(t, &(struct es_fact){m->measure->outputs[i].name, out[i].dimension, out[i].value, 0,
                                              INFINITY});
        }
    }
    return status;
}

enum es_status es_study_truths(const struct es_study *study, const struct es_shadow *shadow,
                               const struct es_virtual *v, struct es_study_unit *unit, struct es_error *err)
{
    const struct es_study_type *type = &study->types[unit->type];
    struct truths t = {0};
    size_t slot = 0;
    gather(type, v, &t);
    for (size_t i = 0; i < study->plan->entry_count; i++) {
        const struct es_plan_entry *entry = &study->plan->entries[i];
        for (size_t k = 0; k < entry->procedure->measurand_count; k++) {
            const struct es_measurand *m = &entry->procedure->measurands[k];
            struct es_measured out[OUTPUTS_MAX] = {0};
            bool done;
            if (!es_when_applies(m->when, type->sheet)) {
                continue;
            }
            if (m->measure->output_count > OUTPUTS_MAX) {
                return es_fail(err, ES_INTERNAL, "the measure \"%s\" has too many outputs", m->measure->name);
            }
            const enum es_status status = evaluate(entry, m, shadow, &t, out, &done, err);
            if (status != ES_OK) {
                return status;
            }
            for (size_t r = 0; r < m->result_count; r++, slot++) {
                const struct es_measured *truth = &out[m->results[r].output];
                struct es_study_value *value = &unit->values[slot];
                value->has_truth = done && truth->valid && value->valid;
                value->truth = value->has_truth ? truth->value : NAN;
            }
        }
    }
    return ES_OK;
}

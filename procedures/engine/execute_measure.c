/* After a procedure's steps: its recordings go through the measures, and the values are judged. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/check_lines.h"
#include "procedures/engine/execution.h"
#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"
#include "procedures/measures/propagate.h"

/* The type sheet's limit; what the procedure calls not required does not fail the unit. A view: nothing
 * owned. */
static enum es_status limit_of(const struct es_execution *x, const struct es_result *r, struct es_limit *out,
                               struct es_error *err)
{
    const struct es_limit *limit = es_type_limit(x->type, r->limit);

    if (limit == NULL)
        return es_fail(err, ES_NOT_FOUND, "the type sheet \"%s\" has no limit \"%s\"", x->type->name,
                       r->limit);
    *out = *limit;
    out->required = limit->required && r->required;
    return ES_OK;
}

static enum es_status add_line(struct es_execution *x, struct es_line *line, struct es_error *err)
{
    const enum es_status s = es_keep_line(x, line, err);

    if (s == ES_OK && x->keep->line != NULL)
        x->keep->line(x->keep->self, &x->outcome->lines[x->outcome->line_count - 1]);
    return s;
}

static enum es_status not_tested(struct es_execution *x, const char *label, const struct es_measurand *m,
                                 const char *reason, struct es_error *err)
{
    enum es_status s = ES_OK;

    for (size_t i = 0; i < m->result_count && s == ES_OK; i++) {
        struct es_limit limit;
        struct es_line line;
        s = limit_of(x, &m->results[i], &limit, err);
        if (s == ES_OK)
            s = es_judge_not_tested(label, m->results[i].name, &limit, reason, &line, err);
        if (s == ES_OK)
            s = add_line(x, &line, err);
    }
    return s;
}

enum es_status es_not_tested_lines(struct es_execution *x, const struct es_plan_entry *entry,
                                   const char *reason, struct es_error *err)
{
    const struct es_procedure *p = entry->procedure;
    enum es_status s = ES_OK;

    for (size_t i = 0; i < p->measurand_count && s == ES_OK; i++)
        if (es_when_applies(p->measurands[i].when, x->type))
            s = not_tested(x, entry->label, &p->measurands[i], reason, err);
    return s;
}

/* The recordings in the order of the measure's slots; false with a reason when one is missing or unfit. */
static bool find_traces(const struct es_execution *x, const struct es_measurand *m,
                        const struct es_trace **traces, char *reason, size_t size)
{
    for (size_t k = 0; k < m->slot_count; k++) {
        const struct es_slot *slot = &m->slots[k];
        for (size_t i = 0; i < x->kept_count; i++)
            if (strcmp(x->kept[i].step->recording, slot->recording) == 0)
                traces[slot->index] = x->kept[i].trace;
        const struct es_trace *found = traces[slot->index];
        if (found != NULL && found->unfit == NULL)
            continue;
        if (found != NULL)
            (void)snprintf(reason, size, "%s", found->unfit);
        else if (x->skipping)
            (void)snprintf(reason, size, "%s", x->reason);
        else
            (void)snprintf(reason, size, "the recording \"%s\" was not made", slot->recording);
        return false;
    }
    return true;
}

/* What measures may know: measured earlier in the plan first, then bench and surroundings, then type sheet.
 * es_fact_find takes the first of a name. */
static enum es_status gather_facts(const struct es_execution *x, struct es_facts *out, struct es_error *err)
{
    const struct es_facts *given = &x->options->facts;
    size_t n = 0;

    struct es_fact *items =
        calloc(x->measured_count + given->count + x->type->quantity_count + 1, sizeof *items);
    if (items == NULL)
        return es_fail(err, ES_NO_MEMORY, "no memory for measuring");
    for (size_t i = 0; i < x->measured_count; i++)
        items[n++] = x->measured[i];
    for (size_t i = 0; i < given->count; i++)
        items[n++] = given->items[i];
    for (size_t i = 0; i < x->type->quantity_count; i++) {
        const struct es_type_quantity *q = &x->type->quantities[i];
        items[n++] = (struct es_fact){.name = q->name,
                                      .dimension = q->written.unit != NULL ? q->written.unit->dimension
                                                                           : ES_DIM_NUMBER,
                                      .value = q->written.value,
                                      .dof = INFINITY};
    }
    *out = (struct es_facts){items, n};
    return ES_OK;
}

static enum es_status remember(struct es_execution *x, const struct es_measure *m,
                               const struct es_measured *out, struct es_error *err)
{
    for (size_t i = 0; i < m->output_count; i++) {
        size_t at = 0;
        if (!out[i].valid)
            continue;
        while (at < x->measured_count && strcmp(x->measured[at].name, m->outputs[i].name) != 0)
            at++;
        if (at == x->measured_count) {
            struct es_fact *grown = realloc(x->measured, (at + 1) * sizeof *grown);
            if (grown == NULL)
                return es_fail(err, ES_NO_MEMORY, "no memory for measuring");
            x->measured = grown;
            x->measured_count++;
        }
        x->measured[at] = (struct es_fact){.name = m->outputs[i].name,
                                           .dimension = out[i].dimension,
                                           .value = out[i].value,
                                           .u = out[i].u,
                                           .dof = out[i].dof};
    }
    return ES_OK;
}

static enum es_status judge(struct es_execution *x, const struct es_measurand *m,
                            const struct es_measured *out, struct es_error *err)
{
    enum es_status s = ES_OK;

    for (size_t i = 0; i < m->result_count && s == ES_OK; i++) {
        const struct es_result *r = &m->results[i];
        struct es_limit limit;
        struct es_line line;
        s = limit_of(x, r, &limit, err);
        if (s == ES_OK)
            s = es_judge_line(x->entry->label, r->name, &out[r->output], &limit, &line, err);
        if (s == ES_OK)
            s = add_line(x, &line, err);
    }
    return s;
}

/* Each value's seed follows from its names, so that no other value matters. */
static enum es_status propagate(const struct es_execution *x, const struct es_measurand *m,
                                struct es_measured *out, struct es_error *err)
{
    enum es_status s = ES_OK;

    for (size_t i = 0; i < m->measure->output_count && s == ES_OK; i++) {
        const struct es_draws draws = {
            es_seed_of(x->options->seed, x->entry->label, m->results[0].name, m->measure->outputs[i].name),
            x->options->most_trials};
        s = es_measured_propagate(&out[i], &draws, err);
    }
    return s;
}

static enum es_status evaluate(struct es_execution *x, const struct es_measurand *m,
                               const struct es_trace *const *traces, struct es_error *err)
{
    struct es_facts facts;

    enum es_status s = gather_facts(x, &facts, err);
    if (s != ES_OK)
        return s;
    struct es_measured *out = calloc(m->measure->output_count, sizeof *out);
    if (out == NULL) {
        s = es_fail(err, ES_NO_MEMORY, "no memory for measuring");
        goto free_facts;
    }
    s = m->measure->evaluate(m->settings, traces, &facts, out, err);
    if (s == ES_OK)
        s = propagate(x, m, out, err);
    if (s == ES_OK)
        s = judge(x, m, out, err);
    if (s == ES_OK)
        s = remember(x, m->measure, out, err);
    free(out);
free_facts:
    free((void *)(uintptr_t)facts.items);
    return s;
}

static enum es_status one_measurand(struct es_execution *x, const struct es_measurand *m,
                                    struct es_error *err)
{
    const struct es_trace *traces[16] = {NULL};
    char reason[400];
    size_t slots = 0;

    while (m->measure->trace_names[slots] != NULL)
        slots++;
    if (slots > sizeof traces / sizeof traces[0])
        return es_fail(err, ES_INTERNAL, "the measure \"%s\" takes too many recordings", m->measure->name);
    if (es_lacks_for_measurand(m, es_fitted, x, reason, sizeof reason) ||
        !find_traces(x, m, traces, reason, sizeof reason))
        return not_tested(x, x->entry->label, m, reason, err);
    return evaluate(x, m, traces, err);
}

enum es_status es_execute_measure(struct es_execution *x, struct es_error *err)
{
    const struct es_procedure *p = x->entry->procedure;
    enum es_status s = ES_OK;

    for (size_t i = 0; i < p->measurand_count && s == ES_OK; i++)
        if (es_when_applies(p->measurands[i].when, x->type))
            s = one_measurand(x, &p->measurands[i], err);
    return s;
}

#include "procedures/engine/remeasure.h"

#include <stdlib.h>
#include <string.h>

#include "procedures/engine/execution.h"
#include "procedures/judgement/type_sheet.h"

static bool has_role(void *self, enum es_role role, enum es_dimension *dimension)
{
    const struct es_remeasure *what = self;

    if (dimension != NULL)
        *dimension = what->roles[role].dimension;
    return what->roles[role].fitted;
}

/* The traces of one procedure stand in for what it kept. */
static enum es_status measure_entry(struct es_execution *x, const struct es_remeasure *what,
                                    struct es_error *err)
{
    struct es_step *steps = calloc(what->trace_count + 1, sizeof *steps);

    x->kept = calloc(what->trace_count + 1, sizeof *x->kept);
    x->kept_count = 0;
    enum es_status s = ES_OK;
    if (steps == NULL || x->kept == NULL)
        s = es_fail(err, ES_NO_MEMORY, "no memory for measuring again");
    for (size_t i = 0; i < what->trace_count && s == ES_OK; i++) {
        struct es_trace *trace = what->traces[i].trace;
        if (strcmp(what->traces[i].procedure, x->entry->label) != 0 ||
            (trace->unfit != NULL && strcmp(trace->unfit, ES_LEFT_EARLY) == 0))
            continue;
        steps[x->kept_count].recording = trace->name;
        x->kept[x->kept_count] = (struct es_kept){&steps[x->kept_count], trace};
        x->kept_count++;
    }
    if (s == ES_OK)
        s = es_execute_measure(x, err);
    free(x->kept);
    free(steps);
    x->kept = NULL;
    x->kept_count = 0;
    return s;
}

enum es_status es_plan_remeasure(const struct es_plan *plan, const struct es_type *type,
                                 const struct es_remeasure *what, struct es_outcome *outcome,
                                 struct es_error *err)
{
    const struct es_port port = {.self = (void *)(uintptr_t)what, .has_role = has_role};
    const struct es_execute_options options = {.person = "", .facts = what->facts, .seed = what->seed};
    const struct es_execute_keep keep = {0};
    struct es_execution x = {
        .plan = plan, .type = type, .port = &port, .options = &options, .keep = &keep, .outcome = outcome};
    enum es_status s = ES_OK;

    for (size_t i = 0; i < plan->entry_count && s == ES_OK; i++) {
        x.entry = &plan->entries[i];
        s = measure_entry(&x, what, err);
    }
    free(x.measured);
    return s;
}

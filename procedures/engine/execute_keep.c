/* Appending to the outcome. Lists grow one by one: there are tens of entries, not thousands. */
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/execution.h"

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory for the outcome");
}

enum es_status es_replace(char **text, const char *with, struct es_error *err)
{
    char *copy = strdup(with);

    if (copy == NULL)
        return no_memory(err);
    free(*text);
    *text = copy;
    return ES_OK;
}

void es_time_of_day(const struct es_execution *x, char out[static 32])
{
    out[0] = '\0';
    if (x->keep->time_of_day != NULL)
        x->keep->time_of_day(x->keep->self, out);
}

enum es_status es_keep_line(struct es_execution *x, struct es_line *line, struct es_error *err)
{
    struct es_outcome *o = x->outcome;
    struct es_line *grown = realloc(o->lines, (o->line_count + 1) * sizeof *grown);

    if (grown == NULL) {
        es_line_clear(line);
        return no_memory(err);
    }
    o->lines = grown;
    o->lines[o->line_count++] = *line;
    return ES_OK;
}

enum es_status es_keep_confirmation(struct es_execution *x, const char *text, const char *answer,
                                    const char *person, struct es_error *err)
{
    struct es_outcome *o = x->outcome;
    char when[32];

    struct es_confirmation *grown = realloc(o->confirmations, (o->confirmation_count + 1) * sizeof *grown);
    if (grown == NULL)
        return no_memory(err);
    o->confirmations = grown;
    es_time_of_day(x, when);
    struct es_confirmation c = {strdup(text), strdup(answer),
                                strdup(person[0] != '\0' ? person : x->options->person), strdup(when)};
    if (c.text == NULL || c.answer == NULL || c.person == NULL || c.when == NULL) {
        free(c.text);
        free(c.answer);
        free(c.person);
        free(c.when);
        return no_memory(err);
    }
    o->confirmations[o->confirmation_count++] = c;
    return ES_OK;
}

enum es_status es_keep_procedure(struct es_execution *x, const struct es_plan_entry *entry,
                                 struct es_procedure_record **out, struct es_error *err)
{
    struct es_outcome *o = x->outcome;
    const struct es_procedure *p = entry->procedure;
    char when[32];

    struct es_procedure_record *grown = realloc(o->procedures, (o->procedure_count + 1) * sizeof *grown);
    if (grown == NULL)
        return no_memory(err);
    o->procedures = grown;
    es_time_of_day(x, when);
    struct es_procedure_record r = {.name = strdup(entry->label),
                                    .version = strdup(p->version),
                                    .digest = strdup(p->digest),
                                    .title = strdup(p->title),
                                    .began = strdup(when)};
    if (r.name == NULL || r.version == NULL || r.digest == NULL || r.title == NULL || r.began == NULL) {
        free(r.name);
        free(r.version);
        free(r.digest);
        free(r.title);
        free(r.began);
        return no_memory(err);
    }
    *out = &o->procedures[o->procedure_count];
    o->procedures[o->procedure_count++] = r;
    return ES_OK;
}

enum es_status es_keep_curve(struct es_execution *x, const struct es_trace *trace, enum es_role role,
                             struct es_error *err)
{
    struct es_outcome *o = x->outcome;
    const struct es_series *series = es_trace_series(trace, role);

    if (series == NULL)
        return ES_OK; /* this bench has it not */
    struct es_curve *grown = realloc(o->curves, (o->curve_count + 1) * sizeof *grown);
    if (grown == NULL)
        return no_memory(err);
    o->curves = grown;
    struct es_curve c = {
        .recording = strdup(trace->name), .role = role, .unit = es_dimension_unit(series->dimension)};
    if (c.recording == NULL)
        return no_memory(err);
    const enum es_status s = es_curve_reduce(series, x->curve_points, &c.t, &c.y, &c.count, err);
    if (s != ES_OK) {
        free(c.recording);
        return s;
    }
    o->curves[o->curve_count++] = c;
    return ES_OK;
}

#include "procedures/judgement/outcome.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/likely.h"

void es_outcome_init(struct es_outcome *outcome)
{
    *outcome = (struct es_outcome){.safe_state_time = NAN, .verdict = ES_NOT_TESTED};
}

void es_limit_clear(struct es_limit *limit)
{
    free(limit->name);
    free(limit->source);
    *limit = (struct es_limit){0};
}

void es_line_clear(struct es_line *line)
{
    free(line->procedure);
    free(line->measurand);
    free(line->reason);
    es_limit_clear(&line->limit);
    *line = (struct es_line){0};
}

/* strdup that lets NULL be NULL. */
static char *copy_text(const char *text, bool *ok)
{
    char *copy = text ? strdup(text) : NULL;
    if (text && !copy) {
        *ok = false;
    }
    return copy;
}

enum es_status es_limit_copy(const struct es_limit *limit, struct es_limit *copy, struct es_error *err)
{
    bool ok = true;
    *copy = *limit;
    copy->name = copy_text(limit->name, &ok);
    copy->source = copy_text(limit->source, &ok);
    if (!ok) {
        es_limit_clear(copy);
        return es_fail(err, ES_NO_MEMORY, "no memory for a limit");
    }
    return ES_OK;
}

static void free_procedures(struct es_outcome *o)
{
    for (size_t i = 0; i < o->procedure_count; i++) {
        struct es_procedure_record *p = &o->procedures[i];
        free(p->name);
        free(p->version);
        free(p->digest);
        free(p->title);
        free(p->began);
        free(p->skipped);
    }
    free(o->procedures);
}

static void free_lines(struct es_outcome *o)
{
    for (size_t i = 0; i < o->line_count; i++) {
        es_line_clear(&o->lines[i]);
    }
    free(o->lines);
}

static void free_confirmations(struct es_outcome *o)
{
    for (size_t i = 0; i < o->confirmation_count; i++) {
        free(o->confirmations[i].text);
        free(o->confirmations[i].answer);
        free(o->confirmations[i].person);
        free(o->confirmations[i].when);
    }
    free(o->confirmations);
}

static void free_instruments(struct es_outcome *o)
{
    for (size_t i = 0; i < o->instrument_count; i++) {
        struct es_instrument_record *r = &o->instruments[i];
        free(r->name);
        free(r->identity);
        free(r->calibration);
        free(r->calibrated);
        free(r->due);
    }
    free(o->instruments);
}

static void free_recordings(struct es_outcome *o)
{
    for (size_t i = 0; i < o->recording_count; i++) {
        free(o->recordings[i].name);
        free(o->recordings[i].procedure);
        free(o->recordings[i].digest);
        free(o->recordings[i].file);
    }
    free(o->recordings);
    for (size_t i = 0; i < o->curve_count; i++) {
        free(o->curves[i].recording);
        free(o->curves[i].t);
        free(o->curves[i].y);
    }
    free(o->curves);
}

void es_outcome_free(struct es_outcome *o)
{
    if (!o) {
        return;
    }
    char *texts[] = {o->run,          o->began,          o->ended,      o->ended_because, o->plan,
                     o->plan_version, o->plan_digest,    o->plan_title, o->type,          o->type_version,
                     o->type_digest,  o->type_title,     o->bench,      o->bench_digest,  o->station,
                     o->place,        o->unit_serial,    o->unit_tag,   o->customer,      o->reason,
                     o->state,        o->parts_replaced, o->inputs,     o->person};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        free(texts[i]);
    }
    free_procedures(o);
    free_lines(o);
    free_confirmations(o);
    free_instruments(o);
    free_recordings(o);
    es_likely_free(o->likely);
    es_outcome_init(o);
}

/* Grows an array by one zeroed element; NULL when memory is refused, the array unchanged then. */
static void *grow(void **items, size_t *count, size_t size)
{
    void *more = reallocarray(*items, *count + 1, size);
    if (!more) {
        return NULL;
    }
    *items = more;
    void *fresh = (char *)more + *count * size;
    memset(fresh, 0, size);
    (*count)++;
    return fresh;
}

/* One adder an array; void ** over a typed pointer would break aliasing, so the pointer goes through a local.
 */
#define ADDER(function, element, array, number)                                                              \
    struct element *function(struct es_outcome *o)                                                           \
    {                                                                                                        \
        void *items = o->array;                                                                              \
        struct element *fresh = grow(&items, &o->number, sizeof *fresh);                                     \
        o->array = items;                                                                                    \
        return fresh;                                                                                        \
    }

ADDER(es_outcome_add_procedure, es_procedure_record, procedures, procedure_count)
ADDER(es_outcome_add_line, es_line, lines, line_count)
ADDER(es_outcome_add_confirmation, es_confirmation, confirmations, confirmation_count)
ADDER(es_outcome_add_instrument, es_instrument_record, instruments, instrument_count)
ADDER(es_outcome_add_recording, es_recording_record, recordings, recording_count)
ADDER(es_outcome_add_curve, es_curve, curves, curve_count)

const char *es_verdict_word(enum es_verdict verdict)
{
    switch (verdict) {
    case ES_PASS:
        return "pass";
    case ES_CONDITIONAL_PASS:
        return "conditional pass";
    case ES_CONDITIONAL_FAIL:
        return "conditional fail";
    case ES_FAIL:
        return "fail";
    case ES_NOT_TESTED:
        return "not tested";
    }
    return "not tested";
}

const char *es_rule_word(enum es_rule rule)
{
    switch (rule) {
    case ES_RULE_SIMPLE:
        return "simple acceptance";
    case ES_RULE_GUARDED:
        return "guarded acceptance";
    case ES_RULE_NON_BINARY:
        return "non-binary";
    }
    return "unknown rule";
}

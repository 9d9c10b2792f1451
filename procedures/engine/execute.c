/* A plan from its cautions to its end. */
#include "procedures/engine/execute.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/check_lines.h"
#include "procedures/engine/execution.h"
#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"

static double entry_time(const struct es_execution *x, size_t i)
{
    return x->walks[i].bench_time + x->walks[i].people_time;
}

static double time_from(const struct es_execution *x, size_t entry)
{
    double time = 0;

    for (size_t i = entry; i < x->plan->entry_count; i++)
        time += entry_time(x, i);
    return time;
}

static double caution_time(const struct es_execution *x)
{
    double time = 0;

    for (size_t i = 0; i < x->plan->entry_count && !x->options->unattended; i++)
        for (size_t k = 0; k < x->plan->entries[i].procedure->caution_count; k++)
            if (es_plan_caution_is_new(x->plan, i, k))
                time += ES_QUESTION_TIMEOUT;
    return time;
}

static size_t count_drawn(const struct es_step *steps, size_t count)
{
    size_t n = 0;

    for (size_t i = 0; i < count; i++)
        n += steps[i].draw_count + count_drawn(steps[i].steps, steps[i].step_count);
    return n;
}

static enum es_status limits_exist(const struct es_execution *x, const struct es_procedure *p,
                                   struct es_error *err)
{
    for (size_t i = 0; i < p->measurand_count; i++)
        for (size_t k = 0; k < p->measurands[i].result_count; k++)
            if (es_when_applies(p->measurands[i].when, x->type) &&
                es_type_limit(x->type, p->measurands[i].results[k].limit) == NULL)
                return es_fail(err, ES_NOT_FOUND,
                               "the type sheet \"%s\" has no limit \"%s\", which \"%s\" needs", x->type->name,
                               p->measurands[i].results[k].limit, p->name);
    return ES_OK;
}

/* Everything that can be found out before anything moves. */
static enum es_status prepare(struct es_execution *x, struct es_error *err)
{
    size_t drawn = 0;
    enum es_status s = ES_OK;

    if (x->type == NULL || x->options->person == NULL || x->options->person[0] == '\0')
        return es_fail(err, ES_USAGE, "a run needs a type sheet and the name of the person who runs it");
    const size_t n = x->plan->entry_count;
    x->walks = calloc(n, sizeof *x->walks);
    x->verdicts = calloc(n, sizeof *x->verdicts);
    x->ran_to_end = calloc(n, sizeof *x->ran_to_end);
    x->held_back = calloc(n, sizeof *x->held_back);
    if (x->walks == NULL || x->verdicts == NULL || x->ran_to_end == NULL || x->held_back == NULL)
        return es_fail(err, ES_NO_MEMORY, "no memory for the run");
    for (size_t i = 0; i < n && s == ES_OK; i++) {
        const struct es_procedure *p = x->plan->entries[i].procedure;
        s = es_walk_procedure(&x->walks[i], p, x->options->view, x->type, false, NULL, NULL, err);
        if (s == ES_OK)
            s = limits_exist(x, p, err);
        if (s == ES_OK && x->walks[i].people_time > 0 &&
            es_must_not_ask(p, x->options->view, x->type, x->options->unattended))
            s = es_fail(err, ES_USAGE,
                        "\"%s\" asks the operator while it runs, so that it cannot run unattended",
                        x->plan->entries[i].label);
        drawn += count_drawn(p->steps, p->step_count);
    }
    x->curve_points = drawn > 0 ? ES_CURVE_POINTS / drawn : ES_CURVE_POINTS;
    if (x->curve_points < 8)
        x->curve_points = 8;
    return s;
}

static bool gate_met(const struct es_execution *x, const struct es_gate *g)
{
    const enum es_verdict v = x->verdicts[g->earlier];
    const bool failed = v == ES_FAIL || v == ES_CONDITIONAL_FAIL;
    const bool passed = v == ES_PASS || v == ES_CONDITIONAL_PASS;

    switch (g->must) {
    case ES_GATE_COMPLETED:
        return x->ran_to_end[g->earlier];
    case ES_GATE_NOT_FAILED:
        return !failed && !x->held_back[g->earlier];
    case ES_GATE_UNLESS_FAILED:
        return !failed;
    case ES_GATE_PASSED:
    default:
        return passed && x->ran_to_end[g->earlier];
    }
}

/* Why an earlier procedure keeps this one from running; false when none does. */
static bool gated(const struct es_execution *x, size_t self, char *reason, size_t size)
{
    const struct es_plan_entry *entry = &x->plan->entries[self];

    for (size_t i = 0; i < entry->gate_count; i++) {
        const struct es_gate *g = &entry->gates[i];
        if (gate_met(x, g))
            continue;
        const char *label = x->plan->entries[g->earlier].label;
        if (x->held_back[g->earlier])
            (void)snprintf(reason, size, "not run, because \"%s\" was not run either", label);
        else
            (void)snprintf(reason, size, "not run, because \"%s\" %s", label,
                           g->must == ES_GATE_COMPLETED ? "did not run to its end"
                           : g->must == ES_GATE_PASSED  ? "did not pass"
                                                        : "failed");
        return true;
    }
    return false;
}

static enum es_status skip_entry(struct es_execution *x, size_t i, const char *reason, struct es_error *err)
{
    const struct es_plan_entry *entry = &x->plan->entries[i];
    struct es_procedure_record *record;
    char text[400];

    enum es_status s = es_keep_procedure(x, entry, &record, err);
    if (s == ES_OK)
        s = es_replace(&record->skipped, reason, err);
    if (s == ES_OK)
        s = es_not_tested_lines(x, entry, reason, err);
    x->ahead = time_from(x, i + 1);
    (void)snprintf(text, sizeof text, "skipped: %s", reason);
    es_announce(x, ES_EVENT_PROCEDURE_END, entry->label, text);
    x->verdicts[i] = ES_NOT_TESTED;
    return s;
}

static enum es_status begin_safe(struct es_execution *x, struct es_error *err)
{
    memset(x->written, 0, sizeof x->written);
    enum es_status s = ES_OK;
    if (x->port->rest != NULL)
        s = x->port->rest(x->port->self, err);
    if (s != ES_OK)
        return es_error_context(err, s, "before \"%s\"", x->entry->label);
    x->ahead -= (x->options->view != NULL ? x->options->view->safe_within : ES_ALLOW_REST);
    return ES_OK;
}

static enum es_status run_steps(struct es_execution *x, struct es_error *err)
{
    enum es_status s = begin_safe(x, err);

    if (s == ES_OK)
        s = es_execute_steps(x, x->entry->procedure->steps, x->entry->procedure->step_count, err);
    if (s != ES_OK) {
        es_abandon_recordings(x);
        return s;
    }
    return es_execute_measure(x, err);
}

/* Lines that the run's end left without a verdict, of this entry and those after it. */
static void close_open_entries(struct es_execution *x, size_t from, size_t lines_before, const char *reason)
{
    struct es_error ignored; /* the reason why the run ends is known; without memory lines stay away */
    char text[400];

    (void)snprintf(text, sizeof text, "the run ended before it could be judged: %s", reason);
    for (size_t i = from; i < x->plan->entry_count; i++) {
        if (i == from && x->outcome->line_count > lines_before)
            continue; /* judged in part */
        (void)!es_not_tested_lines(x, &x->plan->entries[i], text, &ignored);
    }
}

static enum es_status run_entry(struct es_execution *x, size_t i, struct es_error *err)
{
    struct es_procedure_record *record = NULL;
    const size_t lines = x->outcome->line_count;
    const double begin = es_elapsed(x);

    x->entry = &x->plan->entries[i];
    x->walk = &x->walks[i];
    x->skipping = false;
    x->ahead = time_from(x, i);
    es_announce(x, ES_EVENT_PROCEDURE_BEGIN, x->entry->label, x->entry->procedure->title);
    enum es_status s = es_keep_procedure(x, x->entry, &record, err);
    if (s == ES_OK)
        s = run_steps(x, err);
    es_forget_recordings(x);
    if (s == ES_OK && x->skipping)
        s = es_replace(&record->skipped, x->reason, err);
    if (record != NULL)
        record->duration = es_elapsed(x) - begin;
    if (s != ES_OK || record == NULL) {
        close_open_entries(x, i, lines, err != NULL ? err->text : es_status_word(s));
        es_announce(x, ES_EVENT_PROCEDURE_END, x->entry->label, err != NULL ? err->text : es_status_word(s));
        return s;
    }
    record->completed = !x->skipping;
    x->ran_to_end[i] = !x->skipping;
    x->verdicts[i] = x->outcome->line_count > lines
                         ? es_judge_overall(&x->outcome->lines[lines], x->outcome->line_count - lines)
                         : ES_NOT_TESTED;
    x->ahead = time_from(x, i + 1);
    es_announce(x, ES_EVENT_PROCEDURE_END, x->entry->label, x->skipping ? x->reason : "completed");
    return ES_OK;
}

/* What was run in spite of its gate stands in the outcome, with who wanted it so. */
static enum es_status keep_asked_for(struct es_execution *x, const char *reason, struct es_error *err)
{
    char text[480];
    static const char not_run[] = "not run, ";

    if (strncmp(reason, not_run, strlen(not_run)) == 0)
        reason += strlen(not_run);
    (void)snprintf(text, sizeof text, "\"%s\" would have been left out, %s.", x->entry->label, reason);
    es_announce(x, ES_EVENT_NOTE, x->entry->label, text);
    return es_keep_confirmation(x, text, "run all the same, as asked for", x->options->person, err);
}

static enum es_status run_entries(struct es_execution *x, struct es_error *err)
{
    enum es_status s = ES_OK;
    char reason[320];

    for (size_t i = 0; i < x->plan->entry_count && s == ES_OK; i++) {
        x->entry = &x->plan->entries[i];
        const bool held = gated(x, i, reason, sizeof reason);
        if (held && x->options->ignore_gates)
            s = keep_asked_for(x, reason, err);
        if (s != ES_OK)
            break;
        if (held && !x->options->ignore_gates) {
            x->held_back[i] = true;
            s = skip_entry(x, i, reason, err);
        } else if (es_lacks_for_procedure(x->entry->procedure, x->type, es_fitted, x, reason,
                                          sizeof reason)) {
            s = skip_entry(x, i, reason, err);
        } else {
            s = run_entry(x, i, err);
        }
    }
    return s;
}

static enum es_status run_plan(struct es_execution *x, struct es_error *err)
{
    x->began = x->port->now(x->port->self);
    x->longest = caution_time(x) + time_from(x, 0);
    x->ahead = x->longest;
    x->entry = &x->plan->entries[0];
    x->walk = &x->walks[0];
    enum es_status s = es_confirm_cautions(x, err);
    if (s != ES_OK) {
        close_open_entries(x, 0, x->outcome->line_count, err != NULL ? err->text : es_status_word(s));
        return s;
    }
    return run_entries(x, err);
}

static void release(struct es_execution *x)
{
    es_forget_recordings(x);
    for (size_t i = 0; x->walks != NULL && i < x->plan->entry_count; i++)
        es_walk_free(&x->walks[i]);
    free(x->walks);
    free(x->verdicts);
    free(x->ran_to_end);
    free(x->held_back);
    free(x->measured);
}

enum es_status es_plan_execute(const struct es_plan *plan, const struct es_type *type,
                               const struct es_port *port, const struct es_execute_options *options,
                               const struct es_execute_keep *keep, struct es_outcome *outcome,
                               struct es_error *err)
{
    static const struct es_execute_keep nothing = {0};
    struct es_error own;
    struct es_execution x = {.plan = plan,
                             .type = type,
                             .port = port,
                             .options = options,
                             .keep = keep != NULL ? keep : &nothing,
                             .outcome = outcome};

    if (err == NULL)
        err = &own; /* the outcome needs the words */
    outcome->completed = false;
    outcome->verdict = ES_NOT_TESTED;
    outcome->attended = !options->unattended;
    enum es_status s = prepare(&x, err);
    if (s == ES_OK)
        s = es_replace(&outcome->person, options->person, err);
    if (s == ES_OK)
        s = run_plan(&x, err);
    if (s == ES_OK) {
        outcome->completed = true;
        outcome->verdict = es_judge_overall(outcome->lines, outcome->line_count);
    } else {
        struct es_error ignored;
        (void)!es_replace(&outcome->ended_because, err->text, &ignored);
    }
    release(&x);
    return s;
}

/* The proof of a plan: its procedures one by one, and what they say together. */
#include "procedures/engine/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/check_lines.h"
#include "procedures/engine/execute.h"
#include "procedures/engine/walk.h"
#include "procedures/judgement/type_sheet.h"

/* Station facts and type-sheet quantities as one list of facts with numbers; caller frees `items`. */
static enum es_status gather_facts(const struct es_station_view *view, const struct es_type *type,
                                   struct es_known_facts *facts, struct es_fact **items, struct es_error *err)
{
    const size_t stations = view != NULL ? view->facts.count : 0;
    const size_t quantities = type != NULL ? type->quantity_count : 0;
    size_t n = 0;

    *items = calloc(stations + quantities + 1, sizeof **items);
    if (*items == NULL)
        return es_fail(err, ES_NO_MEMORY, "no memory for the proof");
    for (size_t i = 0; i < stations; i++)
        (*items)[n++] = view->facts.items[i];
    for (size_t i = 0; i < quantities; i++) {
        const struct es_type_quantity *q = &type->quantities[i];
        (*items)[n++] = (struct es_fact){.name = q->name,
                                         .dimension = q->written.unit != NULL ? q->written.unit->dimension
                                                                              : ES_DIM_NUMBER,
                                         .value = q->written.value,
                                         .dof = INFINITY};
    }
    facts->numbers = (struct es_facts){*items, n};
    for (size_t i = 0; i < n; i++)
        if (!es_known_facts_add(facts, (*items)[i].name))
            return es_fail(err, ES_NO_MEMORY, "no memory for the proof");
    return ES_OK;
}

/* One sentence a procedure: lines whose uncertainty the measure cannot tell before it has a recording. */
static void note_untold(struct es_check_report *report, const char *label, bool *no_memory)
{
    char sentence[1200];
    size_t n = 0;

    for (size_t i = 0; i < report->line_count; i++) {
        const struct es_check_line *l = &report->lines[i];
        if (strcmp(l->procedure, label) != 0 || !l->applies || l->not_tested != NULL || !isnan(l->u) ||
            n >= sizeof sentence)
            continue;
        if (n == 0)
            n = (size_t)snprintf(sentence, sizeof sentence,
                                 "%s: test uncertainty ratios that show only in a recording: %s", label,
                                 l->measurand);
        else
            n += (size_t)snprintf(sentence + n, sizeof sentence - n, "; %s", l->measurand);
    }
    if (n > 0)
        es_report_sentence(report, false, no_memory, sentence);
}

static bool view_has(const void *view, enum es_role role)
{
    return es_view_has(view, role);
}

/* Nobody can be asked by a procedure that this bench does not run anyhow. */
bool es_must_not_ask(const struct es_procedure *p, const struct es_station_view *view,
                     const struct es_type *type, bool unattended)
{
    char lack[160];

    return unattended && !es_lacks_for_procedure(p, type, view_has, view, lack, sizeof lack);
}

static enum es_status check_entry(const struct es_plan_entry *entry, const struct es_station_view *view,
                                  const struct es_type *type, bool unattended, struct es_known_facts *facts,
                                  struct es_findings *findings, struct es_check_report *report,
                                  struct es_error *err)
{
    struct es_walk walk;

    unattended = es_must_not_ask(entry->procedure, view, type, unattended);
    enum es_status s =
        es_walk_procedure(&walk, entry->procedure, view, type, unattended, findings, report, err);
    if (s != ES_OK)
        return s;
    struct es_check_procedure *p = &report->procedures[report->procedure_count++];
    p->bench_time = walk.bench_time;
    p->operator_time = walk.people_time;
    p->name = strdup(entry->label);
    report->bench_time += walk.bench_time;
    report->operator_time += walk.people_time;
    if (p->name == NULL)
        s = es_fail(err, ES_NO_MEMORY, "no memory for the report");
    else
        s = es_check_lines(&walk, entry->label, facts, err);
    if (s == ES_OK && view != NULL && type != NULL)
        note_untold(report, entry->label, &walk.no_memory);
    if (s == ES_OK && walk.no_memory)
        s = es_fail(err, ES_NO_MEMORY, "no memory for the report");
    es_walk_free(&walk);
    return s;
}

/* Cautions wait for a person before anything moves. */
static double caution_time(const struct es_plan *plan)
{
    double time = 0;

    for (size_t i = 0; i < plan->entry_count; i++)
        for (size_t k = 0; k < plan->entries[i].procedure->caution_count; k++)
            if (es_plan_caution_is_new(plan, i, k))
                time += ES_QUESTION_TIMEOUT;
    return time;
}

static void remark_ratios(struct es_check_report *report, bool *no_memory)
{
    char sentence[400];

    for (size_t i = 0; i < report->line_count; i++) {
        const struct es_check_line *l = &report->lines[i];
        if (l->not_tested != NULL || !(l->tur < 4) || l->tur < ES_LEAST_TUR)
            continue;
        (void)snprintf(
            sentence, sizeof sentence,
            "%s: %s has a test uncertainty ratio of %.1f, less than the usual 4; its guard band takes "
            "a good part of the tolerance",
            l->procedure, l->measurand, l->tur);
        es_report_sentence(report, true, no_memory, sentence);
    }
}

static enum es_status check_plan(const struct es_plan *plan, const struct es_station_view *view,
                                 const struct es_type *type, bool unattended, struct es_findings *findings,
                                 struct es_check_report *report, struct es_error *err)
{
    struct es_known_facts facts = {0};
    struct es_fact *items = NULL;
    const size_t before = findings->count;
    bool no_memory = false;

    *report = (struct es_check_report){0};
    report->procedures = calloc(plan->entry_count, sizeof *report->procedures);
    enum es_status s = report->procedures != NULL ? gather_facts(view, type, &facts, &items, err)
                                                  : es_fail(err, ES_NO_MEMORY, "no memory for the report");
    for (size_t i = 0; i < plan->entry_count && s == ES_OK; i++)
        s = check_entry(&plan->entries[i], view, type, unattended, &facts, findings, report, err);
    if (!unattended)
        report->caution_time = caution_time(plan);
    report->operator_time += report->caution_time;
    if (s == ES_OK)
        remark_ratios(report, &no_memory);
    free(items);
    free(facts.names);
    if (s == ES_OK && (no_memory || findings->out_of_memory))
        s = es_fail(err, ES_NO_MEMORY, "no memory for the report");
    if (s != ES_OK) {
        es_check_report_free(report);
        return s;
    }
    return findings->count > before ? es_findings_status(findings, err) : ES_OK;
}

enum es_status es_plan_check(const struct es_plan *plan, const struct es_station_view *view,
                             const struct es_type *type, struct es_findings *findings,
                             struct es_check_report *report, struct es_error *err)
{
    return check_plan(plan, view, type, false, findings, report, err);
}

enum es_status es_plan_check_unattended(const struct es_plan *plan, const struct es_station_view *view,
                                        const struct es_type *type, struct es_findings *findings,
                                        struct es_check_report *report, struct es_error *err)
{
    return check_plan(plan, view, type, true, findings, report, err);
}

enum es_status es_procedure_check(const struct es_procedure *procedure, const struct es_station_view *view,
                                  const struct es_type *type, struct es_findings *findings,
                                  struct es_check_report *report, struct es_error *err)
{
    /* Borrowed, not owned: this plan is never freed. */
    struct es_plan_entry entry = {.procedure = (struct es_procedure *)(uintptr_t)procedure,
                                  .label = procedure->name};
    const struct es_plan plan = {.file = procedure->file,
                                 .name = procedure->name,
                                 .version = procedure->version,
                                 .entries = &entry,
                                 .entry_count = 1};
    return es_plan_check(&plan, view, type, findings, report, err);
}

/* One unit through the whole plan, on a bench of its own. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/reason.h"
#include "rig/study/inner.h"

/* Enough for shares over hundreds of units: the ends of one interval are uncertain by a fiftieth of u then.
 */
#define STUDY_TRIALS 10000

struct bench_of_one {
    struct es_virtual *v;
    struct es_virtual_station *station;
    struct es_shadow *shadow; /* NULL: truths are not wanted */
};

static void close_bench(struct bench_of_one *b)
{
    es_shadow_free(b->shadow);
    es_virtual_station_close(b->station);
    es_virtual_free(b->v);
}

static bool truth_wanted(const struct es_study_order *o, const struct es_study_unit *unit)
{
    const struct es_virtual_fault *fault = es_virtual_fault_get(unit->fault);
    if (!fault) {
        return unit->nth < o->truths;
    }
    return fault->place != ES_VIRTUAL_BENCH && unit->nth < o->truths_faulty;
}

static enum es_status open_bench(const struct es_study *study, const struct es_study_unit *unit,
                                 struct bench_of_one *b, struct es_error *err)
{
    const struct es_study_type *type = &study->types[unit->type];
    const struct es_virtual_fault_setting fault = {.fault = unit->fault, .severity = unit->severity};
    struct es_virtual_config config;
    es_virtual_config_init(&config, (enum es_virtual_type)type->kind);
    es_virtual_config_from_station(&type->bench->stations[0], &config);
    config.feedback = type->feedback;
    config.shutdown_module = type->sheet->fitted[ES_FITTED_SHUTDOWN];
    config.seed = unit->seed;
    config.faults = &fault;
    config.fault_count = unit->fault >= 0;
    *b = (struct bench_of_one){0};
    enum es_status status = es_virtual_new(&config, &b->v, err);
    if (status == ES_OK) {
        status =
            es_virtual_station_open(type->bench, &type->bench->stations[0], b->v, NULL, &b->station, err);
    }
    if (status == ES_OK && truth_wanted(&study->order, unit)) {
        status = es_shadow_new(es_virtual_station_site(b->station), b->v, &b->shadow, err);
    }
    if (status != ES_OK) {
        close_bench(b);
    }
    return status;
}

/* Lines stand in the plan's order; looked for from `from` on, then from the start. */
static const struct es_line *find_line(const struct es_outcome *o, const struct es_study_slot *slot,
                                       size_t from)
{
    for (size_t i = 0; i < o->line_count; i++) {
        const struct es_line *line = &o->lines[(from + i) % o->line_count];
        if (!strcmp(line->measurand, slot->measurand) && !strcmp(line->procedure, slot->procedure)) {
            return line;
        }
    }
    return NULL;
}

static enum es_status take_line(const struct es_line *line, const char *otherwise,
                                struct es_study_value *value, struct es_error *err)
{
    char kind[ES_REASON_KIND];
    *value = (struct es_study_value){
        .verdict = ES_NOT_TESTED, .value = NAN, .u = NAN, .U = NAN, .low = NAN, .high = NAN, .truth = NAN};
    if (line) {
        value->verdict = line->verdict;
        value->valid = line->value.valid;
    }
    if (value->valid) {
        value->value = line->value.value;
        value->u = line->value.u;
        value->U = line->value.U;
        const struct es_spread *drawn = &line->value.spread;
        value->low = drawn->trials > 0 ? drawn->low : value->value - value->U;
        value->high = drawn->trials > 0 ? drawn->high : value->value + value->U;
    }
    if (value->verdict != ES_NOT_TESTED) {
        return ES_OK;
    }
    es_reason_kind(line ? line->reason : otherwise, kind);
    value->reason = strdup(kind);
    return value->reason ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the study");
}

static enum es_status take_outcome(const struct es_study *study, const struct es_outcome *o,
                                   struct es_study_unit *unit, struct es_error *err)
{
    const struct es_study_type *type = &study->types[unit->type];
    enum es_status status = ES_OK;
    unit->completed = o->completed;
    unit->verdict = o->completed ? o->verdict : ES_NOT_TESTED;
    if (!o->completed) {
        unit->ended_because = strdup(o->ended_because ? o->ended_because : "not known why");
    }
    unit->values = calloc(type->slot_count ? type->slot_count : 1, sizeof *unit->values);
    if (!unit->values || (!o->completed && !unit->ended_because)) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study");
    }
    for (size_t i = 0; i < type->slot_count && status == ES_OK; i++) {
        status = take_line(find_line(o, &type->slots[i], i), unit->ended_because, &unit->values[i], err);
    }
    return status;
}

/* The bench would not start: that is an outcome too, and not the unit's fault. */
static enum es_status not_begun(struct es_outcome *o, const struct es_error *why, struct es_error *err)
{
    es_outcome_init(o);
    o->ended_because = strdup(why->text);
    return o->ended_because ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the study");
}

/* Somebody is there, has done what is asked for, and answers at once. */
static enum es_status say_yes(void *self, const struct es_question *q, struct es_answer *a,
                              bool (*give_up)(const void *site), const void *site, struct es_error *err)
{
    (void)self;
    (void)q;
    (void)give_up;
    (void)site;
    (void)err;
    *a = (struct es_answer){.yes = true, .person = "study"};
    return ES_OK;
}

static enum es_status run(const struct es_study *study, const struct es_study_unit *unit,
                          const struct es_site *site, struct es_outcome *outcome, struct es_error *err)
{
    const struct es_run_order order = {.plan_path = study->order.plan,
                                       .type_path = study->order.types[unit->type],
                                       .serial = "study",
                                       .person = "study",
                                       .overdue_reason = "a study certifies nothing",
                                       .seed = unit->seed,
                                       .most_trials = STUDY_TRIALS};
    /* A fixed day: the study must not depend on the date. */
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "study"};
    const struct es_run_watch watch = {.ask = say_yes};
    struct es_findings findings = {0};
    struct es_error why = {0};
    enum es_status status = es_run_execute(&order, site, &places, &watch, &findings, outcome, NULL, &why);
    if (status == ES_INTERLOCK || status == ES_TIMEOUT || status == ES_RANGE) {
        status = not_begun(outcome, &why, err);
    } else if (status != ES_OK) {
        (void)es_fail(err, status, "%s", why.text);
    }
    es_findings_free(&findings);
    return status;
}

enum es_status es_study_unit_run(const struct es_study *study, struct es_study_unit *unit,
                                 struct es_outcome *outcome, struct es_error *err)
{
    struct bench_of_one b;
    struct es_outcome o;
    enum es_status status = open_bench(study, unit, &b, err);
    if (status != ES_OK) {
        return status;
    }
    es_outcome_init(&o);
    const struct es_site *site = b.shadow ? es_shadow_site(b.shadow) : es_virtual_station_site(b.station);
    const es_time began = es_virtual_now(b.v);
    status = run(study, unit, site, &o, err);
    if (status == ES_OK) {
        unit->duration = es_seconds(es_virtual_now(b.v) - began);
        status = take_outcome(study, &o, unit, err);
    }
    if (status == ES_OK && b.shadow && !es_shadow_whole(b.shadow)) {
        status = es_fail(err, ES_NO_MEMORY, "no memory for the true traces");
    }
    if (status == ES_OK && b.shadow) {
        status = es_study_truths(study, b.shadow, b.v, unit, err);
    }
    if (status == ES_OK && outcome) {
        *outcome = o;
    } else {
        es_outcome_free(&o);
    }
    close_bench(&b);
    return status;
}

void es_study_unit_free(const struct es_study *study, struct es_study_unit *unit)
{
    for (size_t i = 0; unit->values && i < study->types[unit->type].slot_count; i++) {
        free(unit->values[i].reason);
    }
    free(unit->values);
    free(unit->ended_because);
    *unit = (struct es_study_unit){0};
}

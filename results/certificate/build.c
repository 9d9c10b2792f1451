/* Outcome -> payload. Which clause of ISO/IEC 17025:2017 each member answers: docs/certificate.md. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "results/certificate/build_parts.h"
#include "results/certificate/canonical.h"
#include "results/certificate/format.h"
#include "rig/base/text.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const char *gas_conditions(const struct es_unit *unit)
{
    return unit ? unit->conditions : NULL;
}

/* ---- Head: who, what, where ---- */

static void add_document(struct es_tree *t, cJSON *parent, const char *name, const char *const texts[4])
{
    static const char *const members[4] = {"name", "title", "version", "sha256"};
    if (!texts[0]) {
        return;
    }
    cJSON *object = es_tree_object(t, parent, name);
    for (size_t i = 0; i < 4; i++) {
        es_tree_text(t, object, members[i], texts[i]);
    }
}

static const char *title_of(const struct es_maker *m)
{
    if (m->meta->virtual_bench) {
        return m->o->completed ? "Result from a virtual bench: no real unit was tested"
                               : "Record from a virtual bench of a test that was not completed";
    }
    return m->o->completed ? "Test certificate of a valve positioner"
                           : "Record of a test that was not completed";
}

static void add_head(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    const struct es_outcome *o = m->o;
    const struct es_certificate_meta *meta = m->meta;
    es_tree_text(t, m->root, "endstop", ES_CERTIFICATE_FORMAT);
    es_tree_text(t, m->root, "kind", o->completed ? "certificate" : "record");
    es_tree_text(t, m->root, "title", title_of(m));
    es_tree_text(t, m->root, "number", meta->number);
    es_tree_text(t, m->root, "issued", meta->issued);
    es_tree_text(t, m->root, "replaces", meta->replaces);
    es_tree_text(t, m->root, "replaces_because", meta->replaces_because);
    cJSON *issuer = es_tree_object(t, m->root, "issuer");
    es_tree_text(t, issuer, "key", meta->issuer_thumbprint);
    char software[80];
    (void)snprintf(software, sizeof software, "endstop %s", meta->software_version);
    es_tree_text(t, issuer, "software", software);
    es_tree_bool(t, issuer, "clock_synchronised", meta->clock_synchronised);
    if (meta->laboratory || meta->laboratory_address || o->place) {
        cJSON *laboratory = es_tree_object(t, m->root, "laboratory");
        es_tree_text(t, laboratory, "name", meta->laboratory);
        es_tree_text(t, laboratory, "address", meta->laboratory_address);
        es_tree_text(t, laboratory, "place_of_test", o->place);
    }
    cJSON *bench = es_tree_object(t, m->root, "bench");
    es_tree_text(t, bench, "name", o->bench);
    es_tree_text(t, bench, "sha256", o->bench_digest);
    es_tree_text(t, bench, "station", o->station);
    es_tree_bool(t, bench, "virtual", meta->virtual_bench);
    es_tree_text(t, m->root, "customer", o->customer);
    cJSON *unit = es_tree_object(t, m->root, "unit");
    es_tree_text(t, unit, "serial", o->unit_serial);
    es_tree_text(t, unit, "tag", o->unit_tag);
    es_tree_text(t, unit, "type", o->type_title ? o->type_title : o->type);
    es_build_origin(m, unit);
    es_tree_text(t, m->root, "state", o->state);
    es_tree_text(t, m->root, "reason", o->reason);
    es_tree_text(t, m->root, "parts_replaced", o->parts_replaced);
    add_document(t, m->root, "type_sheet",
                 (const char *const[4]){o->type, o->type_title, o->type_version, o->type_digest});
    add_document(t, m->root, "plan",
                 (const char *const[4]){o->plan, o->plan_title, o->plan_version, o->plan_digest});
}

static void add_run(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    const struct es_outcome *o = m->o;
    cJSON *run = es_tree_object(t, m->root, "run");
    es_tree_text(t, run, "id", o->run);
    es_tree_text(t, run, "began", o->began);
    es_tree_text(t, run, "ended", o->ended);
    es_tree_bool(t, run, "completed", o->completed);
    es_tree_text(t, run, "ended_because", o->ended_because);
    es_tree_number(t, run, "safe_state_after_s", es_round_digits(o->safe_state_time, 3));
    es_tree_bool(t, run, "clock_synchronised", o->clock_synchronised);
    es_tree_text(t, run, "person", o->person);
    es_tree_bool(t, run, "attended", o->attended);
    if (o->seed != 0) { /* as text: a JSON number holds 53 bits */
        char seed[24];
        (void)snprintf(seed, sizeof seed, "%" PRIu64, o->seed);
        es_tree_text(t, run, "seed", seed);
    }
}

static void add_procedures(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = es_tree_array(t, m->root, "procedures");
    for (size_t i = 0; i < m->o->procedure_count; i++) {
        const struct es_procedure_record *p = &m->o->procedures[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", p->name);
        es_tree_text(t, object, "title", p->title);
        es_tree_text(t, object, "version", p->version);
        es_tree_text(t, object, "sha256", p->digest);
        es_tree_text(t, object, "began", p->began);
        es_tree_number(t, object, "duration_s", es_round_like(p->duration, 100, 4));
        es_tree_bool(t, object, "completed", p->completed);
        es_tree_text(t, object, "skipped_because", p->skipped);
    }
}

/* ---- Lines ---- */

static void add_limit(struct es_tree *t, cJSON *line, const struct es_limit *l)
{
    cJSON *limit = es_tree_object(t, line, "limit");
    es_tree_text(t, limit, "name", l->name);
    es_tree_number(t, limit, "lower", es_round_digits(es_to_unit(l->lower, l->unit), 12));
    es_tree_number(t, limit, "upper", es_round_digits(es_to_unit(l->upper, l->unit), 12));
    es_tree_bool(t, limit, "required", l->required);
}

/* [rule:monte-carlo-said] An interval that does not follow from value, U and k stands in full,
 * with what JCGM 101 wants reported beside it. */
static void add_monte_carlo(struct es_tree *t, cJSON *line, const struct es_measured *v,
                            const struct es_unit *unit)
{
    if (v->spread.trials == 0) {
        return;
    }
    double U = es_to_unit_difference(v->U, unit);
    cJSON *object = es_tree_object(t, line, "monte_carlo");
    es_tree_number(t, object, "low", es_round_like(es_to_unit(v->spread.low, unit), U, 4));
    es_tree_number(t, object, "high", es_round_like(es_to_unit(v->spread.high, unit), U, 4));
    es_tree_number(t, object, "u", es_round_digits(es_to_unit_difference(v->u, unit), 4));
    es_tree_number(t, object, "trials", (double)v->spread.trials);
    es_tree_bool(t, object, "stable", v->spread.stable);
}

/* JCGM 106:2012 clause 9.5; only where the type sheet states how such units are distributed. */
static void add_global_risk(struct es_tree *t, cJSON *line, const struct es_line *l)
{
    if (!isfinite(l->consumer_risk) || l->limit.prior.kind == ES_PRIOR_NONE) {
        return;
    }
    cJSON *object = es_tree_object(t, line, "global_risk");
    es_tree_number(t, object, "consumer", es_round_digits(l->consumer_risk < 1e-9 ? 0 : l->consumer_risk, 3));
    es_tree_number(t, object, "producer", es_round_digits(l->producer_risk < 1e-9 ? 0 : l->producer_risk, 3));
}

static void add_line(struct es_maker *m, cJSON *list, const struct es_line *line)
{
    struct es_tree *t = &m->tree;
    cJSON *object = es_tree_object(t, list, NULL);
    es_tree_text(t, object, "procedure", line->procedure);
    es_tree_text(t, object, "measurand", line->measurand);
    es_tree_text(t, object, "unit", line->limit.unit->name);
    es_tree_number(t, object, "decimals", line->limit.decimals);
    add_limit(t, object, &line->limit);
    es_tree_text(t, object, "rule", es_rule_word(line->limit.rule));
    if (line->value.valid) {
        es_build_value(t, object, &line->value, line->limit.unit);
        add_monte_carlo(t, object, &line->value, line->limit.unit);
    }
    if (!m->o->completed) { /* a record judges nothing, and says once why the run ended */
        bool said = line->reason && m->o->ended_because && strstr(line->reason, m->o->ended_because);
        es_tree_text(t, object, "reason", line->value.valid || said ? NULL : line->reason);
        return;
    }
    if (line->value.valid) {
        double guard = es_to_unit_difference(line->guard, line->limit.unit);
        es_tree_number(t, object, "guard_band", es_round_digits(guard, 4));
        /* Below one in 10^12 no model of the errors is to be believed. */
        double risk = line->false_acceptance < 1e-12 ? 0 : line->false_acceptance;
        es_tree_number(t, object, "false_acceptance", es_round_digits(risk, 3));
        add_global_risk(t, object, line);
    }
    es_tree_text(t, object, "verdict", es_verdict_word(line->verdict));
    es_tree_text(t, object, "reason", line->reason);
}

static void add_condition(struct es_maker *m, cJSON *conditions, const struct es_unit *unit)
{
    const char *text = gas_conditions(unit);
    if (text && !cJSON_HasObjectItem(conditions, unit->name)) {
        es_tree_text(&m->tree, conditions, unit->name, text);
    }
}

/* Reference states of the gas units that occur, once each. */
static void add_conditions(struct es_maker *m)
{
    cJSON *conditions = cJSON_CreateObject();
    for (size_t i = 0; i < m->o->line_count; i++) {
        add_condition(m, conditions, m->o->lines[i].limit.unit);
    }
    for (size_t i = 0; i < m->o->curve_count; i++) {
        add_condition(m, conditions, m->o->curves[i].unit);
    }
    if (conditions && !conditions->child) {
        cJSON_Delete(conditions);
        return;
    }
    es_tree_item(&m->tree, m->root, "reference_conditions", conditions);
}

/* The group of limits that share a source; made when there is none. */
static cJSON *source_group(struct es_tree *t, cJSON *groups, const char *source)
{
    cJSON *group = NULL;
    cJSON_ArrayForEach(group, groups)
    {
        if (strcmp(cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(group, "source")), source) == 0) {
            return cJSON_GetObjectItemCaseSensitive(group, "limits");
        }
    }
    group = es_tree_object(t, groups, NULL);
    es_tree_text(t, group, "source", source);
    return es_tree_array(t, group, "limits");
}

static bool holds(const cJSON *names, const char *name)
{
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, names)
    {
        if (strcmp(item->valuestring, name) == 0) {
            return true;
        }
    }
    return false;
}

/* Where the limits' figures come from: a text serves many limits, and a limit many lines. */
static void add_sources(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *groups = es_tree_array(t, m->root, "limit_sources");
    for (size_t i = 0; i < m->o->line_count && !t->out_of_memory; i++) {
        const struct es_limit *l = &m->o->lines[i].limit;
        cJSON *names = l->source ? source_group(t, groups, l->source) : NULL;
        if (names && !holds(names, l->name)) {
            es_tree_text(t, names, NULL, l->name);
        }
    }
}

static void add_lines(struct es_maker *m)
{
    cJSON *list = es_tree_array(&m->tree, m->root, "lines");
    for (size_t i = 0; i < m->o->line_count; i++) {
        add_line(m, list, &m->o->lines[i]);
    }
    add_conditions(m);
    add_sources(m);
    if (m->o->completed) {
        es_tree_text(&m->tree, m->root, "verdict", es_verdict_word(m->o->verdict));
    }
}

/* ---- The whole ---- */

static enum es_status missing(const char *what, struct es_error *err)
{
    return es_fail(err, ES_BAD_INPUT, "no certificate can be made: %s is missing", what);
}

static enum es_status check_parts(const struct es_outcome *o, const struct es_certificate_meta *meta,
                                  struct es_error *err)
{
    const struct {
        const char *value, *what;
        bool for_records;
    } parts[] = {{meta->number, "its number", true},
                 {meta->issued, "the time of issue", true},
                 {meta->software_version, "the program's version", true},
                 {meta->issuer_thumbprint, "the issuing key", true},
                 {o->run, "the run's identity", true},
                 {o->began, "the time at which the run began", true},
                 {o->ended, "the time at which the run ended", false},
                 {o->plan, "the test plan", false},
                 {o->type, "the type sheet", false},
                 {o->bench, "the bench's name", false},
                 {o->station, "the station", false},
                 {o->unit_serial, "the unit's serial number", false},
                 {o->person, "the person who ran the test", false}};
    for (size_t i = 0; i < COUNT(parts); i++) {
        if (!parts[i].value && (parts[i].for_records || o->completed)) {
            return missing(parts[i].what, err);
        }
    }
    if (meta->replaces && !meta->replaces_because) {
        return missing("why it replaces another", err);
    }
    if (o->completed && o->line_count == 0) {
        return missing("every measured line", err);
    }
    if (!o->completed && !o->ended_because) {
        return missing("why the run was not completed", err);
    }
    for (size_t i = 0; i < o->line_count; i++) {
        const struct es_line *l = &o->lines[i];
        if (!l->procedure || !l->measurand || !l->limit.unit || !l->limit.name) {
            return es_fail(err, ES_INTERNAL, "line %zu of the outcome has no name, limit or unit", i + 1);
        }
    }
    return ES_OK;
}

/* [rule:no-pass-from-nothing] A pass must follow from the lines, whoever filled the outcome. */
static enum es_status check_verdict(const struct es_outcome *o, struct es_error *err)
{
    bool claims_pass = o->verdict == ES_PASS || o->verdict == ES_CONDITIONAL_PASS;
    if (!o->completed || !claims_pass) {
        return ES_OK;
    }
    enum es_verdict derived = es_judge_overall(o->lines, o->line_count);
    if (derived != o->verdict && !(derived == ES_PASS && o->verdict == ES_CONDITIONAL_PASS)) {
        return es_fail(err, ES_INTERNAL,
                       "the outcome says \"%s\", its lines give \"%s\": no certificate is made",
                       es_verdict_word(o->verdict), es_verdict_word(derived));
    }
    return ES_OK;
}

static enum es_status build_once(const struct es_outcome *o, const struct es_certificate_meta *meta,
                                 size_t points, char **out, size_t *length, struct es_error *err)
{
    struct es_maker m = {.o = o, .meta = meta, .root = cJSON_CreateObject()};
    if (!m.root) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a certificate");
    }
    add_head(&m);
    add_run(&m);
    add_procedures(&m);
    add_lines(&m);
    es_build_visit(&m);
    es_build_behind(&m);
    es_build_curves(&m, points);
    es_build_causes(&m);
    es_build_statements(&m);
    enum es_status st = m.tree.out_of_memory ? es_fail(err, ES_NO_MEMORY, "no memory for a certificate")
                                             : es_canonical_write(m.root, out, length, err);
    cJSON_Delete(m.root);
    return st;
}

enum es_status es_certificate_build(const struct es_outcome *outcome, const struct es_certificate_meta *meta,
                                    char **out, size_t *length, struct es_error *err)
{
    enum es_status st = check_parts(outcome, meta, err);
    if (st == ES_OK) {
        st = check_verdict(outcome, err);
    }
    if (st != ES_OK) {
        return st;
    }
    /* Reading numbers costs more than checking the signature, so that curves give way first; but a few points
     * stay whatever the size, or there would be nothing to see. Signatures to come are left some room. */
    static const size_t points[] = {360, 300, 250, 210, 180, 150, 120};
    const size_t aim = ES_CERTIFICATE_AIM_BYTES - 900;
    for (size_t i = 0;; i++) {
        char *bytes = NULL;
        size_t size = 0;
        st = build_once(outcome, meta, points[i], &bytes, &size, err);
        if (st != ES_OK) {
            return st;
        }
        if (size <= aim || i + 1 == COUNT(points)) {
            *out = bytes;
            *length = size;
            return ES_OK;
        }
        free(bytes);
    }
}

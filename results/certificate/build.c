/* Outcome -> payload. Which clause of ISO/IEC 17025:2017 each member answers: docs/certificate.md. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "results/certificate/canonical.h"
#include "results/certificate/certificate.h"
#include "results/certificate/curves.h"
#include "results/certificate/format.h"
#include "results/certificate/tree.h"
#include "rig/base/text.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

struct maker {
    struct es_tree tree;
    const struct es_outcome *o;
    const struct es_certificate_meta *meta;
    cJSON *root;
};

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

static const char *title_of(const struct maker *m)
{
    if (m->meta->virtual_bench) {
        return m->o->completed ? "Result from a virtual bench: no real unit was tested"
                               : "Record from a virtual bench of a test that was not completed";
    }
    return m->o->completed ? "Test certificate of a valve positioner"
                           : "Record of a test that was not completed";
}

static void add_head(struct maker *m)
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
    es_tree_text(t, m->root, "state", o->state);
    es_tree_text(t, m->root, "reason", o->reason);
    es_tree_text(t, m->root, "parts_replaced", o->parts_replaced);
    add_document(t, m->root, "type_sheet",
                 (const char *const[4]){o->type, o->type_title, o->type_version, o->type_digest});
    add_document(t, m->root, "plan",
                 (const char *const[4]){o->plan, o->plan_title, o->plan_version, o->plan_digest});
}

static void add_run(struct maker *m)
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

static void add_procedures(struct maker *m)
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

/* Measured value with U to four significant digits: two more than anyone should state (JCGM 100 7.2.6), so
 * that nothing is lost by reading it from here. */
static void add_value(struct es_tree *t, cJSON *object, const struct es_measured *v,
                      const struct es_unit *unit)
{
    double U = es_to_unit_difference(v->U, unit);
    es_tree_number(t, object, "value", es_round_like(es_to_unit(v->value, unit), U, 4));
    es_tree_number(t, object, "U", es_round_digits(U, 4));
    es_tree_number(t, object, "k", es_round_digits(v->k, 4));
    es_tree_number(t, object, "dof", es_round_digits(v->dof, 4)); /* left out when infinite */
}

static void add_limit(struct es_tree *t, cJSON *line, const struct es_limit *l)
{
    cJSON *limit = es_tree_object(t, line, "limit");
    es_tree_text(t, limit, "name", l->name);
    es_tree_number(t, limit, "lower", es_round_digits(es_to_unit(l->lower, l->unit), 12));
    es_tree_number(t, limit, "upper", es_round_digits(es_to_unit(l->upper, l->unit), 12));
    es_tree_bool(t, limit, "required", l->required);
}

static void add_line(struct maker *m, cJSON *list, const struct es_line *line)
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
        add_value(t, object, &line->value, line->limit.unit);
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
    }
    es_tree_text(t, object, "verdict", es_verdict_word(line->verdict));
    es_tree_text(t, object, "reason", line->reason);
}

static void add_condition(struct maker *m, cJSON *conditions, const struct es_unit *unit)
{
    const char *text = gas_conditions(unit);
    if (text && !cJSON_HasObjectItem(conditions, unit->name)) {
        es_tree_text(&m->tree, conditions, unit->name, text);
    }
}

/* Reference states of the gas units that occur, once each. */
static void add_conditions(struct maker *m)
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
static void add_sources(struct maker *m)
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

static void add_lines(struct maker *m)
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

/* ---- What stands behind the lines ---- */

static void add_environment(struct maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = m->o->environment_count > 0 ? es_tree_array(t, m->root, "environment") : NULL;
    for (size_t i = 0; i < m->o->environment_count; i++) {
        const struct es_measured *v = &m->o->environment[i];
        const struct es_unit *unit = es_dimension_unit(v->dimension);
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", v->name);
        es_tree_text(t, object, "unit", unit->name);
        if (v->valid) {
            add_value(t, object, v, unit);
        } else {
            es_tree_text(t, object, "reason", v->reason);
        }
    }
}

static void add_instruments(struct maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = es_tree_array(t, m->root, "instruments");
    for (size_t i = 0; i < m->o->instrument_count; i++) {
        const struct es_instrument_record *r = &m->o->instruments[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", r->name);
        es_tree_text(t, object, "identity", r->identity);
        es_tree_text(t, object, "calibration", r->calibration);
        es_tree_text(t, object, "calibrated", r->calibrated);
        es_tree_text(t, object, "due", r->due);
    }
    es_tree_text(t, m->root, "issued_although_overdue_because", m->meta->overdue_reason);
}

static void add_confirmations(struct maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = m->o->confirmation_count > 0 ? es_tree_array(t, m->root, "confirmations") : NULL;
    for (size_t i = 0; i < m->o->confirmation_count; i++) {
        const struct es_confirmation *c = &m->o->confirmations[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "text", c->text);
        es_tree_text(t, object, "answer", c->answer);
        es_tree_text(t, object, "person", c->person);
        es_tree_text(t, object, "time", c->when);
    }
}

static void add_recordings(struct maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = m->o->recording_count > 0 ? es_tree_array(t, m->root, "recordings") : NULL;
    for (size_t i = 0; i < m->o->recording_count; i++) {
        const struct es_recording_record *r = &m->o->recordings[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", r->name);
        es_tree_text(t, object, "procedure", r->procedure);
        es_tree_text(t, object, "sha256", r->digest);
        es_tree_number(t, object, "bytes", (double)r->bytes);
    }
}

static double span_of(const double *values, size_t count)
{
    double low = INFINITY;
    double high = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, values[i]);
        high = fmax(high, values[i]);
    }
    return high > low ? high - low : 1;
}

/* Finite points only: a gap in the recording is no point of a drawing. */
static void add_points(struct es_tree *t, cJSON *object, const struct es_curve *c, const size_t *picked,
                       size_t count)
{
    cJSON *times = es_tree_array(t, object, "t_s");
    cJSON *values = es_tree_array(t, object, "y");
    double t_scale = span_of(c->t, c->count);
    double y_scale = es_to_unit_difference(span_of(c->y, c->count), c->unit);
    for (size_t i = 0; i < count; i++) {
        double y = es_to_unit(c->y[picked[i]], c->unit);
        if (isfinite(y) && isfinite(c->t[picked[i]])) {
            es_tree_number(t, times, NULL, es_round_like(c->t[picked[i]], t_scale, 4));
            es_tree_number(t, values, NULL, es_round_like(y, y_scale, 3));
        }
    }
}

/* All curves share `points`. */
static void add_curves(struct maker *m, size_t points)
{
    struct es_tree *t = &m->tree;
    size_t curves = m->o->curve_count;
    size_t each = curves > 0 ? points / curves : 0;
    if (each < 4) { /* too few to draw */
        return;
    }
    cJSON *list = es_tree_array(t, m->root, "curves");
    size_t *picked = calloc(each, sizeof *picked);
    if (!picked) {
        t->out_of_memory = true;
        return;
    }
    for (size_t i = 0; i < curves; i++) {
        const struct es_curve *c = &m->o->curves[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "recording", c->recording);
        es_tree_text(t, object, "series", es_role_info(c->role)->name);
        es_tree_text(t, object, "unit", c->unit->name);
        size_t count = 0;
        t->out_of_memory = !es_curve_thin(c, each, picked, &count) || t->out_of_memory;
        add_points(t, object, c, picked, count);
    }
    free(picked);
}

/* ---- Statements ---- */

/* Names of the instruments without a calibration, ", " between them; empty when there are none. */
static void untraceable(const struct es_outcome *o, struct es_text *names)
{
    for (size_t i = 0; i < o->instrument_count; i++) {
        if (!o->instruments[i].calibration && o->instruments[i].name) {
            es_text_printf(names, "%s%s", names->length > 0 ? ", " : "", o->instruments[i].name);
        }
    }
}

static void add_traceability(struct maker *m, cJSON *list)
{
    struct es_text text = {0};
    es_text_add(&text,
                "The values are metrologically traceable through the calibrations named under instruments");
    struct es_text names = {0};
    untraceable(m->o, &names);
    if (names.length > 0) {
        es_text_printf(&text, ", except those of instruments without one: %s", names.bytes);
    }
    es_text_add(&text, ".");
    m->tree.out_of_memory = m->tree.out_of_memory || text.out_of_memory || names.out_of_memory;
    es_tree_text(&m->tree, list, NULL, text.bytes);
    es_text_free(&names);
    es_text_free(&text);
}

static void add_statements(struct maker *m)
{
    static const char *const always[] = {
        "The results relate only to the unit named here, in the state in which it was tested.",
        "Customer, tag and reason are as the customer gave them.",
        "This document may be reproduced only in full.",
        "Nothing is said about what is not listed, about the unit's life to come, its electrical safety or "
        "its "
        "protection against explosion.",
        "The program that made this document is not a safety device. Repair of explosion-protected units and "
        "work "
        "on live circuits are left to licensed people under local rules.",
    };
    static const char *const judged =
        "U is the expanded uncertainty for a coverage probability of about 95 % with the stated k (JCGM "
        "100). Each "
        "line is judged by its rule after JCGM 106:2012 and ILAC-G8:09/2019; false_acceptance is the "
        "probability "
        "that the true value lies outside the limits although this value was measured.";
    struct es_tree *t = &m->tree;
    cJSON *list = es_tree_array(t, m->root, "statements");
    if (m->meta->virtual_bench) {
        es_tree_text(
            t, list, NULL,
            "VIRTUAL BENCH: the bench and the unit were computed. No real unit was tested, and this is no "
            "evidence about one.");
    }
    if (m->o->completed) {
        es_tree_text(t, list, NULL, judged);
    } else {
        es_tree_text(
            t, list, NULL,
            "The test was not completed. Values measured until then are given without verdict; whether the "
            "unit conforms is not known.");
    }
    if (m->meta->overdue_reason) {
        es_tree_text(t, list, NULL,
                     "At least one instrument was overdue for calibration; the reason for issuing all "
                     "the same is given.");
    }
    if (!m->meta->virtual_bench) {
        add_traceability(m, list);
    }
    for (size_t i = 0; i < COUNT(always); i++) {
        es_tree_text(t, list, NULL, always[i]);
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
    struct maker m = {.o = o, .meta = meta, .root = cJSON_CreateObject()};
    if (!m.root) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a certificate");
    }
    add_head(&m);
    add_run(&m);
    add_procedures(&m);
    add_lines(&m);
    add_environment(&m);
    add_instruments(&m);
    add_confirmations(&m);
    add_recordings(&m);
    add_curves(&m, points);
    add_statements(&m);
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

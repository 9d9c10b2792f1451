/* The proof of measurands: recordings, roles, limits, sampling rates, test uncertainty ratios. */
#include "procedures/engine/check_lines.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/type_sheet.h"

#define MOST_ROLES 8

bool es_known_facts_has(const struct es_known_facts *facts, const char *name)
{
    for (size_t i = 0; i < facts->count; i++)
        if (strcmp(facts->names[i], name) == 0)
            return true;
    return false;
}

bool es_known_facts_add(struct es_known_facts *facts, const char *name)
{
    if (es_known_facts_has(facts, name))
        return true;
    if (facts->count == facts->capacity) {
        const size_t capacity = facts->capacity > 0 ? 2 * facts->capacity : 32;
        const char **grown = realloc(facts->names, capacity * sizeof *grown);
        if (grown == NULL)
            return false;
        facts->names = grown;
        facts->capacity = capacity;
    }
    facts->names[facts->count++] = name;
    return true;
}

bool es_lacks_for_procedure(const struct es_procedure *p, const struct es_type *type,
                            bool (*has)(const void *self, enum es_role role), const void *self, char *text,
                            size_t size)
{
    for (size_t i = 0; i < p->need_count; i++) {
        const struct es_need *n = &p->needs[i];
        if (n->where_fitted || !es_when_applies(n->when, type))
            continue;
        if (type != NULL && !es_type_has_role(type, n->role))
            (void)snprintf(text, size, "a unit of this type has no %s", es_role_info(n->role)->name);
        else if (!has(self, n->role))
            (void)snprintf(text, size, "the bench has no %s", es_role_info(n->role)->name);
        else
            continue;
        return true;
    }
    return false;
}

bool es_lacks_for_measurand(const struct es_measurand *m, bool (*has)(const void *self, enum es_role role),
                            const void *self, char *text, size_t size)
{
    enum es_role roles[MOST_ROLES];
    const size_t count = m->measure->roles != NULL ? m->measure->roles(m->settings, roles) : 0;

    for (size_t i = 0; i < count; i++) {
        if (has(self, roles[i]))
            continue;
        (void)snprintf(text, size, "the bench has no %s", es_role_info(roles[i])->name);
        return true;
    }
    return false;
}

static bool view_has(const void *self, enum es_role role)
{
    return es_view_has(self, role);
}

static const struct es_step *recording_of(struct es_walk *w, const struct es_measurand *m,
                                          const struct es_slot *slot)
{
    for (size_t i = 0; i < w->recording_count; i++) {
        const struct es_walk_recording *r = &w->recordings[i];
        if (strcmp(r->step->recording, slot->recording) != 0)
            continue;
        const unsigned unmet = r->context & ~(1u << m->when) & ~(1u << ES_WHEN_ALWAYS);
        if (w->type == NULL && unmet != 0) {
            for (int when = ES_WHEN_ALWAYS + 1; when < ES_WHEN_COUNT; when++)
                if ((unmet & (1u << when)) != 0)
                    es_walk_fault(w, slot->place, slot->recording,
                                  "a recording that is always made, or \"when\": \"%s\" with the measurand",
                                  es_when_word((enum es_when)when));
        }
        return r->step;
    }
    es_walk_fault(w, slot->place, slot->recording, "the name of a recording that the steps make%s%s",
                  w->type != NULL ? " for this type of unit: " : "",
                  w->type != NULL ? es_action_word(w->type->action) : "");
    return NULL;
}

/* Each role of the measure must be in one of its recordings. *rate: the slowest of the recordings. */
static void check_recordings(struct es_walk *w, const struct es_measurand *m, double *rate)
{
    enum es_role roles[MOST_ROLES];
    const size_t count = m->measure->roles != NULL ? m->measure->roles(m->settings, roles) : 0;
    bool found[MOST_ROLES] = {false}, all = m->slot_count > 0;

    *rate = INFINITY;
    for (size_t k = 0; k < m->slot_count; k++) {
        const struct es_step *s = recording_of(w, m, &m->slots[k]);
        double r;
        if (s == NULL) {
            all = false;
            continue;
        }
        for (size_t i = 0; i < count; i++)
            for (size_t n = 0; n < s->role_count; n++)
                found[i] = found[i] || s->roles[n] == roles[i];
        if (s->rate.kind != ES_AMOUNT_NONE && es_recording_rate(s, w->view, w->type, &r, NULL, NULL) == ES_OK)
            *rate = fmin(*rate, r);
    }
    for (size_t i = 0; all && i < count; i++) /* commands travel with every recording */
        if (!found[i] && es_role_info(roles[i])->direction == ES_IN)
            es_walk_fault(w, m->place, es_role_info(roles[i])->name,
                          "a recording of this role among the measurand's recordings");
    if (!isfinite(*rate))
        *rate = 0;
}

/* From the bench file, the type sheet, an earlier measure, or measured by a role of that name. */
static bool fact_is_known(const struct es_walk *w, const struct es_known_facts *facts, const char *name)
{
    const enum es_role role = es_role_find(name);

    return es_known_facts_has(facts, name) || (role != ES_ROLE_NONE && es_view_has(w->view, role));
}

static void check_fact(struct es_walk *w, const struct es_measurand *m, const struct es_known_facts *facts,
                       const char *name)
{
    if (fact_is_known(w, facts, name))
        return;
    if (w->view == NULL || w->type == NULL)
        es_walk_note(w, "whether \"%s\" is known, which \"%s\" needs: no %s was given", name,
                     m->measure->name, w->view == NULL ? "bench file" : "type sheet");
    else
        es_walk_fault(
            w, m->place, m->measure->name,
            "a measure whose facts are known; \"%s\" is not: give it in the bench file or type sheet", name);
}

static bool is_among(const char *const *names, const char *name)
{
    for (; names != NULL && *names != NULL; names++)
        if (strcmp(*names, name) == 0)
            return true;
    return false;
}

/* What a measure needs, and what the procedure itself names. A name that stands only by default may be
 * unknown where something takes its place. */
static void check_facts(struct es_walk *w, const struct es_measurand *m, const struct es_known_facts *facts)
{
    const struct es_measure *measure = m->measure;

    for (size_t i = 0; measure->facts_needed != NULL && measure->facts_needed[i] != NULL; i++)
        check_fact(w, m, facts, measure->facts_needed[i]);
    for (size_t i = 0; i < measure->setting_count; i++) {
        const struct es_field *row = &measure->settings[i];
        if (!es_setting_is_fact(row))
            continue;
        const char *name = *(char *const *)(const void *)((const char *)m->settings + row->offset);
        if (name != NULL && (is_among(measure->fact_settings, row->name) || row->fallback == NULL ||
                             strcmp(name, row->fallback) != 0))
            check_fact(w, m, facts, name);
    }
}

static double tolerance_of(const struct es_limit *limit)
{
    if (isfinite(limit->lower) && isfinite(limit->upper))
        return limit->upper - limit->lower;
    return fabs(isfinite(limit->lower) ? limit->lower : limit->upper);
}

static void check_rate(struct es_walk *w, const struct es_measurand *m, const struct es_result *r,
                       struct es_check_line *line, double tolerance)
{
    line->rate_needed =
        m->measure->rate_needed != NULL ? m->measure->rate_needed(m->settings, r->output, tolerance) : 0;
    if (!(line->rate_needed > line->rate * (1 + 1e-9)) || line->rate <= 0)
        return;
    es_walk_fault(w, r->place, r->name,
                  "a recording of at least %.3g Hz for the limit \"%s\"; its recordings have %.3g Hz",
                  line->rate_needed, r->limit, line->rate);
}

static void check_ratio(struct es_walk *w, const struct es_measurand *m, const struct es_result *r,
                        const struct es_known_facts *facts, struct es_check_line *line, double tolerance)
{
    const struct es_channel_uncertainty *u[ES_ROLE_COUNT] = {NULL};

    if (w->view == NULL || m->measure->expected_u == NULL || line->not_tested != NULL)
        return;
    for (size_t i = 0; i < ES_ROLE_COUNT; i++)
        if (w->view->roles[i].present && w->view->roles[i].uncertainty_known)
            u[i] = &w->view->roles[i].u;
    line->u = m->measure->expected_u(m->settings, r->output, u, &facts->numbers);
    if (!isfinite(line->u)) {
        line->u = NAN;
        return;
    }
    if (line->u <= 0 || tolerance <= 0) /* counts and the like: nothing to compare */
        return;
    line->tur = tolerance / (2 * 2 * line->u);
    if (line->tur < ES_LEAST_TUR)
        es_walk_fault(
            w, r->place, r->name,
            "a test uncertainty ratio of at least %.1f against the limit \"%s\"; this bench gives %.2f",
            ES_LEAST_TUR, r->limit, line->tur);
}

static bool same_dimension(const struct es_measurand *m, const struct es_result *r,
                           const struct es_limit *limit)
{
    enum es_role roles[MOST_ROLES];
    const enum es_dimension d = m->measure->outputs[r->output].dimension;
    const enum es_dimension is = limit->unit != NULL ? limit->unit->dimension : ES_DIM_NUMBER;

    if (d != ES_DIM_COUNT)
        return d == is;
    if (m->measure->roles == NULL || m->measure->roles(m->settings, roles) == 0)
        return true;
    const struct es_role_info *info = es_role_info(roles[0]);
    return is == info->dimension || is == info->other_dimension;
}

static char *copy(struct es_walk *w, const char *text)
{
    char *c = strdup(text);
    if (c == NULL)
        w->no_memory = true;
    return c;
}

static void check_limit(struct es_walk *w, const struct es_measurand *m, const struct es_result *r,
                        const struct es_known_facts *facts, struct es_check_line *line)
{
    if (w->type == NULL) {
        es_walk_note(w, "limits, sampling rates and test uncertainty ratios: no type sheet was given");
        return;
    }
    const struct es_limit *limit = es_type_limit(w->type, r->limit);
    if (limit == NULL) {
        es_walk_fault(w, r->place, r->limit,
                      "the name of a limit; the type sheet \"%s\" has none of this name", w->type->name);
        return;
    }
    line->lower = limit->lower;
    line->upper = limit->upper;
    line->unit = limit->unit;
    line->decimals = limit->decimals;
    if (!same_dimension(m, r, limit)) {
        es_walk_fault(w, r->place, r->limit, "a limit of the same dimension as \"%s\" of the measure \"%s\"",
                      m->measure->outputs[r->output].name, m->measure->name);
        return;
    }
    const double tolerance = tolerance_of(limit);
    check_rate(w, m, r, line, tolerance);
    check_ratio(w, m, r, facts, line, tolerance);
}

static void check_result(struct es_walk *w, const char *label, const struct es_measurand *m,
                         const struct es_result *r, const struct es_known_facts *facts, double rate,
                         const char *lack, struct es_check_line *line)
{
    *line = (struct es_check_line){.applies = es_when_applies(m->when, w->type),
                                   .lower = NAN,
                                   .upper = NAN,
                                   .u = NAN,
                                   .tur = NAN,
                                   .rate = rate};
    line->procedure = copy(w, label);
    line->measurand = copy(w, r->name);
    line->measure = copy(w, m->measure->name);
    line->output = copy(w, m->measure->outputs[r->output].name);
    line->limit = copy(w, r->limit);
    if (lack != NULL)
        line->not_tested = copy(w, lack);
    if (line->applies)
        check_limit(w, m, r, facts, line);
}

static void check_measurand(struct es_walk *w, const char *label, const struct es_measurand *m,
                            const struct es_known_facts *facts, const char *procedure_lack)
{
    double rate = 0;
    char text[160];
    const char *lack = procedure_lack;

    if (es_when_applies(m->when, w->type)) {
        check_recordings(w, m, &rate);
        if (lack == NULL && es_lacks_for_measurand(m, view_has, w->view, text, sizeof text))
            lack = text;
        if (lack == NULL)
            check_facts(w, m, facts);
    }
    for (size_t i = 0; i < m->result_count; i++)
        check_result(w, label, m, &m->results[i], facts, rate, lack,
                     &w->report->lines[w->report->line_count++]);
}

static void unique_names(struct es_walk *w)
{
    const struct es_procedure *p = w->procedure;

    for (size_t a = 0; a < p->measurand_count; a++)
        for (size_t i = 0; i < p->measurands[a].result_count; i++)
            for (size_t b = 0; b <= a; b++)
                for (size_t k = 0; k < (b == a ? i : p->measurands[b].result_count); k++) {
                    const struct es_result *x = &p->measurands[a].results[i],
                                           *y = &p->measurands[b].results[k];
                    const bool apart = p->measurands[a].when != p->measurands[b].when &&
                                       p->measurands[a].when != ES_WHEN_ALWAYS &&
                                       p->measurands[b].when != ES_WHEN_ALWAYS;
                    if (!apart && strcmp(x->name, y->name) == 0)
                        es_walk_fault(w, x->place, x->name, "another name: an earlier result has this one");
                }
}

enum es_status es_check_lines(struct es_walk *w, const char *label, struct es_known_facts *facts,
                              struct es_error *err)
{
    const struct es_procedure *p = w->procedure;
    size_t more = 0;
    char lack[160], sentence[400];

    for (size_t i = 0; i < p->measurand_count; i++)
        more += p->measurands[i].result_count;
    struct es_check_line *grown =
        realloc(w->report->lines, (w->report->line_count + more + 1) * sizeof *grown);
    if (grown == NULL)
        return es_fail(err, ES_NO_MEMORY, "no memory for the report");
    w->report->lines = grown;
    const bool lacks = es_lacks_for_procedure(p, w->type, view_has, w->view, lack, sizeof lack);
    if (lacks) {
        (void)snprintf(sentence, sizeof sentence, "%s is not run: %s; its lines will be \"not tested\"",
                       label, lack);
        es_report_sentence(w->report, true, &w->no_memory, sentence);
    }
    unique_names(w);
    for (size_t i = 0; i < p->measurand_count; i++) {
        const struct es_measurand *m = &p->measurands[i];
        check_measurand(w, label, m, facts, lacks ? lack : NULL);
        for (size_t k = 0; k < m->measure->output_count; k++) /* known from here on, as when it runs */
            if (!es_known_facts_add(facts, m->measure->outputs[k].name))
                w->no_memory = true;
    }
    return w->no_memory ? es_fail(err, ES_NO_MEMORY, "no memory for the report") : ES_OK;
}

#include "procedures/judgement/likely.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LINES_MAX 256

/* ---- What workshops found ---- */

/* enum es_unit_kind; -1 when no plan knows the type. */
static int kind_of(const struct es_detection *table, const char *type)
{
    for (size_t i = 0; i < table->plan_count; i++) {
        const struct es_detection_type *t = es_detection_find_type(&table->plans[i], type);
        if (t) {
            return t->kind;
        }
    }
    return -1;
}

void es_confirmed_add(struct es_confirmed *confirmed, const struct es_detection *table, const char *judged,
                      const char *opened, const char *found)
{
    const int here = kind_of(table, judged), there = kind_of(table, opened);
    if (here >= 0 && there >= 0 && here != there) {
        return;
    }
    if (strcmp(found, "no fault found") == 0) {
        confirmed->no_fault_found++;
        return;
    }
    for (size_t c = 0; c < table->cause_count && c < ES_CAUSES_MAX; c++) {
        if (strcmp(table->causes[c].name, found) == 0) {
            confirmed->counts[c]++;
            confirmed->repairs++;
            return;
        }
    }
    confirmed->others++;
}

void es_confirmed_rates(const struct es_detection *table, const struct es_confirmed *confirmed,
                        double out[static ES_CAUSES_MAX])
{
    double total = 0;
    for (size_t c = 0; c < table->cause_count; c++) {
        total += table->causes[c].rate;
    }
    for (size_t c = 0; c < table->cause_count && c < ES_CAUSES_MAX; c++) {
        const double rate = table->causes[c].rate;
        out[c] = rate;
        if (confirmed && confirmed->repairs > 0 && total > 0) {
            out[c] = total * (ES_ASSUMED_WORTH * rate / total + (double)confirmed->counts[c]) /
                     (ES_ASSUMED_WORTH + (double)confirmed->repairs);
        }
    }
}

/* ---- The statement ---- */

const char *es_cause_place_word(int place)
{
    static const char *const words[] = {"unit", "mounting", "bench"};
    return place >= 0 && place < 3 ? words[place] : "";
}

const char *const *es_likely_assumptions(void)
{
    static const char *const texts[] = {
        "one fault at a time",
        "lines are independent of each other within a fault's range of severity, those of one procedure in "
        "part",
        "a fault has a severity that matters in service, any such severity as likely as another",
        "units, bench and faults behave as the virtual bench on which the table was learned",
        "how often each fault occurs is this program's assumption, moved by the repairs that were confirmed "
        "here",
        NULL,
    };
    return texts;
}

struct maker {
    const struct es_detection *table;
    const struct es_detection_plan *plan;
    const struct es_detection_type *type;
    const struct es_outcome *outcome;
    struct es_likely *out;
    bool lost; /* memory ran out */
};

static char *say(struct maker *m, const char *format, ...) ES_PRINTF(2, 3);

static char *say(struct maker *m, const char *format, ...)
{
    char *text = NULL;
    va_list arguments;
    va_start(arguments, format);
    const int n = vasprintf(&text, format, arguments);
    va_end(arguments);
    if (n < 0) {
        m->lost = true;
        return NULL;
    }
    return text;
}

static void remark(struct maker *m, char *text)
{
    if (text && m->out->remark_count < ES_LIKELY_REMARKS) {
        m->out->remarks[m->out->remark_count++] = text;
    } else {
        free(text);
    }
}

static bool same(const char *a, const char *b)
{
    return a && b && strcmp(a, b) == 0;
}

/* Why nothing can be said at all; NULL when something can: plan and type are known then. */
static char *why_unknown(struct maker *m)
{
    const struct es_outcome *o = m->outcome;
    struct es_error why = {0};
    if (!m->table) {
        return say(m, "no table of detection was found");
    }
    if (es_detection_find(m->table, o->plan, o->type, &m->plan, &m->type, &why) != ES_OK) {
        return say(m, "%s", why.text);
    }
    return NULL;
}

static void say_basis(struct maker *m)
{
    const struct es_detection_plan *p = m->plan;
    const struct es_outcome *o = m->outcome;
    m->out->basis =
        say(m, "a study of %ld virtual units with the plan \"%s\" version %s (program %s, seed %s)", p->units,
            p->name, p->version, p->program, p->seed);
    if (m->table->digest[0]) {
        m->out->table = say(m, "%s", m->table->digest);
    }
    if (!same(p->digest, o->plan_digest)) {
        remark(m, say(m, "learned with version %s of the plan, run with %s", p->version,
                      o->plan_version ? o->plan_version : "another"));
    }
    if (!same(m->type->digest, o->type_digest)) {
        remark(m, say(m, "learned with another state of the type sheet (version %s)", m->type->version));
    }
}

static void take_cause(struct maker *m, size_t index, double probability, const double *rates)
{
    const struct es_detection_cause *c = &m->table->causes[index];
    struct es_likely_cause *to = &m->out->causes[m->out->count++];
    *to = (struct es_likely_cause){.name = say(m, "%s", c->name),
                                   .meaning = say(m, "%s", c->meaning),
                                   .place = c->place,
                                   .probability = probability,
                                   .assumed = c->rate,
                                   .rate = rates[index]};
}

static void take_check(struct maker *m, const struct es_detection_check *check)
{
    if (check) {
        m->out->check = say(m, "%s", check->text);
        m->out->caution = say(m, "%s", check->caution);
        m->out->minutes = check->minutes;
    }
}

/* Lines that only inform do not count: one of them fails now and then by chance. */
static bool any_deciding_line_failed(const struct es_outcome *o)
{
    for (size_t i = 0; i < o->line_count; i++) {
        const struct es_line *l = &o->lines[i];
        if (l->limit.required && (l->verdict == ES_FAIL || l->verdict == ES_CONDITIONAL_FAIL)) {
            return true;
        }
    }
    return false;
}

static enum es_status causes(struct maker *m, const double *rates, struct es_error *err)
{
    struct es_seen seen[LINES_MAX];
    struct es_causes found;
    size_t count = 0;
    for (size_t i = 0; i < m->outcome->line_count && count < LINES_MAX; i++) {
        seen[count++] = es_seen_of_line(&m->outcome->lines[i]);
    }
    const enum es_status status =
        es_causes_rank(m->table, m->outcome->plan, m->outcome->type, seen, count, rates, &found, err);
    if (status != ES_OK) {
        return status;
    }
    m->out->kind = ES_LIKELY_CAUSES;
    if (!any_deciding_line_failed(m->outcome)) {
        remark(m,
               say(m, "no deciding line has failed: what is named rests on lines that could not be tested"));
    }
    m->out->no_fault = found.no_fault;
    memcpy(m->out->by_place, found.by_place, sizeof found.by_place);
    for (size_t i = 0; i < found.count && i < ES_LIKELY_MAX; i++) {
        take_cause(m, found.items[i].index, found.items[i].probability, rates);
        struct es_likely_cause *to = &m->out->causes[i];
        for (size_t k = 0; k < found.items[i].evidence_count; k++) {
            char text[300];
            es_evidence_say(&found.items[i].evidence[k], seen, text, sizeof text);
            to->evidence[to->evidence_count++] = say(m, "%s", text);
        }
    }
    take_check(m, found.check);
    return ES_OK;
}

static enum es_status remaining(struct maker *m, const double *rates, struct es_error *err)
{
    struct es_remaining found;
    const enum es_status status =
        es_causes_remaining(m->table, m->outcome->plan, m->outcome->type, rates, &found, err);
    if (status != ES_OK) {
        return status;
    }
    m->out->kind = ES_LIKELY_REMAINING;
    m->out->remaining = found.probability;
    m->out->upper = found.upper;
    m->out->before = found.before;
    for (size_t i = 0; i < found.leading_count && i < sizeof found.leading / sizeof found.leading[0]; i++) {
        take_cause(m, found.leading[i].index, found.leading[i].probability, rates);
    }
    return ES_OK;
}

/* A unit that passed under gates that were overruled is told of like any other: its lines all stand. */
static enum es_status tell(struct maker *m, const struct es_confirmed *confirmed, struct es_error *err)
{
    double rates[ES_CAUSES_MAX] = {0};
    struct es_error why = {0};
    es_confirmed_rates(m->table, confirmed, rates);
    if (confirmed) {
        m->out->repairs = confirmed->repairs;
        m->out->no_fault_found = confirmed->no_fault_found;
    }
    const bool passed = m->outcome->verdict == ES_PASS || m->outcome->verdict == ES_CONDITIONAL_PASS;
    const enum es_status status = passed ? remaining(m, rates, &why) : causes(m, rates, &why);
    if (status == ES_NOT_FOUND) { /* none of its lines is known */
        m->out->unknown = say(m, "%s", why.text);
        return ES_OK;
    }
    return status == ES_OK ? ES_OK : es_fail(err, status, "%s", why.text);
}

enum es_status es_likely_make(const struct es_detection *table, const struct es_confirmed *confirmed,
                              const struct es_outcome *outcome, struct es_likely **out, struct es_error *err)
{
    if (!outcome->completed) {
        return es_fail(err, ES_BAD_INPUT, "a run that was not completed says nothing about causes");
    }
    struct maker m = {.table = table, .outcome = outcome, .out = calloc(1, sizeof *m.out)};
    enum es_status status = ES_OK;
    if (!m.out) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the likely causes");
    }
    m.out->unknown = why_unknown(&m);
    if (!m.out->unknown && !m.lost) {
        say_basis(&m);
        status = tell(&m, confirmed, err);
    }
    if (status == ES_OK && m.lost) {
        status = es_fail(err, ES_NO_MEMORY, "no memory for the likely causes");
    }
    if (status != ES_OK) {
        es_likely_free(m.out);
        return status;
    }
    *out = m.out;
    return ES_OK;
}

void es_likely_free(struct es_likely *likely)
{
    if (!likely) {
        return;
    }
    for (size_t i = 0; i < likely->count; i++) {
        struct es_likely_cause *c = &likely->causes[i];
        free(c->name);
        free(c->meaning);
        for (size_t k = 0; k < c->evidence_count; k++) {
            free(c->evidence[k]);
        }
    }
    for (size_t i = 0; i < likely->remark_count; i++) {
        free(likely->remarks[i]);
    }
    free(likely->unknown);
    free(likely->check);
    free(likely->caution);
    free(likely->basis);
    free(likely->table);
    free(likely);
}

#include "rig/study/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/study/inner.h"
#include "rig/study/notes.h"

#define AWAY 3 /* u from zero */

static void count(struct es_study_count *c, const struct es_study_unit *u)
{
    c->n++;
    if (!u->completed || u->verdict == ES_NOT_TESTED) {
        c->held++;
    } else if (u->verdict == ES_PASS || u->verdict == ES_CONDITIONAL_PASS) {
        c->passed++;
    } else {
        c->failed++;
    }
}

static bool has_failed(const struct es_study_unit *u)
{
    return u->completed && (u->verdict == ES_FAIL || u->verdict == ES_CONDITIONAL_FAIL);
}

static bool has_passed(const struct es_study_unit *u)
{
    return u->completed && (u->verdict == ES_PASS || u->verdict == ES_CONDITIONAL_PASS);
}

static double matters(int fault)
{
    const struct es_fault_note *note = es_fault_note(es_study_fault_name(fault));
    return note ? note->matters : 0;
}

static void count_all(const struct es_study *s, struct es_study_summary *out)
{
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < s->order.units; i++) {
        const struct es_study_unit *u = &s->units[i];
        if (u->fault < 0) {
            count(&out->good[u->type], u);
            count(&out->good_all, u);
            if (u->completed) {
                sum += u->duration;
                n++;
                out->duration_longest = fmax(out->duration_longest, u->duration);
            }
            continue;
        }
        const bool bench = !es_study_judges(&s->types[u->type], u->fault);
        count(bench ? &out->bench_all : &out->unit_all, u);
        if (u->severity >= matters(u->fault)) {
            count(bench ? &out->bench_mattering : &out->unit_mattering, u);
        }
    }
    out->duration_mean = n ? sum / (double)n : NAN;
}

static enum es_status one_fault(const struct es_study *s, struct es_study_fault *f, struct es_error *err)
{
    struct es_trial *trials = calloc(s->order.units, sizeof *trials);
    size_t n = 0;
    if (!trials) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study's summary");
    }
    f->matters = matters(f->fault);
    for (size_t i = 0; i < s->order.units; i++) {
        const struct es_study_unit *u = &s->units[i];
        if (u->type != f->type || u->fault != f->fault) {
            continue;
        }
        count(&f->all, u);
        if (u->severity >= f->matters) {
            count(&f->mattering, u);
        }
        if (has_passed(u)) {
            f->largest_missed = fmax(f->largest_missed, u->severity);
        }
        trials[n++] = (struct es_trial){u->severity, has_failed(u)};
    }
    f->threshold = es_threshold_fit(trials, n, 0.95);
    free(trials);
    return ES_OK;
}

static enum es_status count_faults(const struct es_study *s, struct es_study_summary *out,
                                   struct es_error *err)
{
    out->faults = calloc(s->order.type_count * ES_STUDY_FAULTS_MAX, sizeof *out->faults);
    if (!out->faults) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study's summary");
    }
    for (size_t t = 0; t < s->order.type_count; t++) {
        int faults[ES_STUDY_FAULTS_MAX];
        const size_t n = es_study_faults(&s->order, &s->types[t], faults);
        for (size_t i = 0; i < n; i++) {
            struct es_study_fault *f = &out->faults[out->fault_count++];
            f->fault = faults[i];
            f->type = t;
            const enum es_status status = one_fault(s, f, err);
            if (status != ES_OK) {
                return status;
            }
        }
    }
    return ES_OK;
}

/* Numbers that are the same but for rounding count as covered by an interval of no width. */
static bool same(double a, double b)
{
    return fabs(a - b) <= 1e-9 * fmax(fabs(a), fabs(b));
}

static void cover(const struct es_study *s, bool faulty, struct es_study_coverage *c)
{
    size_t covered = 0, n = 0, away = 0, away_covered = 0;
    double sum = 0, squares = 0;
    c->worst = SIZE_MAX;
    for (size_t i = 0; i < s->order.units; i++) {
        const struct es_study_unit *u = &s->units[i];
        if (u->type != c->type || (u->fault >= 0) != faulty || !u->values || !u->values[c->slot].has_truth) {
            continue;
        }
        const struct es_study_value *v = &u->values[c->slot];
        const double off = v->value - v->truth;
        if (!(v->U > 0)) {
            c->exact += same(v->value, v->truth);
            c->exact_wrong += !same(v->value, v->truth);
            continue;
        }
        n++;
        const bool holds = v->low <= v->truth && v->truth <= v->high;
        const bool far = fabs(v->truth) > AWAY * v->u;
        covered += holds;
        away += far;
        away_covered += far && holds;
        sum += off / v->u;
        squares += off / v->u * off / v->u;
        if (fabs(off / v->u) > fabs(c->worst_off)) {
            c->worst_off = off / v->u;
            c->worst = i;
        }
    }
    c->covered = es_share_clopper_pearson(covered, n, 0.95);
    c->away = es_share_clopper_pearson(away_covered, away, 0.95);
    c->bias = n ? sum / (double)n : NAN;
    c->spread = n > 1 ? sqrt(fmax(0, (squares - sum * sum / (double)n) / (double)(n - 1))) : NAN;
}

static enum es_status count_coverage(const struct es_study *s, bool faulty, struct es_study_coverage **out,
                                     size_t *count, struct es_error *err)
{
    size_t slots = 0, n = 0;
    for (size_t t = 0; t < s->order.type_count; t++) {
        slots += s->types[t].slot_count;
    }
    struct es_study_coverage *rows = calloc(slots ? slots : 1, sizeof *rows);
    if (!rows) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study's summary");
    }
    for (size_t t = 0; t < s->order.type_count; t++) {
        for (size_t i = 0; i < s->types[t].slot_count; i++, n++) {
            rows[n] = (struct es_study_coverage){.type = t, .slot = i};
            cover(s, faulty, &rows[n]);
        }
    }
    *out = rows;
    *count = n;
    return ES_OK;
}

enum es_status es_study_summarise(const struct es_study *study, struct es_study_summary *out,
                                  struct es_error *err)
{
    struct es_study_summary s = {0};
    count_all(study, &s);
    enum es_status status = count_faults(study, &s, err);
    if (status == ES_OK && study->order.truths > 0) {
        status = count_coverage(study, false, &s.coverage, &s.coverage_count, err);
    }
    if (status == ES_OK && study->order.truths_faulty > 0) {
        status = count_coverage(study, true, &s.coverage_faulty, &s.coverage_count, err);
    }
    if (status != ES_OK) {
        es_study_summary_clear(&s);
        return status;
    }
    *out = s;
    return ES_OK;
}

void es_study_summary_clear(struct es_study_summary *summary)
{
    free(summary->faults);
    free(summary->coverage);
    free(summary->coverage_faulty);
    *summary = (struct es_study_summary){0};
}

/* A recording exported as CSV and read back: the same numbers, bit for bit. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/csv_trace.h"
#include "rig/client/recording_csv.h"
#include "tests/unit/measures/synthetic.h"

/* A step, seen by two instruments that are not sampled together; a third that is dead; bad samples. */
static struct es_trace *recorded(void)
{
    uint64_t seed = 11;
    struct es_trace *t = syn_trace();
    for (int k = 0; k < 3; k++) {
        static const enum es_role roles[] = {ES_ROLE_TRAVEL, ES_ROLE_OUTPUT_1_FLOW,
                                             ES_ROLE_OUTPUT_1_PRESSURE};
        struct es_series *s = syn_series(t, roles[k], k == 1 ? 160 : 800, k == 1 ? 20 : 100);
        for (size_t i = 0; i < s->count; i++) {
            s->t[i] += 0.0031 + 0.001 * k + 0.0005 * syn_uniform(&seed);
            s->y[i] = (0.010 + 0.001 * syn_first_order(s->t[i] - 2, 0.2, 0.4) + 2e-6 * syn_normal(&seed)) *
                      (k == 1   ? 1e-3 / 3
                       : k == 2 ? 7e7 / 3
                                : 1);
        }
    }
    t->series[0].quality[17] = ES_STALE;
    t->series[1].quality[5] = ES_OUT_OF_RANGE;
    memset(t->series[2].quality, ES_FAILED, t->series[2].count);
    t->duration = 8.25;
    syn_command(t, ES_ROLE_LOOP_DEMAND, 0.0001, NAN, 0.012);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 2 + 1.0 / 3e4, 0.012, 0.0128);
    t->commands[1].u_t = 1.0 / 3e3;
    return t;
}

static struct es_trace *back(const struct es_trace *t, const char *mend_from, const char *mend_to)
{
    char *text = NULL;
    size_t length = 0;
    FILE *to = open_memstream(&text, &length);
    struct es_error err = {0};
    cr_assert_not_null(to);
    cr_assert_eq(es_recording_csv(t, to, &err), ES_OK);
    cr_assert_eq(fclose(to), 0);
    char *at = mend_from ? strstr(text, mend_from) : NULL;
    if (at)
        memcpy(at, mend_to, strlen(mend_to));
    struct es_findings findings = {0};
    struct es_trace *out = NULL;
    enum es_status status = es_csv_trace_read("r.csv", text, length, NULL, &findings, &out, NULL, &err);
    cr_assert_eq(status == ES_OK, out != NULL);
    if (!mend_from)
        es_findings_print(&findings, stderr);
    cr_assert(status == ES_OK || es_findings_any(&findings));
    es_findings_free(&findings);
    free(text);
    return out;
}

Test(recording_round, same_bits)
{
    struct es_trace *t = recorded(), *b = back(t, NULL, NULL);
    cr_assert_not_null(b);
    cr_assert_eq(b->series_count, t->series_count);
    cr_assert_eq(b->duration, t->duration);
    for (size_t k = 0; k < t->series_count; k++) {
        const struct es_series *x = &t->series[k], *y = &b->series[k];
        cr_assert_eq(x->role, y->role);
        cr_assert_eq(x->dimension, y->dimension);
        cr_assert_eq(x->count, y->count, "%zu: %zu of %zu samples", k, y->count, x->count);
        for (size_t i = 0; i < x->count; i++) {
            cr_assert_eq(x->t[i], y->t[i], "%zu, %zu: %.17g %.17g", k, i, x->t[i], y->t[i]);
            cr_assert_eq(x->quality[i] == ES_GOOD, y->quality[i] == ES_GOOD, "%zu, %zu", k, i);
            if (x->quality[i] == ES_GOOD)
                cr_assert_eq(x->y[i], y->y[i], "%zu, %zu: %.17g %.17g", k, i, x->y[i], y->y[i]);
        }
    }
    cr_assert_eq(b->command_count, t->command_count);
    for (size_t i = 0; i < t->command_count; i++) {
        const struct es_command *x = &t->commands[i], *y = &b->commands[i];
        cr_assert(x->role == y->role && x->t == y->t && x->u_t == y->u_t && x->to == y->to);
        cr_assert(x->from == y->from || (isnan(x->from) && isnan(y->from)));
    }
    es_trace_free(t);
    es_trace_free(b);
}

/* What is measured from it is the same too. */
Test(recording_round, same_figures)
{
    static const char *const outputs[] = {"dead time", "T63", "T98", "overshoot"};
    struct es_trace *t = recorded(), *b = back(t, NULL, NULL);
    struct es_measured *x = syn_measure_one("step response", NULL, t, NULL),
                       *y = syn_measure_one("step response", NULL, b, NULL);
    for (size_t o = 0; o < sizeof outputs / sizeof outputs[0]; o++) {
        const struct es_measured *p = syn_output("step response", x, outputs[o]),
                                 *q = syn_output("step response", y, outputs[o]);
        cr_assert(p->valid && q->valid, "%s: %s", outputs[o], p->reason);
        cr_assert_eq(p->value, q->value, "%s: %.17g %.17g", outputs[o], p->value, q->value);
        cr_assert_eq(p->U, q->U, "%s: %.17g %.17g", outputs[o], p->U, q->U);
    }
    free(x);
    free(y);
    es_trace_free(t);
    es_trace_free(b);
}

/* A line of what was written that was tampered with is a fault, not a write left out. */
Test(recording_round, a_broken_note_is_a_fault)
{
    struct es_trace *t = recorded();
    cr_assert_null(back(t, "loop demand;", "loop domand;"));
    cr_assert_null(back(t, "; 0.012", "; 0,x12"));
    cr_assert_null(back(t, "# recording; 8", "# recording; x"));
    es_trace_free(t);
}

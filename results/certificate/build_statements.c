/* What the numbers mean, and what is not said. */
#include "results/certificate/build_parts.h"
#include "rig/base/text.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* Names of the instruments without a calibration, ", " between them; empty when there are none. */
static void untraceable(const struct es_outcome *o, struct es_text *names)
{
    for (size_t i = 0; i < o->instrument_count; i++) {
        if (!o->instruments[i].calibration && o->instruments[i].name) {
            es_text_printf(names, "%s%s", names->length > 0 ? ", " : "", o->instruments[i].name);
        }
    }
}

static void add_traceability(struct es_maker *m, cJSON *list)
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

/* What the members that only some lines have mean (JCGM 101, JCGM 106 9.5). */
static void add_distributions(struct es_maker *m, cJSON *list)
{
    bool drawn = false, risks = false;
    for (size_t i = 0; i < m->o->line_count; i++) {
        const struct es_line *l = &m->o->lines[i];
        drawn = drawn || (l->value.valid && l->value.spread.trials > 0);
        risks = risks || (l->value.valid && l->limit.prior.kind != ES_PRIOR_NONE);
    }
    if (drawn) {
        es_tree_text(
            &m->tree, list, NULL,
            "Where a line has monte_carlo, its value, interval and probability come from propagated "
            "distributions (JCGM 101), because k u (JCGM 100) does not describe it: the interval from "
            "low to high holds 95 %, 2.5 % lie on either side, and U is its longer side.");
    }
    if (risks) {
        es_tree_text(&m->tree, list, NULL,
                     "global_risk is of the decision rule over all units as the type sheet states their "
                     "distribution (JCGM 106:2012 9.5), not of this unit.");
    }
}

void es_build_statements(struct es_maker *m)
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
        add_distributions(m, list);
    } else {
        es_tree_text(
            t, list, NULL,
            "The test was not completed. Values measured until then are given without verdict; whether the "
            "unit conforms is not known.");
    }
    if (m->o->likely && m->o->completed) {
        es_tree_text(
            t, list, NULL,
            "What stands under interpretation is an interpretation (ISO/IEC 17025:2017 7.8.7) and no "
            "result: the verdict does not rest on it.");
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

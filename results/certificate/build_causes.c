/* Likely causes, or what may still be wrong: an interpretation in the sense of ISO/IEC 17025:2017 7.8.7,
 * marked as such and kept apart from the results. */
#include "procedures/judgement/likely.h"
#include "results/certificate/build_parts.h"

static void add_causes(struct es_tree *t, cJSON *object, const struct es_likely *l)
{
    cJSON *list = es_tree_array(t, object, l->kind == ES_LIKELY_CAUSES ? "causes" : "leading");
    for (size_t i = 0; i < l->count; i++) {
        const struct es_likely_cause *c = &l->causes[i];
        cJSON *item = es_tree_object(t, list, NULL);
        es_tree_text(t, item, "cause", c->name);
        es_tree_text(t, item, "place", es_cause_place_word(c->place));
        es_tree_number(t, item, "probability", es_round_digits(c->probability, 2));
        if (l->repairs > 0) { /* what the workshop's own findings did to it */
            cJSON *prior = es_tree_object(t, item, "prior");
            es_tree_number(t, prior, "assumed", es_round_digits(c->assumed, 2));
            es_tree_number(t, prior, "moved_to", es_round_digits(c->rate, 2));
        }
        if (c->evidence_count > 0) {
            cJSON *evidence = es_tree_array(t, item, "evidence");
            for (size_t k = 0; k < c->evidence_count; k++) {
                es_tree_text(t, evidence, NULL, c->evidence[k]);
            }
        }
    }
}

static void add_next(struct es_tree *t, cJSON *object, const struct es_likely *l)
{
    es_tree_number(t, object, "no_fault", es_round_digits(l->no_fault, 2));
    if (l->check) {
        cJSON *next = es_tree_object(t, object, "next_check");
        es_tree_text(t, next, "do", l->check);
        es_tree_text(t, next, "caution", l->caution);
        es_tree_number(t, next, "minutes", l->minutes);
    }
}

static void add_remaining(struct es_tree *t, cJSON *object, const struct es_likely *l)
{
    es_tree_number(t, object, "probability", es_round_digits(l->remaining, 2));
    es_tree_number(t, object, "at_most", es_round_digits(l->upper, 2));
    es_tree_number(t, object, "before_the_test", es_round_digits(l->before, 2));
}

static void add_texts(struct es_tree *t, cJSON *object, const char *name, const char *const *texts,
                      size_t count)
{
    cJSON *list = count > 0 ? es_tree_array(t, object, name) : NULL;
    for (size_t i = 0; i < count; i++) {
        es_tree_text(t, list, NULL, texts[i]);
    }
}

void es_build_causes(struct es_maker *m)
{
    static const char *const kinds[] = {[ES_LIKELY_UNKNOWN] = "nothing known",
                                        [ES_LIKELY_CAUSES] = "likely causes",
                                        [ES_LIKELY_REMAINING] = "undetected fault"};
    const struct es_likely *l = m->o->likely;
    struct es_tree *t = &m->tree;
    if (!l || !m->o->completed) {
        return;
    }
    cJSON *object = es_tree_object(t, m->root, "interpretation");
    es_tree_text(t, object, "about", kinds[l->kind]);
    es_tree_text(t, object, "why", l->unknown);
    if (l->kind == ES_LIKELY_UNKNOWN) {
        return;
    }
    if (l->kind == ES_LIKELY_REMAINING) {
        add_remaining(t, object, l);
    }
    add_causes(t, object, l);
    if (l->kind == ES_LIKELY_CAUSES) {
        add_next(t, object, l);
    }
    es_tree_text(t, object, "learned_from", l->basis);
    es_tree_text(t, object, "table_sha256", l->table);
    es_tree_number(t, object, "confirmed_repairs", (double)l->repairs);
    es_tree_number(t, object, "no_fault_found", (double)l->no_fault_found);
    add_texts(t, object, "remarks", (const char *const *)l->remarks, l->remark_count);
    size_t count = 0;
    const char *const *assumptions = es_likely_assumptions();
    while (assumptions[count]) {
        count++;
    }
    add_texts(t, object, "assumptions", assumptions, count);
}

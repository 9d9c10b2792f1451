/* What people supplied about the visit, the result before it, and what nobody supplied. */
#include "results/certificate/build_parts.h"

static void add_job(struct es_maker *m, const struct es_certificate_visit *v)
{
    struct es_tree *t = &m->tree;
    if (!v->job && !v->received && !v->condition && !v->found) {
        return;
    }
    cJSON *job = es_tree_object(t, m->root, "job");
    es_tree_text(t, job, "number", v->job);
    es_tree_text(t, job, "received", v->received);
    es_tree_text(t, job, "condition", v->condition);
    es_tree_text(t, job, "found", v->found);
}

static void add_before(struct es_maker *m, const struct es_certificate_visit *v)
{
    struct es_tree *t = &m->tree;
    if (!v->before.number) {
        return;
    }
    cJSON *before = es_tree_object(t, m->root, "before");
    es_tree_text(t, before, "number", v->before.number);
    es_tree_text(t, before, "sha256", v->before.sha256);
    es_tree_text(t, before, "state", v->before.state);
    es_tree_text(t, before, "verdict", v->before.verdict);
}

/* Names of what ISO/IEC 17025 asks for and only a person can know: silence would look like "does not apply".
 */
static void add_not_given(struct es_maker *m, const struct es_certificate_visit *v)
{
    struct es_tree *t = &m->tree;
    const struct {
        const char *value, *name;
    } items[] = {{m->meta->laboratory, "laboratory"},
                 {m->meta->laboratory_address, "laboratory address"},
                 {m->o->place, "place of test"},
                 {m->o->customer, "customer"},
                 {v->customer_contact, "customer contact"},
                 {v->received, "date of receipt"},
                 {v->condition, "condition on receipt"}};
    cJSON *list = NULL;
    for (size_t i = 0; i < sizeof items / sizeof items[0]; i++) {
        if (!items[i].value) {
            list = list ? list : es_tree_array(t, m->root, "not_given");
            es_tree_text(t, list, NULL, items[i].name);
        }
    }
}

void es_build_origin(struct es_maker *m, cJSON *unit)
{
    const struct es_certificate_visit *v = m->meta->visit;
    if (v) {
        es_tree_text(&m->tree, unit, "lot", v->lot);
        es_tree_text(&m->tree, unit, "supplier", v->supplier);
    }
}

void es_build_visit(struct es_maker *m)
{
    static const struct es_certificate_visit nothing = {0};
    const struct es_certificate_visit *v = m->meta->visit ? m->meta->visit : &nothing;
    struct es_tree *t = &m->tree;
    es_tree_text(t, m->root, "customer_contact", v->customer_contact);
    es_tree_text(t, m->root, "customer_reference", v->customer_reference);
    es_tree_text(t, m->root, "deviations", v->deviations);
    add_job(m, v);
    add_before(m, v);
    add_not_given(m, v);
    if (m->o->inputs) {
        cJSON *inputs = es_tree_object(t, m->root, "inputs");
        es_tree_text(t, inputs, "sha256", m->o->inputs);
    }
}

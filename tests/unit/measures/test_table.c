/* The table of measures keeps its contract. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/measures.h"
#include "tests/unit/measures/synthetic.h"

Test(table, role_choices_are_the_roles)
{
    for (int r = 0; r < ES_ROLE_COUNT; r++)
        cr_assert_str_eq(es_role_choices[r], es_role_info((enum es_role)r)->name);
    cr_assert_null(es_role_choices[ES_ROLE_COUNT]);
}

static void check_measure(const struct es_measure *m)
{
    cr_assert(m->name && m->meaning && m->source && m->trace_names && m->trace_names[0] && m->facts_needed);
    cr_assert(m->roles && m->rate_needed && m->expected_u && m->evaluate);
    cr_assert_gt(m->output_count, 0);
    for (size_t i = 0; i < m->output_count; i++) {
        cr_assert(m->outputs[i].name && m->outputs[i].meaning, "%s output %zu", m->name, i);
        cr_assert_lt(strlen(m->outputs[i].name), sizeof((struct es_measured *)0)->name);
        for (size_t k = 0; k < i; k++)
            cr_assert_str_neq(m->outputs[i].name, m->outputs[k].name);
    }
    for (size_t i = 0; i < m->setting_count; i++) {
        cr_assert(m->settings[i].name && m->settings[i].meaning);
        cr_assert_lt(m->settings[i].offset, m->setting_size);
        cr_assert(m->settings[i].required || m->settings[i].fallback, "%s: %s has neither", m->name,
                  m->settings[i].name);
    }
}

Test(table, descriptors)
{
    size_t count;
    const struct es_measure *const *list = es_measure_list(&count);
    cr_assert_geq(count, 18);
    for (size_t i = 0; i < count; i++) {
        check_measure(list[i]);
        cr_assert_eq(es_measure_find(list[i]->name), list[i]);
    }
    cr_assert_null(es_measure_find("no such measure"));
    cr_assert_null(es_measure_find(NULL));
}

/* Settings that have no default are roles: "travel", and "shaft angle" for the next. */
static void needed_settings(const struct es_measure *m, char *json, size_t size)
{
    static const char *const given[] = {"travel", "shaft angle"};
    size_t used = 0, count = 0;
    used += (size_t)snprintf(json + used, size - used, "{");
    for (size_t i = 0; i < m->setting_count; i++)
        if (m->settings[i].required) {
            cr_assert_lt(count, 2, "%s needs more settings than this test gives", m->name);
            used += (size_t)snprintf(json + used, size - used, "%s\"%s\": \"%s\"", count ? ", " : "",
                                     m->settings[i].name, given[count]);
            count++;
        }
    snprintf(json + used, size - used, "}");
}

/* Settings by default are accepted by their own rows; roles, rates and expectations can be asked; and an
 * empty recording refuses every output with a reason. */
Test(table, defaults_and_empty_recordings)
{
    size_t count;
    const struct es_measure *const *list = es_measure_list(&count);
    for (size_t i = 0; i < count; i++) {
        const struct es_measure *m = list[i];
        char json[400];
        needed_settings(m, json, sizeof json);
        void *s = syn_settings(m, json);
        enum es_role roles[8];
        size_t n = m->roles(s, roles);
        cr_assert(n >= 1 && n <= 8);
        for (size_t k = 0; k < n; k++)
            cr_assert(roles[k] >= 0 && roles[k] < ES_ROLE_COUNT);
        const struct es_channel_uncertainty some = {
            .offset = 1e-3, .gain = 1e-3, .dof = INFINITY, .resolution = 1e-4};
        const struct es_channel_uncertainty *u[ES_ROLE_COUNT] = {0}, *all[ES_ROLE_COUNT];
        for (int r = 0; r < ES_ROLE_COUNT; r++)
            all[r] = &some;
        struct es_facts facts = {0};
        for (size_t o = 0; o < m->output_count; o++) {
            cr_assert_geq(m->rate_needed(s, o, 0.5), 0);
            cr_assert_eq(m->rate_needed(s, o, INFINITY), m->rate_needed(s, o, INFINITY));
            cr_assert(isnan(m->expected_u(s, o, u, &facts)) || m->expected_u(s, o, u, &facts) >= 0);
            cr_assert(isnan(m->expected_u(s, o, all, &facts)) || m->expected_u(s, o, all, &facts) >= 0);
        }
        struct es_trace *empty = syn_trace();
        const struct es_trace *traces[8] = {empty, empty, empty, empty};
        struct es_measured *v = calloc(m->output_count, sizeof *v);
        cr_assert_eq(m->evaluate(s, traces, &facts, v, NULL), ES_OK);
        for (size_t o = 0; o < m->output_count; o++) {
            cr_assert_not(v[o].valid, "%s %s", m->name, v[o].name);
            cr_assert_gt(strlen(v[o].reason), 5);
            cr_assert_str_neq(v[o].reason, "not evaluated");
            cr_assert_str_eq(v[o].name, m->outputs[o].name);
            cr_assert(isnan(v[o].value) && isnan(v[o].U));
        }
        free(v);
        es_trace_free(empty);
        syn_settings_free(m, s);
    }
}

Test(table, facts)
{
    struct es_fact items[] = {{"a", ES_DIM_NUMBER, 1, 0, 1}, {"b", ES_DIM_NUMBER, 2, 0, 1}};
    struct es_facts facts = {items, 2};
    cr_assert_eq(es_fact_find(&facts, "b"), &items[1]);
    cr_assert_null(es_fact_find(&facts, "c"));
    cr_assert_null(es_fact_find(NULL, "a"));
    es_trace_free(NULL);
}

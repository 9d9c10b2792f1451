/* A line whose interval Monte Carlo found, and one with global risks: written, and read back. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "results/certificate/content.h"
#include "tests/unit/certificate/sample.h"

static cJSON *made(struct es_outcome *o)
{
    struct es_key *key = sample_key();
    struct es_certificate_meta meta = sample_meta(key);
    struct es_error err = {0};
    char *bytes = NULL;
    size_t length = 0;
    cr_assert_eq(es_certificate_build(o, &meta, &bytes, &length, &err), ES_OK, "%s", err.text);
    cJSON *root = cJSON_ParseWithLength(bytes, length);
    cr_assert(root);
    free(bytes);
    es_key_free(key);
    return root;
}

static const cJSON *line_of(const cJSON *root, int index)
{
    return cJSON_GetArrayItem(cJSON_GetObjectItemCaseSensitive(root, "lines"), index);
}

static bool states(const cJSON *root, const char *part)
{
    const cJSON *item;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(root, "statements"))
    {
        if (strstr(cJSON_GetStringValue(item), part))
            return true;
    }
    return false;
}

static double number(const cJSON *object, const char *name)
{
    return cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

/* [rule:monte-carlo-said] */
Test(spread, an_interval_that_is_not_symmetric_stands_in_full)
{
    struct es_outcome o;
    struct es_content c;
    struct es_error err = {0};
    sample_outcome(&o, 2, 0);
    struct es_measured *m = &o.lines[0].value;
    const struct es_unit *unit = o.lines[0].limit.unit;
    double step = es_from_unit_difference(0.01, unit);
    m->U = 3 * step;
    m->k = 2;
    m->u = 1.5 * step;
    m->dof = INFINITY;
    m->spread = (struct es_spread){
        .trials = 120000, .stable = true, .low = m->value - step, .high = m->value + 3 * step};
    cJSON *root = made(&o);
    const cJSON *first = cJSON_GetObjectItemCaseSensitive(line_of(root, 0), "monte_carlo");
    cr_assert_not_null(first);
    double value = number(line_of(root, 0), "value");
    cr_expect_float_eq(number(first, "low"), value - 0.01, 1e-5);
    cr_expect_float_eq(number(first, "high"), value + 0.03, 1e-5);
    cr_expect_float_eq(number(first, "u"), 0.015, 1e-9);
    cr_expect_eq(number(first, "trials"), 120000);
    cr_expect(cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(first, "stable")));
    cr_expect_null(cJSON_GetObjectItemCaseSensitive(line_of(root, 1), "monte_carlo"));
    cr_expect(states(root, "JCGM 101"), "what the members mean is said");
    cr_assert_eq(es_content_read(root, &c, &err), ES_OK, "%s", err.text);
    cr_expect_eq(c.lines[0].v.trials, 120000);
    cr_expect_float_eq(c.lines[0].v.high - c.lines[0].v.value, 0.03, 1e-5);
    cr_expect_eq(c.lines[1].v.trials, 0);
    cr_expect_float_eq(c.lines[1].v.low, c.lines[1].v.value - c.lines[1].v.U, 1e-12);
    es_content_free(&c);
    cJSON_Delete(root);
    es_outcome_free(&o);
}

Test(spread, global_risks_stand_where_a_prior_was_stated)
{
    struct es_outcome o;
    sample_outcome(&o, 2, 0);
    o.lines[0].limit.prior = (struct es_prior){ES_PRIOR_NORMAL, 0, 1};
    o.lines[0].consumer_risk = 0.0080061;
    o.lines[0].producer_risk = 0.0148509;
    cJSON *root = made(&o);
    const cJSON *risk = cJSON_GetObjectItemCaseSensitive(line_of(root, 0), "global_risk");
    cr_assert_not_null(risk);
    cr_expect_float_eq(number(risk, "consumer"), 0.00801, 1e-12);
    cr_expect_float_eq(number(risk, "producer"), 0.0149, 1e-12);
    cr_expect_null(cJSON_GetObjectItemCaseSensitive(line_of(root, 1), "global_risk"));
    cr_expect(states(root, "9.5"));
    cr_expect_not(states(root, "JCGM 101"), "no line was drawn");
    cJSON_Delete(root);
    es_outcome_free(&o);
}

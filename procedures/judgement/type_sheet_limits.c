/* The limits of a type sheet: both sides, decision rule, distribution of all units. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/type_sheet_read.h"

static const char *const rule_words[] = {"simple", "guarded", "non-binary", NULL}; /* as enum es_rule */

struct limit_fields {
    char *lower, *upper, *source;
    int rule;
    double guard_factor, guard_risk;
    bool required;
    long decimals;
    const cJSON *prior;
};

struct prior_fields {
    int shape;
    char *mean, *deviation;
};

static const char *const prior_words[] = {"normal", "gamma", NULL};

static const struct es_field prior_rows[] = {
    {.name = "shape",
     .kind = ES_FIELD_CHOICE,
     .offset = offsetof(struct prior_fields, shape),
     .choices = prior_words,
     .meaning = "normal when not given; gamma where no value can be negative"},
    {.name = "mean",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct prior_fields, mean),
     .min = 1,
     .max = 60,
     .meaning = "mean of all such units, with its unit"},
    {.name = "standard deviation",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct prior_fields, deviation),
     .min = 1,
     .max = 60,
     .meaning = "their standard deviation, in the same unit"},
};

static const struct es_field limit_rows[] = {
    {.name = "lower",
     .kind = ES_FIELD_TEXT,
     .offset = offsetof(struct limit_fields, lower),
     .min = 1,
     .max = 60,
     .meaning = "lowest conforming value, with its unit"},
    {.name = "upper",
     .kind = ES_FIELD_TEXT,
     .offset = offsetof(struct limit_fields, upper),
     .min = 1,
     .max = 60,
     .meaning = "highest conforming value, with its unit"},
    {.name = "rule",
     .kind = ES_FIELD_CHOICE,
     .offset = offsetof(struct limit_fields, rule),
     .choices = rule_words,
     .meaning = "decision rule; guarded when not given"},
    {.name = "guard factor",
     .kind = ES_FIELD_NUMBER,
     .offset = offsetof(struct limit_fields, guard_factor),
     .min = -1,
     .max = 3,
     .meaning = "guard band as a multiple of U (95 %); 1 when not given"},
    {.name = "false acceptance",
     .kind = ES_FIELD_NUMBER,
     .offset = offsetof(struct limit_fields, guard_risk),
     .min = 0.0001,
     .max = 0.4999,
     .meaning =
         "guard band such that a value on the acceptance limit lies beyond the tolerance limit with this "
         "probability; in place of \"guard factor\""},
    {.name = "required",
     .kind = ES_FIELD_BOOL,
     .offset = offsetof(struct limit_fields, required),
     .meaning = "false: the line informs and does not count; true when not given"},
    {.name = "decimals",
     .kind = ES_FIELD_INTEGER,
     .offset = offsetof(struct limit_fields, decimals),
     .min = 0,
     .max = 9,
     .meaning = "digits after the point for people; as written in the limits when not given"},
    {.name = "source",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct limit_fields, source),
     .min = 1,
     .max = 200,
     .meaning = "where the figure comes from"},
    {.name = "prior",
     .kind = ES_FIELD_OBJECT,
     .offset = offsetof(struct limit_fields, prior),
     .meaning = "how the values of such units are distributed: the certificate then gives the rule's global "
                "risks (JCGM 106)"},
};

/* Both sides of a limit, their unit and digits. False when a finding was made. */
static bool read_sides(struct es_type_reader *r, const cJSON *object, const struct limit_fields *f,
                       struct es_limit *limit)
{
    const cJSON *lower_item = cJSON_GetObjectItemCaseSensitive(object, "lower");
    const cJSON *upper_item = cJSON_GetObjectItemCaseSensitive(object, "upper");
    struct es_quantity lower = {0};
    struct es_quantity upper = {0};
    bool ok = !f->lower || es_type_read_quantity(r, lower_item, &lower);
    ok = (!f->upper || es_type_read_quantity(r, upper_item, &upper)) && ok;
    if (!f->lower && !f->upper) {
        es_document_fault(r->doc, object, r->findings, NULL, "\"lower\", \"upper\" or both");
        return false;
    }
    if (!ok) {
        return false;
    }
    if (f->lower && f->upper && lower.unit != upper.unit) {
        es_document_fault(r->doc, upper_item, r->findings, NULL, "the unit of \"lower\", %s",
                          lower.unit->name[0] ? lower.unit->name : "none");
        return false;
    }
    if (f->lower && f->upper && lower.value > upper.value) {
        es_document_fault(r->doc, upper_item, r->findings, NULL, "not less than \"lower\" (%s)", f->lower);
        return false;
    }
    limit->lower = f->lower ? lower.value : -INFINITY;
    limit->upper = f->upper ? upper.value : INFINITY;
    limit->unit = f->lower ? lower.unit : upper.unit;
    limit->decimals = lower.decimals > upper.decimals ? lower.decimals : upper.decimals;
    return true;
}

/* How such units are distributed, in the unit of the limit. False when a finding was made. */
static bool read_prior(struct es_type_reader *r, const cJSON *object, struct es_limit *limit)
{
    if (!object) {
        return true;
    }
    struct prior_fields f = {0};
    struct es_quantity mean, deviation;
    const cJSON *mean_item = cJSON_GetObjectItemCaseSensitive(object, "mean"),
                *deviation_item = cJSON_GetObjectItemCaseSensitive(object, "standard deviation");
    bool ok = es_fields_read(r->doc, object, prior_rows, ES_ROWS(prior_rows), &f, r->findings) &&
              es_type_read_quantity(r, mean_item, &mean) &&
              es_type_read_quantity(r, deviation_item, &deviation);
    if (ok && (mean.unit != limit->unit || deviation.unit != limit->unit)) {
        es_document_fault(r->doc, mean.unit != limit->unit ? mean_item : deviation_item, r->findings, NULL,
                          "the unit of the limit, %s", limit->unit->name[0] ? limit->unit->name : "none");
        ok = false;
    } else if (ok) {
        /* as a distance: degC has an offset that a deviation has not */
        double written = es_to_unit(deviation.value, limit->unit);
        double sd = es_from_unit_difference(written, limit->unit);
        bool gamma = f.shape == 1, sensible = sd > 0 && (!gamma || mean.value > 0);
        if (!sensible) {
            es_document_fault(r->doc, sd > 0 ? mean_item : deviation_item, r->findings, NULL, "more than 0");
            ok = false;
        } else {
            limit->prior = gamma ? es_prior_gamma_of(mean.value, sd)
                                 : (struct es_prior){ES_PRIOR_NORMAL, mean.value, sd};
        }
    }
    es_fields_free(prior_rows, ES_ROWS(prior_rows), &f);
    return ok;
}

/* The decision rule must make sense with its guard factor. */
static bool check_rule(struct es_type_reader *r, const cJSON *object, const struct limit_fields *f)
{
    const cJSON *factor = cJSON_GetObjectItemCaseSensitive(object, "guard factor");
    const cJSON *risk = cJSON_GetObjectItemCaseSensitive(object, "false acceptance");
    if (risk && (factor || f->rule == ES_RULE_SIMPLE)) {
        es_document_fault(r->doc, risk, r->findings, NULL,
                          factor ? "either \"guard factor\" or \"false acceptance\""
                                 : "no \"false acceptance\": simple acceptance has no guard band");
        return false;
    }
    if (!factor) {
        return true;
    }
    if (f->rule == ES_RULE_SIMPLE && f->guard_factor != 0) {
        es_document_fault(r->doc, factor, r->findings, NULL,
                          "no guard factor: simple acceptance has no guard band (or \"rule\": \"guarded\")");
        return false;
    }
    if (f->rule == ES_RULE_NON_BINARY && f->guard_factor <= 0) {
        es_document_fault(r->doc, factor, r->findings, NULL,
                          "a guard factor above 0: without a band there are no conditional results");
        return false;
    }
    return true;
}

static void read_limit(struct es_type_reader *r, const cJSON *item)
{
    if (!cJSON_IsObject(item)) {
        es_document_fault(r->doc, item, r->findings, NULL,
                          "an object with \"lower\" or \"upper\", and \"source\"");
        return;
    }
    struct limit_fields f = {.rule = ES_RULE_GUARDED, .guard_factor = 1, .required = true, .decimals = -1};
    struct es_limit limit = {0};
    bool ok = es_fields_read(r->doc, item, limit_rows, ES_ROWS(limit_rows), &f, r->findings);
    ok = ok && read_sides(r, item, &f, &limit) && check_rule(r, item, &f) && read_prior(r, f.prior, &limit);
    if (ok) {
        limit.rule = (enum es_rule)f.rule;
        limit.guard_factor = f.rule == ES_RULE_SIMPLE ? 0 : f.guard_factor;
        limit.guard_risk = f.guard_risk;
        limit.required = f.required;
        limit.decimals = f.decimals >= 0 ? (int)f.decimals : limit.decimals;
        limit.name = strdup(item->string);
        limit.source = f.source;
        f.source = NULL;
        r->out_of_memory = r->out_of_memory || !limit.name;
        r->type->limits[r->type->limit_count++] = limit;
    }
    es_fields_free(limit_rows, ES_ROWS(limit_rows), &f);
}

void es_type_read_limits(struct es_type_reader *r, const cJSON *object)
{
    r->type->limits = calloc(es_type_member_count(object) + 1, sizeof *r->type->limits);
    if (!r->type->limits) {
        r->out_of_memory = true;
        return;
    }
    for (const cJSON *m = object->child; m; m = m->next) {
        if (!es_type_is_note(m)) {
            read_limit(r, m);
        }
    }
    if (es_type_member_count(object) == 0) {
        es_document_fault(r->doc, object, r->findings, NULL, "at least one limit");
    }
}

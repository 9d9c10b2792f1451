/* Reads a type sheet by tables of rows; the rows are the reference for docs/type-sheet-file.md. */
#include "procedures/judgement/type_sheet.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FORMAT "type-sheet/1"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* ---- What a sheet may say ---- */

static const char *const action_words[] = {"single-acting", "double-acting", NULL};
static const char *const motion_words[] = {"linear", "part-turn", NULL};
static const char *const kind_words[] = {"complete unit", "relay module", "self-proof block", NULL};
static const char *const fitted_words[] = {"position feedback", "shutdown module", NULL};
static const char *const rule_words[] = {"simple", "guarded", "non-binary", NULL}; /* as enum es_rule */

struct head {
    char *format, *name, *title, *version;
    int action, motion, kind;
    const cJSON *fitted, *ceilings, *quantities, *limits;
};

static const struct es_field head_rows[] = {
    {.name = "endstop",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct head, format),
     .min = 1,
     .max = 40,
     .meaning = "kind and edition of this document: \"" FORMAT "\""},
    {.name = "name",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct head, name),
     .min = 1,
     .max = 64,
     .meaning = "short name of the unit type, small letters, digits and '-'"},
    {.name = "title",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct head, title),
     .min = 1,
     .max = 120,
     .meaning = "the unit type as people call it"},
    {.name = "version",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct head, version),
     .min = 1,
     .max = 40,
     .meaning = "version of this sheet"},
    {.name = "action",
     .kind = ES_FIELD_CHOICE,
     .required = true,
     .offset = offsetof(struct head, action),
     .choices = action_words,
     .meaning = "single-acting: output 1 only; double-acting: outputs 1 and 2"},
    {.name = "motion",
     .kind = ES_FIELD_CHOICE,
     .offset = offsetof(struct head, motion),
     .choices = motion_words,
     .meaning = "linear: travel is a length; part-turn: travel is an angle; of complete units only"},
    {.name = "kind",
     .kind = ES_FIELD_CHOICE,
     .offset = offsetof(struct head, kind),
     .choices = kind_words,
     .meaning = "complete unit (when not given), relay module (on an adaptor block), or self-proof block"},
    {.name = "fitted",
     .kind = ES_FIELD_ARRAY,
     .offset = offsetof(struct head, fitted),
     .min = 1,
     .max = ES_FITTED_COUNT,
     .meaning = "what units of this type have besides: \"position feedback\", \"shutdown module\""},
    {.name = "ceilings",
     .kind = ES_FIELD_OBJECT,
     .required = true,
     .offset = offsetof(struct head, ceilings),
     .meaning = "what no procedure may exceed on a unit of this type"},
    {.name = "quantities",
     .kind = ES_FIELD_OBJECT,
     .required = true,
     .offset = offsetof(struct head, quantities),
     .meaning = "numbers that procedures call by name"},
    {.name = "limits",
     .kind = ES_FIELD_OBJECT,
     .required = true,
     .offset = offsetof(struct head, limits),
     .meaning = "what measured values are judged against, by name"},
};

static const struct es_field ceiling_rows[] = {
    {.name = "supply pressure",
     .kind = ES_FIELD_QUANTITY,
     .required = true,
     .offset = offsetof(struct es_type, highest_supply),
     .dimension = ES_DIM_PRESSURE,
     .min = 1e4,
     .max = 2e6,
     .meaning = "highest supply pressure, gauge"},
    {.name = "loop current",
     .kind = ES_FIELD_QUANTITY,
     .required = true,
     .offset = offsetof(struct es_type, highest_loop),
     .dimension = ES_DIM_CURRENT,
     .min = 4e-3,
     .max = 0.1,
     .meaning = "highest loop current"},
};

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

/* Quantities whose meaning shipped procedures rely on. Travel is a length or an angle by the motion. */
static const struct known_quantity {
    const char *name;
    enum es_dimension dimension; /* ES_DIM_COUNT: that of travel */
    bool any_sign;               /* else more than nothing */
} known_quantities[] = {
    {.name = "nominal supply", .dimension = ES_DIM_PRESSURE},
    {.name = "minimum supply", .dimension = ES_DIM_PRESSURE},
    {.name = "maximum supply", .dimension = ES_DIM_PRESSURE},
    {.name = "loop low", .dimension = ES_DIM_CURRENT},
    {.name = "loop high", .dimension = ES_DIM_CURRENT},
    {.name = "sweep low", .dimension = ES_DIM_ANGLE, .any_sign = true},
    {.name = "sweep high", .dimension = ES_DIM_ANGLE, .any_sign = true},
    {.name = "full travel", .dimension = ES_DIM_COUNT},
    {.name = "travel tolerance", .dimension = ES_DIM_COUNT},
};

/* Pairs that must rise, or a procedure would do something else than its text says. */
static const struct order {
    const char *less, *more;
    bool may_be_equal;
} orders[] = {
    {"minimum supply", "nominal supply", true}, {"nominal supply", "maximum supply", true},
    {"minimum supply", "maximum supply", true}, {"loop low", "loop high", false},
    {"sweep low", "sweep high", false},
};

/* ---- Reading ---- */

struct reader {
    const struct es_document *doc;
    struct es_findings *findings;
    struct es_type *type;
    bool out_of_memory;
};

static bool is_name(const char *text)
{
    return text[0] && strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-") == strlen(text);
}

static size_t member_count(const cJSON *object)
{
    size_t n = 0;
    for (const cJSON *m = object ? object->child : NULL; m; m = m->next) {
        n++;
    }
    return n;
}

static bool is_note(const cJSON *member)
{
    return strcmp(member->string, "note") == 0;
}

/* A quantity's text; adds the finding when it is none. */
static bool read_quantity(struct reader *r, const cJSON *item, struct es_quantity *out)
{
    if (!cJSON_IsString(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "a quantity as text, such as \"4.0 bar\"");
        return false;
    }
    if (es_quantity_parse(item->valuestring, out, NULL) != ES_OK) {
        es_document_fault(r->doc, item, r->findings, NULL,
                          "a number and a known unit, such as \"4.0 bar\" or \"2.5 Nl/h\"; a pure number as "
                          "\"12\"");
        return false;
    }
    return true;
}

/* A quantity whose meaning is known must have its dimension and sign; adds the finding. */
static bool fits_what_is_known(struct reader *r, const cJSON *m, const struct es_quantity *q)
{
    const struct known_quantity *known = NULL;
    for (size_t i = 0; i < COUNT(known_quantities); i++) {
        if (strcmp(known_quantities[i].name, m->string) == 0) {
            known = &known_quantities[i];
        }
    }
    if (!known) {
        return true;
    }
    const enum es_dimension travel = r->type->motion == ES_LINEAR ? ES_DIM_LENGTH : ES_DIM_ANGLE;
    const enum es_dimension wanted = known->dimension == ES_DIM_COUNT ? travel : known->dimension;
    if (wanted != q->unit->dimension) {
        char units[200];
        es_unit_names(wanted, units, sizeof units);
        es_document_fault(r->doc, m, r->findings, NULL, "%s, in one of: %s", es_dimension_name(wanted),
                          units);
        return false;
    }
    if (!known->any_sign && q->value <= 0) {
        es_document_fault(r->doc, m, r->findings, NULL, "more than nothing");
        return false;
    }
    return true;
}

static void read_quantities(struct reader *r, const cJSON *object)
{
    struct es_type *type = r->type;
    type->quantities = calloc(member_count(object) + 1, sizeof *type->quantities);
    if (!type->quantities) {
        r->out_of_memory = true;
        return;
    }
    for (const cJSON *m = object->child; m; m = m->next) {
        struct es_quantity q;
        if (is_note(m) || !read_quantity(r, m, &q) || !fits_what_is_known(r, m, &q)) {
            continue;
        }
        struct es_type_quantity *made = &type->quantities[type->quantity_count];
        made->written = q;
        made->name = strdup(m->string);
        if (!made->name) {
            r->out_of_memory = true;
            return;
        }
        type->quantity_count++;
    }
}

static void check_orders(struct reader *r, const cJSON *object)
{
    for (size_t i = 0; i < COUNT(orders); i++) {
        const struct es_type_quantity *less = es_type_quantity(r->type, orders[i].less);
        const struct es_type_quantity *more = es_type_quantity(r->type, orders[i].more);
        if (!less || !more || less->written.value < more->written.value ||
            (orders[i].may_be_equal && less->written.value == more->written.value)) {
            continue;
        }
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, orders[i].more), r->findings, NULL,
                          "\"%s\" %s \"%s\"", orders[i].more, orders[i].may_be_equal ? "not below" : "above",
                          orders[i].less);
    }
    static const struct {
        const char *name;
        size_t offset;
        const char *ceiling;
    } under[] = {{"maximum supply", offsetof(struct es_type, highest_supply), "supply pressure"},
                 {"nominal supply", offsetof(struct es_type, highest_supply), "supply pressure"},
                 {"loop high", offsetof(struct es_type, highest_loop), "loop current"}};
    for (size_t i = 0; i < COUNT(under); i++) {
        const struct es_type_quantity *q = es_type_quantity(r->type, under[i].name);
        double ceiling = *(const double *)(const void *)((const char *)r->type + under[i].offset);
        if (q && ceiling > 0 && q->written.value > ceiling) {
            es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, under[i].name), r->findings,
                              NULL, "at most the ceiling \"%s\"", under[i].ceiling);
        }
    }
}

/* Both sides of a limit, their unit and digits. False when a finding was made. */
static bool read_sides(struct reader *r, const cJSON *object, const struct limit_fields *f,
                       struct es_limit *limit)
{
    const cJSON *lower_item = cJSON_GetObjectItemCaseSensitive(object, "lower");
    const cJSON *upper_item = cJSON_GetObjectItemCaseSensitive(object, "upper");
    struct es_quantity lower = {0};
    struct es_quantity upper = {0};
    bool ok = !f->lower || read_quantity(r, lower_item, &lower);
    ok = (!f->upper || read_quantity(r, upper_item, &upper)) && ok;
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
static bool read_prior(struct reader *r, const cJSON *object, struct es_limit *limit)
{
    if (!object) {
        return true;
    }
    struct prior_fields f = {0};
    struct es_quantity mean, deviation;
    const cJSON *mean_item = cJSON_GetObjectItemCaseSensitive(object, "mean"),
                *deviation_item = cJSON_GetObjectItemCaseSensitive(object, "standard deviation");
    bool ok = es_fields_read(r->doc, object, prior_rows, COUNT(prior_rows), &f, r->findings) &&
              read_quantity(r, mean_item, &mean) && read_quantity(r, deviation_item, &deviation);
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
    es_fields_free(prior_rows, COUNT(prior_rows), &f);
    return ok;
}

/* The decision rule must make sense with its guard factor. */
static bool check_rule(struct reader *r, const cJSON *object, const struct limit_fields *f)
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

static void read_limit(struct reader *r, const cJSON *item)
{
    if (!cJSON_IsObject(item)) {
        es_document_fault(r->doc, item, r->findings, NULL,
                          "an object with \"lower\" or \"upper\", and \"source\"");
        return;
    }
    struct limit_fields f = {.rule = ES_RULE_GUARDED, .guard_factor = 1, .required = true, .decimals = -1};
    struct es_limit limit = {0};
    bool ok = es_fields_read(r->doc, item, limit_rows, COUNT(limit_rows), &f, r->findings);
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
    es_fields_free(limit_rows, COUNT(limit_rows), &f);
}

static void read_limits(struct reader *r, const cJSON *object)
{
    r->type->limits = calloc(member_count(object) + 1, sizeof *r->type->limits);
    if (!r->type->limits) {
        r->out_of_memory = true;
        return;
    }
    for (const cJSON *m = object->child; m; m = m->next) {
        if (!is_note(m)) {
            read_limit(r, m);
        }
    }
    if (member_count(object) == 0) {
        es_document_fault(r->doc, object, r->findings, NULL, "at least one limit");
    }
}

static void read_fitted(struct reader *r, const cJSON *array)
{
    for (const cJSON *item = array ? array->child : NULL; item; item = item->next) {
        size_t i = 0;
        while (i < ES_FITTED_COUNT &&
               !(cJSON_IsString(item) && strcmp(item->valuestring, fitted_words[i]) == 0)) {
            i++;
        }
        if (i == ES_FITTED_COUNT || r->type->fitted[i]) {
            es_document_fault(r->doc, item, r->findings, NULL,
                              i == ES_FITTED_COUNT ? "\"position feedback\" or \"shutdown module\""
                                                   : "each thing once");
            continue;
        }
        r->type->fitted[i] = true;
    }
}

/* A complete unit moves something; the others do not, and have nothing fitted. */
static void check_kind(struct reader *r, const struct head *head)
{
    const cJSON *root = es_document_root(r->doc);
    const cJSON *motion = cJSON_GetObjectItemCaseSensitive(root, "motion");
    const bool complete = r->type->kind == ES_COMPLETE_UNIT;
    if (complete && !motion) {
        es_document_fault(r->doc, root, r->findings, "no \"motion\"",
                          "\"motion\": \"linear\" or \"part-turn\"");
    } else if (!complete && motion) {
        es_document_fault(r->doc, motion, r->findings, NULL, "no \"motion\": a %s moves nothing",
                          es_unit_kind_word(r->type->kind));
    }
    if (!complete && head->fitted) {
        es_document_fault(r->doc, head->fitted, r->findings, NULL,
                          "nothing: a %s has neither feedback nor a shutdown module",
                          es_unit_kind_word(r->type->kind));
    }
}

/* Everything after the head's members were read; texts move from head to type. */
static void read_body(struct reader *r, struct head *head)
{
    struct es_type *type = r->type;
    type->action = (enum es_action)head->action;
    type->motion = (enum es_motion)head->motion;
    type->kind = (enum es_unit_kind)head->kind;
    read_fitted(r, head->fitted);
    check_kind(r, head);
    if (head->name && !is_name(head->name)) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(es_document_root(r->doc), "name"),
                          r->findings, NULL, "small letters, digits and '-'");
    }
    if (head->ceilings) {
        es_fields_read(r->doc, head->ceilings, ceiling_rows, COUNT(ceiling_rows), type, r->findings);
    }
    if (head->quantities) {
        read_quantities(r, head->quantities);
        check_orders(r, head->quantities);
    }
    if (head->limits) {
        read_limits(r, head->limits);
    }
    type->name = head->name;
    type->title = head->title;
    type->version = head->version;
    head->name = head->title = head->version = NULL;
    es_document_digest(r->doc, type->digest);
}

enum es_status es_type_from_document(const struct es_document *doc, struct es_findings *findings,
                                     struct es_type **out, struct es_error *err)
{
    const cJSON *root = es_document_root(doc);
    if (!cJSON_IsObject(root)) {
        es_document_fault(doc, root, findings, NULL, "an object with \"endstop\": \"" FORMAT "\"");
        return es_findings_status(findings, err);
    }
    struct reader r = {.doc = doc, .findings = findings, .type = calloc(1, sizeof *r.type)};
    if (!r.type) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the type sheet %s", es_document_name(doc));
    }
    struct head head = {0};
    enum es_status st = ES_OK;
    const cJSON *format = cJSON_GetObjectItemCaseSensitive(root, "endstop");
    if (cJSON_IsString(format) && strcmp(format->valuestring, FORMAT) != 0) {
        /* Another kind of document: its other members are not faults of a type sheet. */
        es_document_fault(doc, format, findings, NULL, "\"" FORMAT "\": this is not a type sheet");
    } else {
        (void)es_fields_read(doc, root, head_rows, COUNT(head_rows), &head, findings);
        read_body(&r, &head);
    }
    es_fields_free(head_rows, COUNT(head_rows), &head);
    st = es_findings_status(findings, err);
    if (st == ES_OK && r.out_of_memory) {
        st = es_fail(err, ES_NO_MEMORY, "no memory for the type sheet %s", es_document_name(doc));
    }
    if (st != ES_OK) {
        es_type_free(r.type);
        return st;
    }
    *out = r.type;
    return ES_OK;
}

enum es_status es_type_load(const char *path, struct es_findings *findings, struct es_type **out,
                            struct es_error *err)
{
    struct es_document *doc = NULL;
    enum es_status st = es_document_load(path, findings, &doc, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_type_from_document(doc, findings, out, err);
    es_document_free(doc);
    return st;
}

void es_type_free(struct es_type *type)
{
    if (!type) {
        return;
    }
    for (size_t i = 0; i < type->quantity_count; i++) {
        free(type->quantities[i].name);
    }
    for (size_t i = 0; i < type->limit_count; i++) {
        es_limit_clear(&type->limits[i]);
    }
    free(type->quantities);
    free(type->limits);
    free(type->name);
    free(type->title);
    free(type->version);
    free(type);
}

const struct es_type_quantity *es_type_quantity(const struct es_type *type, const char *name)
{
    for (size_t i = 0; i < type->quantity_count; i++) {
        if (type->quantities[i].name && strcmp(type->quantities[i].name, name) == 0) {
            return &type->quantities[i];
        }
    }
    return NULL;
}

const struct es_limit *es_type_limit(const struct es_type *type, const char *name)
{
    for (size_t i = 0; i < type->limit_count; i++) {
        if (type->limits[i].name && strcmp(type->limits[i].name, name) == 0) {
            return &type->limits[i];
        }
    }
    return NULL;
}

const char *es_action_word(enum es_action action)
{
    return action_words[action == ES_DOUBLE_ACTING];
}

const char *es_motion_word(enum es_motion motion)
{
    return motion_words[motion == ES_PART_TURN];
}

const char *es_unit_kind_word(enum es_unit_kind kind)
{
    return kind_words[kind];
}

const char *es_fitted_word(enum es_fitted fitted)
{
    return fitted_words[fitted];
}

bool es_type_has_role(const struct es_type *type, enum es_role role)
{
    switch (role) {
    case ES_ROLE_SENSOR_RATIO:
    case ES_ROLE_SHAFT_ANGLE:
    case ES_ROLE_SHAFT_DRIVE:
    case ES_ROLE_SHAFT_COUPLING:
    case ES_ROLE_TRAVEL:
        return type->kind == ES_COMPLETE_UNIT;
    case ES_ROLE_FEEDBACK_CURRENT:
        return type->fitted[ES_FITTED_FEEDBACK];
    case ES_ROLE_AUXILIARY_SUPPLY:
        return type->fitted[ES_FITTED_SHUTDOWN];
    default:
        return true;
    }
}

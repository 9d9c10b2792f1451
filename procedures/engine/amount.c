/* Quantities as a procedure gives them: with a unit, by a name of the type sheet, or as a share of a span. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/read.h"
#include "procedures/judgement/type_sheet.h"

/* The words by which people name the states of valves and switches. */
static const struct {
    const char *word;
    double value;
} state_words[] = {{"open", 1},   {"shut", 0},    {"on", 1},      {"off", 0},     {"coupled", 1}, {"free", 0},
                   {"closed", 1}, {"healthy", 1}, {"pressed", 0}, {"started", 1}, {"stopped", 0}};

static const char *words_of(enum es_role role)
{
    switch (role) {
    case ES_ROLE_SHAFT_COUPLING:
        return "\"coupled\" or \"free\"";
    case ES_ROLE_AUXILIARY_SUPPLY:
        return "\"on\" or \"off\"";
    case ES_ROLE_EMERGENCY_STOP:
        return "\"healthy\" or \"pressed\"";
    case ES_ROLE_GUARD:
        return "\"closed\" or \"open\"";
    case ES_ROLE_SELF_ADJUSTMENT:
        return "\"started\" or \"stopped\"";
    default:
        return "\"open\" or \"shut\"";
    }
}

static bool read_state(enum es_role role, const char *text, double *out)
{
    const char *known = words_of(role);

    for (size_t i = 0; i < sizeof state_words / sizeof state_words[0]; i++) {
        char quoted[16];
        (void)snprintf(quoted, sizeof quoted, "\"%s\"", state_words[i].word);
        if (strcmp(state_words[i].word, text) == 0 && strstr(known, quoted) != NULL) {
            *out = state_words[i].value;
            if (role == ES_ROLE_GUARD && strcmp(text, "open") == 0)
                *out = 0;
            return true;
        }
    }
    return false;
}

static enum es_dimension as_used(enum es_dimension d, enum es_amount_use use)
{
    if (use == ES_AMOUNT_RATE)
        return es_dimension_rate(d);
    if (use == ES_AMOUNT_DIFFERENCE && d == ES_DIM_TEMPERATURE)
        return ES_DIM_TEMPERATURE_DIFFERENCE;
    return d;
}

static bool has_span(enum es_role role)
{
    return role == ES_ROLE_LOOP_DEMAND || role == ES_ROLE_LOOP_CURRENT || role == ES_ROLE_TRAVEL;
}

/* The dimensions that an amount may have: first, other (ES_DIM_COUNT: none), and whether as a share. */
static void allowed(struct es_want want, enum es_dimension *first, enum es_dimension *other, bool *share)
{
    *first = want.dimension;
    *other = ES_DIM_COUNT;
    *share = false;
    if (want.role == ES_ROLE_NONE)
        return;
    const struct es_role_info *info = es_role_info(want.role);
    *first = as_used(info->dimension, want.use);
    if (info->other_dimension != ES_DIM_COUNT)
        *other = as_used(info->other_dimension, want.use);
    *share = has_span(want.role);
}

static bool is_name(const char *text)
{
    return *text != '\0' && strchr("+-.0123456789", *text) == NULL;
}

static void want_fault(struct es_reader *r, const cJSON *item, struct es_want want)
{
    enum es_dimension first, other;
    bool share;

    allowed(want, &first, &other, &share);
    if (want.role != ES_ROLE_NONE && es_role_info(want.role)->is_state && want.use == ES_AMOUNT_VALUE) {
        es_document_fault(r->doc, item, r->findings, NULL, "%s", words_of(want.role));
        return;
    }
    if (first == ES_DIM_COUNT) {
        es_document_fault(r->doc, item, r->findings, NULL, "nothing: a %s can be set but not ramped",
                          es_role_info(want.role)->name);
        return;
    }
    char units[160];
    es_unit_names(first, units, sizeof units);
    es_document_fault(r->doc, item, r->findings, NULL, "a %s with its unit (%s)%s%s%s",
                      es_dimension_name(first), units, other != ES_DIM_COUNT ? ", or a " : "",
                      other != ES_DIM_COUNT ? es_dimension_name(other) : "",
                      share ? ", or a share of the span (%), or the name of a type-sheet quantity"
                            : ", or the name of a type-sheet quantity");
}

static void read_quantity(struct es_reader *r, const cJSON *item, struct es_want want, struct es_amount *out)
{
    enum es_dimension first, other;
    bool share;
    struct es_quantity q;
    struct es_error err;

    allowed(want, &first, &other, &share);
    if (es_quantity_parse(item->valuestring, &q, &err) != ES_OK) {
        const char *expected = strstr(err.text, "; expected "); /* what was found is told already */
        es_document_fault(r->doc, item, r->findings, NULL, "%s%s",
                          expected != NULL ? "" : "a known unit, not ",
                          expected != NULL ? expected + strlen("; expected ") : err.text + strlen("found "));
        return;
    }
    const enum es_dimension d = q.unit != NULL ? q.unit->dimension : ES_DIM_NUMBER;
    const enum es_dimension share_dimension = want.use == ES_AMOUNT_RATE ? ES_DIM_RATIO_RATE : ES_DIM_RATIO;
    if (share && d == share_dimension)
        out->kind = ES_AMOUNT_SHARE;
    else if (d == first || d == other)
        out->kind = ES_AMOUNT_QUANTITY;
    else {
        want_fault(r, item, want);
        return;
    }
    if (want.positive && q.value <= 0) {
        out->kind = ES_AMOUNT_NONE;
        es_document_fault(r->doc, item, r->findings, NULL, "more than nothing");
        return;
    }
    out->value = q.value;
    out->unit = q.unit;
    out->decimals = q.decimals;
}

void es_read_amount(struct es_reader *r, const cJSON *item, struct es_want want, struct es_amount *out)
{
    if (item == NULL)
        return;
    out->place = es_read_place(r, item);
    out->use = want.use;
    if (!cJSON_IsString(item)) {
        want_fault(r, item, want);
        return;
    }
    if (want.role != ES_ROLE_NONE && es_role_info(want.role)->is_state) {
        if (read_state(want.role, item->valuestring, &out->value))
            out->kind = ES_AMOUNT_QUANTITY;
        else
            want_fault(r, item, want);
    } else if (is_name(item->valuestring)) {
        out->kind = ES_AMOUNT_NAMED;
    } else {
        read_quantity(r, item, want, out);
    }
    if (out->kind == ES_AMOUNT_NONE)
        return;
    out->text = es_read_copy(r, item->valuestring);
    if (out->text == NULL)
        out->kind = ES_AMOUNT_NONE;
}

void es_amount_free(struct es_amount *amount)
{
    free(amount->text);
    *amount = (struct es_amount){0};
}

static enum es_status named(const struct es_amount *amount, enum es_role role, const struct es_type *type,
                            double *out, struct es_error *err)
{
    const struct es_type_quantity *q = es_type_quantity(type, amount->text);

    if (q == NULL)
        return es_fail(err, ES_NOT_FOUND, "the type sheet \"%s\" has no quantity \"%s\"", type->name,
                       amount->text);
    const enum es_dimension d = q->written.unit->dimension;
    if (role != ES_ROLE_NONE) {
        const struct es_role_info *info = es_role_info(role);
        if (d != as_used(info->dimension, amount->use) &&
            (info->other_dimension == ES_DIM_COUNT || d != as_used(info->other_dimension, amount->use)))
            return es_fail(err, ES_BAD_INPUT, "\"%s\" of the type sheet \"%s\" is a %s; %s needs a %s",
                           amount->text, type->name, es_dimension_name(d), info->name,
                           es_dimension_name(as_used(info->dimension, amount->use)));
    }
    *out = q->written.value;
    return ES_OK;
}

static enum es_status span_end(const struct es_type *type, const char *name, enum es_dimension d, double *out,
                               struct es_error *err)
{
    const struct es_type_quantity *q = es_type_quantity(type, name);

    if (q == NULL)
        return es_fail(err, ES_NOT_FOUND, "the type sheet \"%s\" has no quantity \"%s\", which a share needs",
                       type->name, name);
    if (d != ES_DIM_COUNT && q->written.unit->dimension != d)
        return es_fail(err, ES_BAD_INPUT, "\"%s\" of the type sheet \"%s\" is not a %s", name, type->name,
                       es_dimension_name(d));
    *out = q->written.value;
    return ES_OK;
}

static enum es_status share(const struct es_amount *amount, enum es_role role, const struct es_type *type,
                            double *out, struct es_error *err)
{
    double low = 0, high = 0;
    enum es_status s;

    if (role == ES_ROLE_TRAVEL) {
        s = span_end(type, "full travel", type->motion == ES_LINEAR ? ES_DIM_LENGTH : ES_DIM_ANGLE, &high,
                     err);
    } else {
        s = span_end(type, "loop low", ES_DIM_CURRENT, &low, err);
        if (s == ES_OK)
            s = span_end(type, "loop high", ES_DIM_CURRENT, &high, err);
    }
    if (s != ES_OK)
        return s;
    *out = amount->value * (high - low) + (amount->use == ES_AMOUNT_VALUE ? low : 0);
    return ES_OK;
}

enum es_status es_amount_resolve(const struct es_amount *amount, enum es_role role,
                                 const struct es_type *type, double *out, struct es_error *err)
{
    switch (amount->kind) {
    case ES_AMOUNT_QUANTITY:
        *out = amount->value;
        return ES_OK;
    case ES_AMOUNT_NAMED:
    case ES_AMOUNT_SHARE:
        if (type == NULL)
            return es_fail(err, ES_NOT_FOUND, "\"%s\" needs a type sheet", amount->text);
        return amount->kind == ES_AMOUNT_NAMED ? named(amount, role, type, out, err)
                                               : share(amount, role, type, out, err);
    default:
        return es_fail(err, ES_INTERNAL, "a quantity that a step needs was not given");
    }
}

/* Reads JSON objects by rows (struct es_field). */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/base/nearest.h"
#include "rig/base/text.h"

#define LARGEST_WHOLE 9007199254740992.0 /* 2^53: every whole number below is exact in JSON's double */

struct reader {
    const struct es_document *doc;
    const cJSON *object;
    struct es_findings *findings;
    bool good;
};

static void wrong(struct reader *r, const cJSON *item, const struct es_field *row, const char *expected)
{
    es_document_fault(r->doc, item, r->findings, NULL, "%s for \"%s\"", expected, row->name);
    r->good = false;
}

static bool is_bounded(const struct es_field *row)
{
    return row->min != 0 || row->max != 0;
}

static bool is_within(const struct es_field *row, double value)
{
    return !is_bounded(row) || (value >= row->min && value <= row->max);
}

/* The row's range after `what`: "a quantity from 0 bar to 10 bar", "a text of at most 5 characters". */
static void out_of_range(struct reader *r, const cJSON *item, const struct es_field *row,
                         const struct es_unit *unit, const char *what, const char *counted)
{
    char low[64], high[64], expected[240];
    const char *gap = unit != NULL && unit->name[0] != '\0' ? " " : "";
    const char *name = unit != NULL ? unit->name : counted;
    double min = unit != NULL ? es_to_unit(row->min, unit) : row->min;
    double max = unit != NULL ? es_to_unit(row->max, unit) : row->max;

    (void)snprintf(low, sizeof low, "%.10g%s%s", min, gap, name);
    (void)snprintf(high, sizeof high, "%.10g%s%s", max, gap, name);
    if (isinf(row->max))
        (void)snprintf(expected, sizeof expected, "%s of at least %s", what, low);
    else if (isinf(row->min))
        (void)snprintf(expected, sizeof expected, "%s of at most %s", what, high);
    else if (counted[0] != '\0')
        (void)snprintf(expected, sizeof expected, "%s of %.10g to %s", what, min, high);
    else
        (void)snprintf(expected, sizeof expected, "%s from %s to %s", what, low, high);
    wrong(r, item, row, expected);
}

static void read_text(struct reader *r, const cJSON *item, const struct es_field *row, char **target)
{
    if (!cJSON_IsString(item)) {
        wrong(r, item, row, "a text in double quotes");
        return;
    }
    if (!is_within(row, (double)es_utf8_count(item->valuestring))) {
        out_of_range(r, item, row, NULL, "a text", " characters");
        return;
    }
    char *copy = strdup(item->valuestring);
    if (copy == NULL) {
        r->findings->out_of_memory = true;
        r->good = false;
        return;
    }
    free(*target);
    *target = copy;
}

static void read_number(struct reader *r, const cJSON *item, const struct es_field *row, double *target)
{
    if (!cJSON_IsNumber(item))
        wrong(r, item, row, "a number");
    else if (!is_within(row, item->valuedouble))
        out_of_range(r, item, row, NULL, "a number", "");
    else
        *target = item->valuedouble;
}

static void read_integer(struct reader *r, const cJSON *item, const struct es_field *row, long *target)
{
    if (!cJSON_IsNumber(item) || item->valuedouble != nearbyint(item->valuedouble) ||
        fabs(item->valuedouble) > LARGEST_WHOLE)
        wrong(r, item, row, "a whole number");
    else if (!is_within(row, item->valuedouble))
        out_of_range(r, item, row, NULL, "a whole number", "");
    else
        *target = (long)item->valuedouble;
}

static void read_quantity(struct reader *r, const cJSON *item, const struct es_field *row, double *target)
{
    struct es_error why = {0};
    struct es_quantity q = {.value = item->valuedouble, .unit = es_dimension_unit(row->dimension)};

    if (cJSON_IsString(item)) {
        if (es_quantity_parse_as(item->valuestring, row->dimension, &q, &why) != ES_OK) {
            const char *expected = strstr(why.text, "; expected ");
            wrong(r, item, row, expected != NULL ? expected + strlen("; expected ") : why.text);
            return;
        }
    } else if (!cJSON_IsNumber(item) || row->dimension != ES_DIM_NUMBER) {
        char units[300], expected[400];
        es_unit_names(row->dimension, units, sizeof units);
        (void)snprintf(expected, sizeof expected, "a %s with its unit, in double quotes, in one of: %s",
                       es_dimension_name(row->dimension), units);
        wrong(r, item, row, row->dimension == ES_DIM_NUMBER ? "a number" : expected);
        return;
    }
    if (!is_within(row, q.value))
        out_of_range(r, item, row, q.unit, "a quantity", "");
    else
        *target = q.value;
}

static int choice_of(const struct es_field *row, const char *word)
{
    for (int i = 0; row->choices[i] != NULL; i++)
        if (strcmp(row->choices[i], word) == 0)
            return i;
    return -1;
}

static void read_choice(struct reader *r, const cJSON *item, const struct es_field *row, int *target)
{
    int index = cJSON_IsString(item) ? choice_of(row, item->valuestring) : -1;

    if (index >= 0) {
        *target = index;
        return;
    }
    struct es_text words = {0}, advice = {0};
    struct es_nearest nearest = {.word = cJSON_IsString(item) ? item->valuestring : ""};
    for (int i = 0; row->choices[i] != NULL; i++) {
        es_text_printf(&words, "%s\"%s\"", i == 0 ? "" : ", ", row->choices[i]);
        es_nearest_offer(&nearest, row->choices[i]);
    }
    if (nearest.best != NULL)
        es_text_printf(&advice, "Did you mean \"%s\"?", nearest.best);
    es_document_fault_advice(r->doc, item, r->findings, NULL, advice.bytes, "one of %s for \"%s\"",
                             words.bytes != NULL ? words.bytes : "", row->name);
    r->good = false;
    es_text_free(&words);
    es_text_free(&advice);
}

static void read_array(struct reader *r, const cJSON *item, const struct es_field *row, const cJSON **target)
{
    if (!cJSON_IsArray(item))
        wrong(r, item, row, "a list in [ ]");
    else if (!is_within(row, (double)cJSON_GetArraySize(item)))
        out_of_range(r, item, row, NULL, "a list", " elements");
    else
        *target = item;
}

static void read_one(struct reader *r, const cJSON *item, const struct es_field *row, void *target)
{
    switch (row->kind) {
    case ES_FIELD_TEXT:
        read_text(r, item, row, target);
        break;
    case ES_FIELD_BOOL:
        if (cJSON_IsBool(item))
            *(bool *)target = cJSON_IsTrue(item);
        else
            wrong(r, item, row, "true or false");
        break;
    case ES_FIELD_INTEGER:
        read_integer(r, item, row, target);
        break;
    case ES_FIELD_NUMBER:
        read_number(r, item, row, target);
        break;
    case ES_FIELD_QUANTITY:
        read_quantity(r, item, row, target);
        break;
    case ES_FIELD_CHOICE:
        read_choice(r, item, row, target);
        break;
    case ES_FIELD_OBJECT:
        if (cJSON_IsObject(item))
            *(const cJSON **)target = item;
        else
            wrong(r, item, row, "an object in { }");
        break;
    case ES_FIELD_ARRAY:
        read_array(r, item, row, target);
        break;
    case ES_FIELD_ANY:
        *(const cJSON **)target = item;
        break;
    }
}

/* A row's fallback is a fault of the program when it does not fit its row. */
static bool set_fallback(const struct es_field *row, void *target)
{
    struct es_quantity q;
    int index;

    switch (row->kind) {
    case ES_FIELD_TEXT:
        *(char **)target = strdup(row->fallback);
        return *(char **)target != NULL;
    case ES_FIELD_BOOL:
        *(bool *)target = strcmp(row->fallback, "true") == 0;
        return true;
    case ES_FIELD_INTEGER:
        *(long *)target = strtol(row->fallback, NULL, 10);
        return true;
    case ES_FIELD_NUMBER:
        *(double *)target = strtod(row->fallback, NULL);
        return true;
    case ES_FIELD_QUANTITY:
        if (es_quantity_parse_as(row->fallback, row->dimension, &q, NULL) != ES_OK)
            return false;
        *(double *)target = q.value;
        return true;
    case ES_FIELD_CHOICE:
        index = choice_of(row, row->fallback);
        *(int *)target = index;
        return index >= 0;
    default:
        return false;
    }
}

static void missing(struct reader *r, const struct es_field *row, void *target)
{
    if (row->required) {
        struct es_text found = {0};
        es_text_printf(&found, "no \"%s\" in this object", row->name);
        es_document_fault(r->doc, r->object, r->findings, found.bytes, "\"%s\": %s", row->name,
                          row->meaning != NULL ? row->meaning : "required");
        es_text_free(&found);
        r->good = false;
    } else if (row->fallback != NULL && !set_fallback(row, target)) {
        es_document_fault(r->doc, r->object, r->findings, row->fallback,
                          "a default that fits \"%s\" (a fault of the program, or no memory)", row->name);
        r->good = false;
    }
}

static const struct es_field *row_of(const struct es_field *rows, size_t count, const char *name)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(rows[i].name, name) == 0)
            return &rows[i];
    return NULL;
}

static void unknown_member(struct reader *r, const cJSON *member, const struct es_field *rows, size_t count)
{
    unsigned line = 0, column = 0;
    struct es_nearest nearest = {.word = member->string};
    struct es_text found = {0}, expected = {0}, advice = {0};

    es_text_printf(&found, "the unknown name \"%s\"", member->string);
    es_text_add(&expected, count == 0 ? "no members here" : "one of ");
    for (size_t i = 0; i < count; i++) {
        es_text_printf(&expected, "%s\"%s\"", i == 0 ? "" : ", ", rows[i].name);
        es_nearest_offer(&nearest, rows[i].name);
    }
    if (nearest.best != NULL)
        es_text_printf(&advice, "Did you mean \"%s\"?", nearest.best);
    es_document_name_at(r->doc, member, &line, &column);
    es_findings_add(r->findings, es_document_name(r->doc), line, column, found.bytes, expected.bytes,
                    advice.bytes);
    r->good = false;
    es_text_free(&found);
    es_text_free(&expected);
    es_text_free(&advice);
}

static void check_note(struct reader *r, const cJSON *member)
{
    if (cJSON_IsString(member))
        return;
    es_document_fault(r->doc, member, r->findings, NULL, "a text for \"note\"");
    r->good = false;
}

bool es_fields_read(const struct es_document *doc, const cJSON *object, const struct es_field *rows,
                    size_t count, void *destination, struct es_findings *findings)
{
    struct reader r = {.doc = doc, .object = object, .findings = findings, .good = true};

    if (!cJSON_IsObject(object)) {
        es_document_fault(doc, object, findings, NULL, "an object in { }");
        return false;
    }
    for (const cJSON *member = object->child; member != NULL; member = member->next) {
        const struct es_field *row = row_of(rows, count, member->string);
        if (row != NULL)
            read_one(&r, member, row, (char *)destination + row->offset);
        else if (strcmp(member->string, "note") == 0)
            check_note(&r, member);
        else
            unknown_member(&r, member, rows, count);
    }
    for (size_t i = 0; i < count; i++)
        if (cJSON_GetObjectItemCaseSensitive(object, rows[i].name) == NULL)
            missing(&r, &rows[i], (char *)destination + rows[i].offset);
    return r.good;
}

void es_fields_free(const struct es_field *rows, size_t count, void *destination)
{
    for (size_t i = 0; i < count; i++) {
        if (rows[i].kind != ES_FIELD_TEXT)
            continue;
        char **text = (char **)(void *)((char *)destination + rows[i].offset);
        free(*text);
        *text = NULL;
    }
}

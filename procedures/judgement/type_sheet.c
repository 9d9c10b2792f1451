/* Reads a type sheet by tables of rows; the rows are the reference for docs/type-sheet-file.md. */
#include "procedures/judgement/type_sheet.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/type_sheet_read.h"

#define FORMAT "type-sheet/1"

/* ---- What a sheet may say ---- */

static const char *const action_words[] = {"single-acting", "double-acting", NULL};
static const char *const motion_words[] = {"linear", "part-turn", NULL};
static const char *const kind_words[] = {"complete unit", "relay module", "self-proof block", NULL};
static const char *const fitted_words[] = {"position feedback", "shutdown module", NULL};

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

/* ---- Reading ---- */

static bool is_name(const char *text)
{
    return text[0] && strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-") == strlen(text);
}

static void read_fitted(struct es_type_reader *r, const cJSON *array)
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
static void check_kind(struct es_type_reader *r, const struct head *head)
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
static void read_body(struct es_type_reader *r, struct head *head)
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
        es_fields_read(r->doc, head->ceilings, ceiling_rows, ES_ROWS(ceiling_rows), type, r->findings);
    }
    if (head->quantities) {
        es_type_read_quantities(r, head->quantities);
    }
    if (head->limits) {
        es_type_read_limits(r, head->limits);
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
    struct es_type_reader r = {.doc = doc, .findings = findings, .type = calloc(1, sizeof *r.type)};
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
        (void)es_fields_read(doc, root, head_rows, ES_ROWS(head_rows), &head, findings);
        read_body(&r, &head);
    }
    es_fields_free(head_rows, ES_ROWS(head_rows), &head);
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

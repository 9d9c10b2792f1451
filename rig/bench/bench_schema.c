#include "rig/bench/bench_schema.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/bench_reader.h"

#define NUMBER_PATTERN "[+-]?[0-9]+(\\.[0-9]+)?([eE][+-]?[0-9]+)?"

/* What stands behind a member that is an object or an array. */
static const struct {
    const char *object, *member, *what;
    bool many;
} nests[] = {
    {"bench file", "buses", "bus", true},         {"bench file", "instruments", "instrument", true},
    {"bench file", "stations", "station", true},  {"station", "channels", "channel", true},
    {"station", "ceilings", "ceiling", true},     {"station", "safe state", "safe state", false},
    {"station", "watchdog", "watchdog", false},   {"station", "facts", "fact", true},
    {"safe state", "writes", "safe write", true}, {"channel", "scale", "scale", false},
    {"channel", "signal", "signal", false},       {"channel", "plausible", "plausible", false},
    {"channel", "range", "range", false},         {"channel", "calibration", "calibration", false},
    {"channel", "read back", "read back", false}, {"scale", "table", "pair", true},
    {"calibration", "corrections", "pair", true},
};

static cJSON *reference(const char *what)
{
    char text[120];
    cJSON *o = cJSON_CreateObject();
    snprintf(text, sizeof text, "#/$defs/%s", what);
    for (char *p = text; *p; p++) {
        *p = *p == ' ' ? '-' : *p;
    }
    cJSON_AddStringToObject(o, "$ref", text);
    return o;
}

static void bounds(cJSON *o, const struct es_field *f, const char *low, const char *high)
{
    if (f->min != 0 || f->max != 0) {
        cJSON_AddNumberToObject(o, low, f->min);
        cJSON_AddNumberToObject(o, high, f->max);
    }
}

static void choices(cJSON *o, const char *const *words)
{
    cJSON *list = cJSON_AddArrayToObject(o, "enum");
    for (; *words; words++) {
        cJSON_AddItemToArray(list, cJSON_CreateString(*words));
    }
}

static void role_names(cJSON *o)
{
    cJSON *list = cJSON_AddArrayToObject(o, "enum");
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        cJSON_AddItemToArray(list, cJSON_CreateString(es_role_info((enum es_role)i)->name));
    }
}

static void driver_names(cJSON *o)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    cJSON *names = cJSON_AddArrayToObject(o, "enum");
    for (size_t i = 0; i < count; i++) {
        cJSON_AddItemToArray(names, cJSON_CreateString(list[i]->name));
    }
}

/* A number, spaces, a unit of the dimension. */
static void quantity(cJSON *o, enum es_dimension d)
{
    struct es_text t = {0};
    char names[300];
    es_unit_names(d, names, sizeof names);
    es_text_add(&t, "^" NUMBER_PATTERN " *(");
    for (const char *p = names; *p; p++) {
        if (p[0] == ',' && p[1] == ' ') {
            es_text_char(&t, '|');
            p++;
        } else {
            es_text_printf(&t, strchr("/()%.", *p) ? "\\%c" : "%c", *p);
        }
    }
    es_text_add(&t, ")$");
    cJSON_AddStringToObject(o, "type", "string");
    cJSON_AddStringToObject(o, "pattern", t.bytes ? t.bytes : "");
    es_text_free(&t);
}

static void text_field(cJSON *o, const char *object, const struct es_field *f)
{
    cJSON_AddStringToObject(o, "type", "string");
    if (!strcmp(f->name, "endstop")) {
        cJSON_AddStringToObject(o, "const", "bench/1");
    } else if (!strcmp(f->name, "role")) {
        role_names(o);
    } else if (!strcmp(f->name, "driver") && !strcmp(object, "bus")) {
        driver_names(o);
    } else if (!strcmp(object, "calibration") && (!strcmp(f->name, "date") || !strcmp(f->name, "due"))) {
        cJSON_AddStringToObject(o, "pattern", "^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$");
    } else {
        bounds(o, f, "minLength", "maxLength");
    }
}

/* A quantity whose dimension follows from the role: the schema knows its form only. */
static void any_field(cJSON *o, const char *object)
{
    cJSON *list = cJSON_AddArrayToObject(o, "anyOf");
    cJSON *text = cJSON_CreateObject();
    cJSON_AddStringToObject(text, "type", "string");
    cJSON_AddStringToObject(text, "pattern", "^" NUMBER_PATTERN " *.*$");
    cJSON_AddItemToArray(list, text);
    if (!strcmp(object, "safe write")) {
        cJSON *number = cJSON_CreateObject();
        cJSON_AddStringToObject(number, "type", "number");
        cJSON_AddItemToArray(list, number);
    }
}

static void settings_field(cJSON *o, const char *which)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    cJSON *any = cJSON_AddArrayToObject(o, "anyOf");
    for (size_t i = 0; i < count; i++) {
        char what[80];
        snprintf(what, sizeof what, "%s of %s", which, list[i]->name);
        cJSON_AddItemToArray(any, reference(what));
    }
}

static bool nested_field(cJSON *o, const char *object, const struct es_field *f)
{
    for (size_t i = 0; i < sizeof nests / sizeof nests[0]; i++) {
        if (strcmp(nests[i].object, object) != 0 || strcmp(nests[i].member, f->name) != 0) {
            continue;
        }
        if (!nests[i].many) {
            cJSON *ref = reference(nests[i].what);
            cJSON_AddItemToObject(o, "$ref", cJSON_DetachItemFromObject(ref, "$ref"));
            cJSON_Delete(ref);
            return true;
        }
        cJSON_AddStringToObject(o, "type", "array");
        bounds(o, f, "minItems", "maxItems");
        cJSON_AddItemToObject(o, "items", reference(nests[i].what));
        return true;
    }
    return false;
}

static cJSON *field(const char *object, const struct es_field *f)
{
    cJSON *o = cJSON_CreateObject();
    cJSON_AddStringToObject(o, "description", f->meaning);
    switch (f->kind) {
    case ES_FIELD_TEXT:
        text_field(o, object, f);
        break;
    case ES_FIELD_BOOL:
        cJSON_AddStringToObject(o, "type", "boolean");
        break;
    case ES_FIELD_INTEGER:
        cJSON_AddStringToObject(o, "type", "integer");
        bounds(o, f, "minimum", "maximum");
        break;
    case ES_FIELD_NUMBER:
        cJSON_AddStringToObject(o, "type", "number");
        bounds(o, f, "minimum", "maximum");
        break;
    case ES_FIELD_QUANTITY:
        quantity(o, f->dimension);
        break;
    case ES_FIELD_CHOICE:
        choices(o, f->choices);
        break;
    case ES_FIELD_ANY:
        any_field(o, object);
        break;
    case ES_FIELD_OBJECT:
    case ES_FIELD_ARRAY:
        if (!nested_field(o, object, f)) {
            settings_field(o, !strcmp(object, "channel") ? "address"
                              : !strcmp(object, "bus")   ? "bus"
                                                         : "instrument");
        }
        break;
    }
    if (f->fallback) {
        /* As written in the file; numbers and truth values without quotes. */
        cJSON *fallback =
            f->kind == ES_FIELD_QUANTITY || f->kind == ES_FIELD_CHOICE || f->kind == ES_FIELD_TEXT
                ? cJSON_CreateString(f->fallback)
                : cJSON_Parse(f->fallback);
        cJSON_AddItemToObject(o, "default", fallback);
    }
    return o;
}

static cJSON *object_of(const char *name, const struct es_field *rows, size_t count)
{
    cJSON *o = cJSON_CreateObject();
    cJSON *required = cJSON_CreateArray();
    cJSON_AddStringToObject(o, "type", "object");
    cJSON *properties = cJSON_AddObjectToObject(o, "properties");
    for (size_t i = 0; i < count; i++) {
        cJSON_AddItemToObject(properties, rows[i].name, field(name, &rows[i]));
        if (rows[i].required) {
            cJSON_AddItemToArray(required, cJSON_CreateString(rows[i].name));
        }
    }
    cJSON *note = cJSON_AddObjectToObject(properties, "note");
    cJSON_AddStringToObject(note, "description", "for people; ignored");
    cJSON_AddStringToObject(note, "type", "string");
    if (cJSON_GetArraySize(required)) {
        cJSON_AddItemToObject(o, "required", required);
    } else {
        cJSON_Delete(required);
    }
    cJSON_AddFalseToObject(o, "additionalProperties");
    return o;
}

static void add_definition(cJSON *defs, const char *name, cJSON *o)
{
    char key[80];
    snprintf(key, sizeof key, "%s", name);
    for (char *p = key; *p; p++) {
        *p = *p == ' ' ? '-' : *p;
    }
    cJSON_AddItemToObject(defs, key, o);
}

static void add_drivers(cJSON *defs)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    for (size_t i = 0; i < count; i++) {
        const struct es_driver *d = list[i];
        char name[80];
        snprintf(name, sizeof name, "bus of %s", d->name);
        add_definition(defs, name, object_of("", d->bus_fields, d->bus_field_count));
        snprintf(name, sizeof name, "instrument of %s", d->name);
        add_definition(defs, name, object_of("", d->instrument_fields, d->instrument_field_count));
        snprintf(name, sizeof name, "address of %s", d->name);
        add_definition(defs, name, object_of("", d->channel_fields, d->channel_field_count));
    }
}

/* The settings of a bus must be its own driver's. */
static void bind_drivers(cJSON *bus)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    cJSON *all = cJSON_AddArrayToObject(bus, "allOf");
    for (size_t i = 0; i < count; i++) {
        char what[80];
        cJSON *o = cJSON_CreateObject(), *driver = cJSON_CreateObject(), *settings = cJSON_CreateObject();
        cJSON_AddStringToObject(driver, "const", list[i]->name);
        cJSON_AddItemToObject(cJSON_AddObjectToObject(cJSON_AddObjectToObject(o, "if"), "properties"),
                              "driver", driver);
        snprintf(what, sizeof what, "bus of %s", list[i]->name);
        cJSON_AddItemToObject(settings, "settings", reference(what));
        cJSON_AddItemToObject(cJSON_AddObjectToObject(o, "then"), "properties", settings);
        cJSON_AddItemToArray(all, o);
    }
}

enum es_status es_bench_schema(struct es_text *out, struct es_error *err)
{
    size_t count;
    const struct es_bench_rows *rows = es_bench_rows_list(&count);
    cJSON *root = object_of(rows[0].object, rows[0].rows, rows[0].count);
    cJSON *defs = cJSON_CreateObject();
    cJSON *pair =
        cJSON_Parse("{\"type\":\"array\",\"items\":{\"type\":\"number\"},\"minItems\":2,\"maxItems\":2}");
    for (size_t i = 1; i < count; i++) {
        cJSON *o = object_of(rows[i].object, rows[i].rows, rows[i].count);
        if (!strcmp(rows[i].object, "bus")) {
            bind_drivers(o);
        }
        add_definition(defs, rows[i].object, o);
    }
    add_definition(defs, "pair", pair);
    add_drivers(defs);
    cJSON_AddItemToObject(root, "$defs", defs);
    cJSON_AddStringToObject(root, "title", "Endstop bench file, bench/1");
    cJSON_AddStringToObject(root, "$schema", "https://json-schema.org/draft/2020-12/schema");
    char *text = cJSON_Print(root);
    cJSON_Delete(root);
    if (!text) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the schema");
    }
    es_text_add(out, text);
    es_text_char(out, '\n');
    free(text);
    return es_text_status(out, err);
}

/* ---- The reference page's tables ---- */

static void kind_words(const struct es_field *f, struct es_text *out)
{
    static const char *const words[] = {"text", "true or false", "whole number", "number",  "",
                                        "",     "object",        "list",         "quantity"};
    if (f->kind == ES_FIELD_QUANTITY) {
        es_text_printf(out, "quantity (%s)", es_dimension_name(f->dimension));
    } else if (f->kind == ES_FIELD_CHOICE) {
        for (const char *const *c = f->choices; *c; c++) {
            es_text_printf(out, "%s`%s`", c == f->choices ? "" : ", ", *c);
        }
    } else {
        es_text_add(out, words[f->kind]);
    }
}

static void table(const struct es_field *rows, size_t count, struct es_text *out)
{
    es_text_add(out, "| member | what | default | meaning |\n| --- | --- | --- | --- |\n");
    for (size_t i = 0; i < count; i++) {
        es_text_printf(out, "| `%s` | ", rows[i].name);
        kind_words(&rows[i], out);
        es_text_printf(out, " | %s | %s |\n",
                       rows[i].required   ? "required"
                       : rows[i].fallback ? rows[i].fallback
                                          : "",
                       rows[i].meaning);
    }
}

enum es_status es_bench_reference(struct es_text *out, struct es_error *err)
{
    size_t count;
    const struct es_bench_rows *rows = es_bench_rows_list(&count);
    for (size_t i = 0; i < count; i++) {
        es_text_printf(out, "\n### %s\n\n%s\n\n", rows[i].object, rows[i].meaning);
        table(rows[i].rows, rows[i].count, out);
    }
    const struct es_driver *const *drivers = es_driver_list(&count);
    for (size_t i = 0; i < count; i++) {
        const struct es_driver *d = drivers[i];
        es_text_printf(out, "\n### driver `%s`\n\n%s\n\nSettings of a bus:\n\n", d->name, d->summary);
        table(d->bus_fields, d->bus_field_count, out);
        es_text_add(out, "\nSettings of an instrument:\n\n");
        table(d->instrument_fields, d->instrument_field_count, out);
        es_text_add(out, "\nAddress of a channel:\n\n");
        table(d->channel_fields, d->channel_field_count, out);
    }
    es_text_add(out, "\n### roles\n\n| role | | dimension | meaning |\n| --- | --- | --- | --- |\n");
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_role_info *r = es_role_info((enum es_role)i);
        es_text_printf(
            out, "| `%s` | %s | %s%s%s | %s |\n", r->name, r->direction == ES_IN ? "input" : "output",
            r->is_state ? "state" : es_dimension_name(r->dimension),
            r->other_dimension != ES_DIM_COUNT ? " or " : "",
            r->other_dimension != ES_DIM_COUNT ? es_dimension_name(r->other_dimension) : "", r->meaning);
    }
    return es_text_status(out, err);
}

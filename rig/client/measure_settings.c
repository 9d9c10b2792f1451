#include "rig/client/measure_settings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/measures.h"
#include "rig/base/text.h"
#include "rig/client/measure_list.h"

static const struct es_field *row_named(const struct es_measure *m, const char *name, size_t length)
{
    for (size_t i = 0; i < m->setting_count; i++)
        if (strlen(m->settings[i].name) == length && strncmp(m->settings[i].name, name, length) == 0)
            return &m->settings[i];
    return NULL;
}

static bool is_given(const struct es_option_list *sets, size_t count, const char *name)
{
    const size_t length = strlen(name);
    for (size_t i = 0; i < count; i++)
        if (strncmp(sets->items[i], name, length) == 0 && sets->items[i][length] == '=')
            return true;
    return false;
}

/* Plain numbers and true or false stand bare in JSON; what is none goes in as text, for the rows to refuse.
 */
static bool is_bare(const struct es_field *row, const char *value)
{
    char *end = NULL;
    if (row == NULL)
        return false;
    if (row->kind == ES_FIELD_BOOL)
        return strcmp(value, "true") == 0 || strcmp(value, "false") == 0;
    if (row->kind != ES_FIELD_INTEGER && row->kind != ES_FIELD_NUMBER)
        return false;
    (void)strtod(value, &end);
    return value[strspn(value, "0123456789+-.eE")] == '\0' && end != value && *end == '\0' &&
           value[0] != '+' && value[0] != '.';
}

static void tell_twice(const char *option, const char *name, struct es_findings *findings)
{
    struct es_text file = {0}, found = {0};
    es_text_printf(&file, "--set \"%s\"", option);
    es_text_printf(&found, "the setting \"%s\" a second time", name);
    es_findings_add(findings, file.bytes, 0, 0, found.bytes, "each setting once", "");
    es_text_free(&file);
    es_text_free(&found);
}

/* One setting a line, from the second on: a finding's line then says which one it is about. */
static enum es_status write_json(const struct es_measure *m, const struct es_option_list *sets,
                                 struct es_text *json, struct es_findings *findings, struct es_error *err)
{
    es_text_add(json, "{\n");
    for (size_t i = 0; i < sets->count; i++) {
        const char *text = sets->items[i], *equals = strchr(text, '=');
        if (equals == NULL || equals == text || equals[1] == '\0')
            return es_fail(err, ES_USAGE, "--set \"%s\": wanted SETTING=VALUE", text);
        char *name = strndup(text, (size_t)(equals - text));
        if (name == NULL)
            return es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
        if (is_given(sets, i, name)) {
            tell_twice(text, name, findings);
            es_text_char(json, '\n');
            free(name);
            continue;
        }
        es_text_add(json, i == 0 ? "" : ",");
        es_text_json(json, name);
        es_text_char(json, ':');
        if (is_bare(row_named(m, name, strlen(name)), equals + 1))
            es_text_add(json, equals + 1);
        else
            es_text_json(json, equals + 1);
        es_text_char(json, '\n');
        free(name);
    }
    es_text_char(json, '}');
    return es_text_status(json, err);
}

/* Something that a person could type for it. */
static void example_of(const struct es_field *row, size_t nth, char *out, size_t size)
{
    const char *value = "...";
    if (row->fallback != NULL)
        value = row->fallback;
    else if (row->choices == es_role_choices)
        value = nth == 0 ? "output 1 pressure" : "output 2 pressure";
    else if (row->kind == ES_FIELD_CHOICE)
        value = row->choices[0];
    (void)snprintf(out, size, "--set \"%s=%s\"", row->name, value);
}

static void tell_missing(const struct es_measure *m, const struct es_option_list *sets,
                         struct es_findings *findings)
{
    size_t nth = 0;
    for (size_t i = 0; i < m->setting_count; i++) {
        const struct es_field *row = &m->settings[i];
        char file[120], found[120], takes[400], example[160];
        struct es_text expected = {0};
        if (!row->required || is_given(sets, sets->count, row->name))
            continue;
        (void)snprintf(file, sizeof file, "--measure \"%s\"", m->name);
        (void)snprintf(found, sizeof found, "no --set \"%s=...\"", row->name);
        es_measure_setting_takes(row, takes, sizeof takes);
        example_of(row, nth++, example, sizeof example);
        es_text_printf(&expected, "%s (%s), such as %s", takes, row->meaning != NULL ? row->meaning : "",
                       example);
        es_findings_add(findings, file, 0, 0, found, expected.bytes, "");
        es_text_free(&expected);
    }
}

/* From places in a text that nobody wrote to the options that they came from. What is missing (line 1) is
 * told by tell_missing. */
static void hand_over(const struct es_findings *from, const struct es_option_list *sets,
                      struct es_findings *findings)
{
    for (size_t i = 0; i < from->count; i++) {
        const struct es_finding *f = &from->items[i];
        if (f->line < 2 || f->line - 2 >= sets->count)
            continue;
        struct es_text file = {0};
        es_text_printf(&file, "--set \"%s\"", sets->items[f->line - 2]);
        es_findings_add(findings, file.bytes, 0, 0, f->found, f->expected, f->advice);
        es_text_free(&file);
    }
    findings->out_of_memory = findings->out_of_memory || from->out_of_memory;
}

enum es_status es_measure_settings_read(const struct es_measure *m, const struct es_option_list *sets,
                                        struct es_document **document, void **settings,
                                        struct es_findings *findings, struct es_error *err)
{
    struct es_text json = {0};
    struct es_findings own = {0};
    enum es_status s = write_json(m, sets, &json, findings, err);
    if (s == ES_OK)
        s = es_document_parse("--set", json.bytes, json.length, &own, document, err);
    if (s == ES_OK) {
        *settings = calloc(1, m->setting_size > 0 ? m->setting_size : 1);
        if (*settings == NULL)
            s = es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
        else
            (void)es_fields_read(*document, es_document_root(*document), m->settings, m->setting_count,
                                 *settings, &own);
    }
    if (s == ES_OK || s == ES_BAD_INPUT) {
        hand_over(&own, sets, findings);
        tell_missing(m, sets, findings);
        s = es_findings_status(findings, err);
        if (s == ES_OK && es_findings_any(&own))
            s = es_fail(err, ES_USAGE, "the settings cannot be read");
    }
    es_findings_free(&own);
    es_text_free(&json);
    return s;
}

#include "rig/client/measure_list.h"

#include <string.h>

#include "procedures/measures/measures.h"
#include "rig/base/text.h"
#include "rig/console/display.h"

#define NAMES  20 /* columns of the names in the list of all */
#define COLUMN 30 /* where meanings begin */
#define FACT   "fact: "

static void choice_words(const struct es_field *row, char *out, size_t size)
{
    struct es_text words = {0};
    for (size_t i = 0; row->choices[i] != NULL; i++)
        es_text_printf(&words, "%s\"%s\"",
                       i == 0                        ? ""
                       : row->choices[i + 1] != NULL ? ", "
                                                     : " or ",
                       row->choices[i]);
    (void)snprintf(out, size, "%s", words.bytes != NULL ? words.bytes : "");
    es_text_free(&words);
}

void es_measure_setting_takes(const struct es_field *row, char *out, size_t size)
{
    char units[200];
    switch (row->kind) {
    case ES_FIELD_CHOICE:
        if (row->choices == es_role_choices)
            (void)snprintf(out, size, "a channel");
        else
            choice_words(row, out, size);
        break;
    case ES_FIELD_QUANTITY:
        es_unit_names(row->dimension, units, sizeof units);
        if (units[0] != '\0' && row->dimension != ES_DIM_NUMBER)
            (void)snprintf(out, size, "a %s in %s", es_dimension_name(row->dimension), units);
        else
            (void)snprintf(out, size, "a number");
        break;
    case ES_FIELD_INTEGER:
        (void)snprintf(out, size, "a whole number from %.0f to %.0f", row->min, row->max);
        break;
    case ES_FIELD_NUMBER:
        (void)snprintf(out, size, "a number from %g to %g", row->min, row->max);
        break;
    case ES_FIELD_BOOL:
        (void)snprintf(out, size, "true or false");
        break;
    default:
        (void)snprintf(out, size, es_setting_is_fact(row) ? "the name of a fact" : "a text");
    }
}

/* What is named, and from COLUMN on what it means; below the name where that is long. */
static void row_of(const char *left, const char *meaning, size_t width, FILE *to)
{
    es_display_named(left, meaning, 4, width >= 2 * COLUMN ? COLUMN : 6, width, to);
}

void es_measure_list_names(size_t width, FILE *to)
{
    size_t count;
    const struct es_measure *const *measures = es_measure_list(&count);
    for (size_t i = 0; i < count; i++) {
        fprintf(to, "%-*s", NAMES, measures[i]->name);
        es_display_wrap(measures[i]->meaning, NAMES, width, to);
    }
    fputc('\n', to);
    es_display_wrap("What one of them takes and gives: endstop measure --list --measure \"step response\"", 0,
                    width, to);
}

static void list_recordings(const struct es_measure *m, size_t width, FILE *to)
{
    fputs("  Recordings\n", to);
    for (size_t i = 0; m->trace_names[i] != NULL; i++) {
        char left[80], meaning[120];
        (void)snprintf(left, sizeof left, i == 0 ? "FILE" : "--trace \"%s=FILE\"", m->trace_names[i]);
        (void)snprintf(meaning, sizeof meaning,
                       i == 0 ? "needed: the recording \"%s\"" : "the recording \"%s\"", m->trace_names[i]);
        row_of(left, meaning, width, to);
    }
}

static void list_settings(const struct es_measure *m, size_t width, FILE *to)
{
    fputs("  Settings\n", to);
    for (size_t i = 0; i < m->setting_count; i++) {
        const struct es_field *row = &m->settings[i];
        char left[80], takes[400];
        struct es_text text = {0};
        (void)snprintf(left, sizeof left, "--set \"%s=...\"", row->name);
        es_measure_setting_takes(row, takes, sizeof takes);
        if (es_setting_is_fact(row))
            es_text_printf(&text, "name of the fact with the %s",
                           row->meaning + strlen(FACT) +
                               (strncmp(row->meaning + strlen(FACT), "the ", 4) == 0 ? 4 : 0));
        else
            es_text_printf(&text, "%s%s; %s", row->required ? "needed: " : "",
                           row->meaning != NULL ? row->meaning : row->name, takes);
        if (row->fallback != NULL)
            es_text_printf(&text, "; else %s%s%s", row->kind == ES_FIELD_QUANTITY ? "" : "\"", row->fallback,
                           row->kind == ES_FIELD_QUANTITY ? "" : "\"");
        row_of(left, text.bytes != NULL ? text.bytes : "", width, to);
        es_text_free(&text);
    }
}

static void fact_row(const char *name, const char *meaning, size_t width, FILE *to)
{
    char left[120];
    (void)snprintf(left, sizeof left, "--fact \"%s=VALUE +- U\"", name);
    row_of(left, meaning, width, to);
}

static void list_facts(const struct es_measure *m, size_t width, FILE *to)
{
    bool told = false;
    for (size_t i = 0; i < m->setting_count; i++) {
        const struct es_field *row = &m->settings[i];
        if (!es_setting_is_fact(row) || row->fallback == NULL)
            continue;
        if (!told)
            fputs("  Facts\n", to);
        told = true;
        fact_row(row->fallback, row->meaning + strlen(FACT), width, to);
    }
    for (size_t i = 0; m->facts_used != NULL && m->facts_used[i] != NULL; i++) {
        if (!told)
            fputs("  Facts\n", to);
        told = true;
        fact_row(m->facts_used[i], "used where it is known", width, to);
    }
}

static void list_outputs(const struct es_measure *m, size_t width, FILE *to)
{
    fputs("  Gives\n", to);
    for (size_t i = 0; i < m->output_count; i++) {
        const struct es_measure_output *o = &m->outputs[i];
        char left[80];
        const struct es_unit *unit = o->dimension < ES_DIM_COUNT ? es_dimension_unit(o->dimension) : NULL;
        bool bare = unit != NULL && (unit->name[0] == '\0' || strcmp(unit->name, "1") == 0);
        (void)snprintf(left, sizeof left, bare ? "%s" : "%s [%s]", o->name,
                       unit != NULL ? unit->name : "the channel's");
        row_of(left, o->meaning, width, to);
    }
}

void es_measure_list_one(const struct es_measure *m, size_t width, FILE *to)
{
    fprintf(to, "%s: ", m->name);
    es_display_wrap_after(m->meaning, strlen(m->name) + 2, 2, width, to);
    fputs("  Source: ", to);
    es_display_wrap_after(m->source, 10, 4, width, to);
    list_recordings(m, width, to);
    list_settings(m, width, to);
    list_facts(m, width, to);
    list_outputs(m, width, to);
}

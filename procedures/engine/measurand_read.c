/* Measurands of a procedure: which measure looks at which recordings, and what is taken from it. */
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/read.h"
#include "rig/base/nearest.h"

struct raw_measurand {
    char *measure;
    int when;
    const cJSON *recordings, *with, *results;
};

struct raw_result {
    char *name, *output, *limit;
    bool required;
};

static const struct es_field measurand_rows[] = {
    {.name = "measure",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct raw_measurand, measure),
     .min = 1,
     .max = 60,
     .meaning = "how the recordings are turned into numbers; docs/measures.md"},
    {.name = "when",
     .kind = ES_FIELD_CHOICE,
     .offset = offsetof(struct raw_measurand, when),
     .choices = es_when_words,
     .meaning = "only for units of this kind"},
    {.name = "recordings",
     .kind = ES_FIELD_OBJECT,
     .required = true,
     .offset = offsetof(struct raw_measurand, recordings),
     .meaning = "slot of the measure: recording"},
    {.name = "with",
     .kind = ES_FIELD_OBJECT,
     .offset = offsetof(struct raw_measurand, with),
     .meaning = "settings of the measure"},
    {.name = "results",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     .min = 1,
     .max = 40,
     .offset = offsetof(struct raw_measurand, results),
     .meaning = "what is taken from it and judged"},
};

static const struct es_field result_rows[] = {
    {.name = "name",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct raw_result, name),
     .min = 1,
     .max = 80,
     .meaning = "the line on the certificate"},
    {.name = "output",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct raw_result, output),
     .min = 1,
     .max = 60,
     .meaning = "which number of the measure"},
    {.name = "limit",
     .kind = ES_FIELD_TEXT,
     .required = true,
     .offset = offsetof(struct raw_result, limit),
     .min = 1,
     .max = 80,
     .meaning = "which limit of the type sheet judges it"},
    {.name = "required",
     .kind = ES_FIELD_BOOL,
     .offset = offsetof(struct raw_result, required),
     .fallback = "true",
     .meaning = "false: shown and judged, but does not fail the unit"},
};

#define ROWS(table) (table), sizeof(table) / sizeof((table)[0])

static const cJSON *member(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return item != NULL ? item : object;
}

static void unknown(struct es_reader *r, const cJSON *item, const char *what, const struct es_nearest *n)
{
    if (n->best != NULL)
        es_document_fault(r->doc, item, r->findings, NULL, "%s; is \"%s\" meant?", what, n->best);
    else
        es_document_fault(r->doc, item, r->findings, NULL, "%s; docs/measures.md lists them", what);
}

static void find_measure(struct es_reader *r, const cJSON *item, const char *name, struct es_measurand *out)
{
    size_t count;
    const struct es_measure *const *list = es_measure_list(&count);
    struct es_nearest n = {.word = name};

    out->measure = es_measure_find(name);
    if (out->measure != NULL)
        return;
    for (size_t i = 0; i < count; i++)
        es_nearest_offer(&n, list[i]->name);
    unknown(r, item, "the name of a measure", &n);
}

static void read_slot(struct es_reader *r, const cJSON *item, struct es_measurand *out)
{
    const struct es_measure *m = out->measure;
    struct es_nearest n = {.word = item->string};

    for (size_t i = 0; m->trace_names[i] != NULL; i++) {
        if (strcmp(m->trace_names[i], item->string) != 0) {
            es_nearest_offer(&n, m->trace_names[i]);
            continue;
        }
        if (!cJSON_IsString(item)) {
            es_document_fault(r->doc, item, r->findings, NULL, "the name of a recording");
            return;
        }
        struct es_slot *slot = &out->slots[out->slot_count];
        slot->index = i;
        slot->place = es_read_place(r, item);
        slot->recording = es_read_copy(r, item->valuestring);
        if (slot->recording != NULL)
            out->slot_count++;
        return;
    }
    unknown(r, item, "a recording that this measure takes", &n);
}

static void read_slots(struct es_reader *r, const cJSON *object, struct es_measurand *out)
{
    const cJSON *item;
    const int size = cJSON_GetArraySize(object);

    if (size <= 0) {
        es_document_fault(r->doc, object, r->findings, "no recording",
                          "at least one, such as {\"%s\": \"...\"}", out->measure->trace_names[0]);
        return;
    }
    out->slots = es_read_array(r, (size_t)size, sizeof *out->slots);
    if (out->slots == NULL)
        return;
    for (item = es_first(object); item != NULL; item = item->next)
        read_slot(r, item, out);
}

/* Without "with", every setting takes its default; one that has none is told at the measurand. */
static void default_settings(struct es_reader *r, const cJSON *place, struct es_measurand *out)
{
    const struct es_measure *m = out->measure;
    struct es_findings unplaced = {0};
    cJSON *empty = cJSON_CreateObject();

    if (empty == NULL) {
        r->out_of_memory = true;
        return;
    }
    (void)es_fields_read(r->doc, empty, m->settings, m->setting_count, out->settings, &unplaced);
    for (size_t i = 0; i < m->setting_count; i++)
        if (m->settings[i].required)
            es_document_fault(r->doc, place, r->findings, "no \"with\"",
                              "\"with\" with \"%s\": the measure \"%s\" needs it", m->settings[i].name,
                              m->name);
    r->out_of_memory = r->out_of_memory || unplaced.out_of_memory;
    es_findings_free(&unplaced);
    cJSON_Delete(empty);
}

static void read_settings(struct es_reader *r, const cJSON *given, const cJSON *place,
                          struct es_measurand *out)
{
    const struct es_measure *m = out->measure;

    out->settings = es_read_array(r, 1, m->setting_size > 0 ? m->setting_size : 1);
    if (out->settings == NULL)
        return;
    if (given == NULL)
        default_settings(r, place, out);
    else
        (void)es_fields_read(r->doc, given, m->settings, m->setting_count, out->settings, r->findings);
}

static void read_result(struct es_reader *r, const cJSON *item, const struct es_measure *m,
                        struct es_result *out)
{
    struct raw_result raw = {.required = true};

    out->place = es_read_place(r, item);
    (void)es_fields_read(r->doc, item, ROWS(result_rows), &raw, r->findings);
    out->required = raw.required;
    out->name = raw.name;
    out->limit = raw.limit;
    raw.name = raw.limit = NULL;
    out->output = m->output_count;
    struct es_nearest n = {.word = raw.output};
    for (size_t i = 0; raw.output != NULL && i < m->output_count; i++) {
        if (strcmp(m->outputs[i].name, raw.output) == 0)
            out->output = i;
        es_nearest_offer(&n, m->outputs[i].name);
    }
    if (raw.output != NULL && out->output == m->output_count)
        unknown(r, member(item, "output"), "an output of this measure", &n);
    es_fields_free(ROWS(result_rows), &raw);
}

static void read_results(struct es_reader *r, const cJSON *array, struct es_measurand *out)
{
    const cJSON *item;
    const int size = cJSON_GetArraySize(array);

    if (size <= 0)
        return;
    out->results = es_read_array(r, (size_t)size, sizeof *out->results);
    if (out->results == NULL)
        return;
    for (item = es_first(array); item != NULL; item = item->next) {
        if (cJSON_IsObject(item))
            read_result(r, item, out->measure, &out->results[out->result_count++]);
        else
            es_document_fault(r->doc, item, r->findings, NULL, "an object with name, output and limit");
    }
}

static void read_measurand(struct es_reader *r, const cJSON *item, void *into)
{
    struct es_measurand *out = into;
    struct raw_measurand raw = {0};

    out->place = es_read_place(r, item);
    if (!cJSON_IsObject(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "an object with measure, recordings and results");
        return;
    }
    (void)es_fields_read(r->doc, item, ROWS(measurand_rows), &raw, r->findings);
    out->when = (enum es_when)raw.when;
    if (raw.measure != NULL)
        find_measure(r, member(item, "measure"), raw.measure, out);
    if (out->measure != NULL) {
        if (raw.recordings != NULL)
            read_slots(r, raw.recordings, out);
        read_settings(r, raw.with, item, out);
        read_results(r, raw.results, out);
    }
    es_fields_free(ROWS(measurand_rows), &raw);
}

void es_read_measurands(struct es_reader *r, const cJSON *array, struct es_measurand **out, size_t *count)
{
    *out = es_read_each(r, array, sizeof **out, read_measurand, count);
}

void es_measurands_free(struct es_measurand *measurands, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct es_measurand *m = &measurands[i];
        for (size_t k = 0; k < m->slot_count; k++)
            free(m->slots[k].recording);
        free(m->slots);
        for (size_t k = 0; k < m->result_count; k++) {
            free(m->results[k].name);
            free(m->results[k].limit);
        }
        free(m->results);
        if (m->settings != NULL)
            es_fields_free(m->measure->settings, m->measure->setting_count, m->settings);
        free(m->settings);
    }
    free(measurands);
}

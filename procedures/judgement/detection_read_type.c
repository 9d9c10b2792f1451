/* Types and lines of a table of detection: how often which bin was met. */
#include "procedures/judgement/detection_read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LINES_MAX 1000

static bool whole_number(const cJSON *item, double most)
{
    return cJSON_IsNumber(item) && item->valuedouble >= 0 && item->valuedouble <= most &&
           floor(item->valuedouble) == item->valuedouble;
}

/* [bin, count, bin, count, ...]; bins that are not named are 0. */
static void read_bins(struct es_detection_reader *r, const cJSON *array, uint32_t bins[ES_DETECTION_BINS])
{
    if (!cJSON_IsArray(array) || cJSON_GetArraySize(array) % 2) {
        es_document_fault(r->doc, array, r->findings, NULL, "pairs of a bin and its count, in one list");
        return;
    }
    for (const cJSON *bin = array->child; bin; bin = bin->next->next) {
        if (!whole_number(bin, ES_DETECTION_BINS - 1) || !whole_number(bin->next, ES_DETECTION_COUNT_MAX)) {
            es_document_fault(r->doc, bin, r->findings, NULL, "a bin from 0 to %d and a count",
                              ES_DETECTION_BINS - 1);
            return;
        }
        bins[bin->valueint] = (uint32_t)bin->next->valuedouble;
    }
}

/* [units, passed, failed] */
static void read_cell(struct es_detection_reader *r, const cJSON *array, struct es_detection_cell *cell)
{
    uint32_t n[3] = {0};
    bool whole = cJSON_IsArray(array) && cJSON_GetArraySize(array) == 3;
    for (int i = 0; i < 3 && whole; i++) {
        const cJSON *item = cJSON_GetArrayItem(array, i);
        whole = whole_number(item, ES_DETECTION_COUNT_MAX);
        n[i] = whole ? (uint32_t)item->valuedouble : 0;
    }
    if (!whole || (uint64_t)n[1] + n[2] > n[0]) {
        es_document_fault(r->doc, array, r->findings, NULL,
                          "counts of units, and of those passed and failed");
        return;
    }
    *cell = (struct es_detection_cell){n[0], n[1], n[2]};
}

/* {"cause": [one a band]}: calls back for each. */
static void read_bands(struct es_detection_reader *r, const cJSON *object,
                       void (*take)(struct es_detection_reader *r, const cJSON *item, size_t cause,
                                    size_t band, void *to),
                       void *to)
{
    const cJSON *member;
    cJSON_ArrayForEach(member, object)
    {
        const int cause = es_detection_cause(r, member->string);
        if (cause < 0) {
            es_document_fault(r->doc, member, r->findings, member->string,
                              "the name of a cause in \"causes\"");
            continue;
        }
        if (!cJSON_IsArray(member) || cJSON_GetArraySize(member) != ES_DETECTION_BANDS) {
            es_document_fault(r->doc, member, r->findings, NULL, "a list of %d bands", ES_DETECTION_BANDS);
            continue;
        }
        for (int band = 0; band < ES_DETECTION_BANDS; band++) {
            take(r, cJSON_GetArrayItem(member, band), (size_t)cause, (size_t)band, to);
        }
    }
}

static void take_bins(struct es_detection_reader *r, const cJSON *item, size_t cause, size_t band, void *to)
{
    read_bins(r, item, ((struct es_detection_line *)to)->causes[cause][band]);
}

static void take_cell(struct es_detection_reader *r, const cJSON *item, size_t cause, size_t band, void *to)
{
    read_cell(r, item, &((struct es_detection_type *)to)->causes[cause][band]);
}

/* What a list does not name fell into the usual bin. */
static bool fill(uint32_t bins[ES_DETECTION_BINS], uint32_t units, long usual)
{
    uint64_t named = 0;
    for (size_t b = 0; b < ES_DETECTION_BINS; b++) {
        named += bins[b];
    }
    if (named > units) {
        return false;
    }
    bins[usual] += (uint32_t)(units - named);
    return true;
}

static void fill_usual(struct es_detection_reader *r, const cJSON *item, const struct es_detection_type *type,
                       struct es_detection_line *line, long usual)
{
    if (usual < 0) {
        es_document_fault(r->doc, item, r->findings, "no \"usual\"", "the bin of most units");
        return;
    }
    bool whole = fill(line->good, type->good.units, usual);
    for (size_t c = 0; c < r->d->cause_count; c++) {
        for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
            whole = fill(line->causes[c][band], type->causes[c][band].units, usual) && whole;
        }
    }
    if (!whole) {
        es_document_fault(r->doc, item, r->findings, line->measurand, "no more counts than there were units");
    }
}

struct line_members {
    char *procedure, *measurand;
    double middle, scatter;
    long usual;
    const cJSON *reasons, *good, *causes;
};

static const struct es_field line_rows[] = {
    ES_TEXT_ROW("procedure", offsetof(struct line_members, procedure), 1),
    ES_TEXT_ROW("measurand", offsetof(struct line_members, measurand), 1),
    {.name = "middle", .kind = ES_FIELD_NUMBER, .required = true, ES_AT(struct line_members, middle)},
    {.name = "scatter",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     ES_AT(struct line_members, scatter),
     .min = 1e-30,
     .max = 1e30},
    {.name = "usual",
     .kind = ES_FIELD_INTEGER,
     ES_AT(struct line_members, usual),
     .min = 0,
     .max = ES_DETECTION_BINS - 1},
    {.name = "reasons",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     ES_AT(struct line_members, reasons),
     .min = 0,
     .max = ES_DETECTION_REASONS},
    {.name = "good", .kind = ES_FIELD_ARRAY, .required = true, ES_AT(struct line_members, good), .max = 100},
    {.name = "causes", .kind = ES_FIELD_OBJECT, .required = true, ES_AT(struct line_members, causes)},
};

static void read_reasons(struct es_detection_reader *r, const cJSON *array, struct es_detection_line *line)
{
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        if (!cJSON_IsString(item)) {
            es_document_fault(r->doc, item, r->findings, NULL, "a kind of reason, as text");
            continue;
        }
        char *copy = strdup(item->valuestring);
        r->no_memory = r->no_memory || !copy;
        if (copy && line->reason_count < ES_DETECTION_REASONS) {
            line->reasons[line->reason_count++] = copy;
        } else {
            free(copy);
        }
    }
}

static void read_line(struct es_detection_reader *r, const cJSON *item, struct es_detection_type *type)
{
    struct line_members m = {.usual = -1};
    struct es_detection_line *line = &type->lines[type->line_count];
    if (!es_fields_read(r->doc, item, line_rows, ES_ROWS(line_rows), &m, r->findings)) {
        free(m.procedure);
        free(m.measurand);
        return;
    }
    *line = (struct es_detection_line){
        .procedure = m.procedure, .measurand = m.measurand, .middle = m.middle, .scatter = m.scatter};
    type->line_count++;
    line->causes = es_detection_room(r, r->d->cause_count, sizeof *line->causes);
    if (r->no_memory) {
        return;
    }
    read_reasons(r, m.reasons, line);
    read_bins(r, m.good, line->good);
    read_bands(r, m.causes, take_bins, line);
    if (!r->first) {
        fill_usual(r, item, type, line, m.usual);
    }
}

static const char *const kinds[] = {"complete unit", "relay module", "self-proof block", NULL};

struct type_members {
    char *name, *version, *digest;
    int kind;
    const cJSON *good, *causes, *lines;
};

static const struct es_field type_rows[] = {
    ES_TEXT_ROW("name", offsetof(struct type_members, name), 1),
    ES_TEXT_ROW("version", offsetof(struct type_members, version), 1),
    ES_TEXT_ROW("digest", offsetof(struct type_members, digest), 64),
    {.name = "kind", .kind = ES_FIELD_CHOICE, ES_AT(struct type_members, kind), .choices = kinds},
    {.name = "good",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     ES_AT(struct type_members, good),
     .min = 3,
     .max = 3},
    {.name = "causes", .kind = ES_FIELD_OBJECT, .required = true, ES_AT(struct type_members, causes)},
    {.name = "lines",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     ES_AT(struct type_members, lines),
     .min = 1,
     .max = LINES_MAX},
};

void es_detection_read_type(struct es_detection_reader *r, const cJSON *item, struct es_detection_plan *plan)
{
    struct type_members m = {.kind = ES_COMPLETE_UNIT};
    const cJSON *line;
    struct es_detection_type *type = &plan->types[plan->type_count];
    if (!es_fields_read(r->doc, item, type_rows, ES_ROWS(type_rows), &m, r->findings)) {
        free(m.name);
        free(m.version);
        free(m.digest);
        return;
    }
    *type =
        (struct es_detection_type){.name = m.name, .version = m.version, .digest = m.digest, .kind = m.kind};
    plan->type_count++;
    type->causes = es_detection_room(r, r->d->cause_count, sizeof *type->causes);
    type->lines = es_detection_room(r, es_detection_size(m.lines), sizeof *type->lines);
    if (r->no_memory) {
        return;
    }
    read_cell(r, m.good, &type->good);
    read_bands(r, m.causes, take_cell, type);
    cJSON_ArrayForEach(line, m.lines)
    {
        read_line(r, line, type);
    }
}

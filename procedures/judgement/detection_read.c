/* Reads a table of detection: one row a member, every fault told at once. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/detection.h"

#define CAUSES_MAX 64
#define LINES_MAX  1000
#define COUNT_MAX  1e9

struct reader {
    const struct es_document *doc;
    struct es_findings *findings;
    struct es_detection *d;
    bool no_memory;
};

static bool good(const struct reader *r)
{
    return !r->no_memory;
}

/* Room for the elements of an array; the array itself was counted by its row. */
static void *room(struct reader *r, size_t count, size_t size)
{
    void *p = calloc(count ? count : 1, size);
    r->no_memory = r->no_memory || !p;
    return p;
}

static size_t size_of(const cJSON *array)
{
    return array ? (size_t)cJSON_GetArraySize(array) : 0;
}

static const char *const places[] = {"unit", "mounting", "bench", NULL};

#define AT(type, member) .offset = offsetof(type, member)
/* A required text of at least so many characters. */
#define TEXT(key, at, least)                                                                                 \
    {                                                                                                        \
        .name = (key), .kind = ES_FIELD_TEXT, .required = true, .offset = (at), .min = (least), .max = 1000  \
    }

static const struct es_field cause_rows[] = {
    TEXT("name", offsetof(struct es_detection_cause, name), 1),
    TEXT("meaning", offsetof(struct es_detection_cause, meaning), 1),
    {.name = "place",
     .kind = ES_FIELD_CHOICE,
     .required = true,
     AT(struct es_detection_cause, place),
     .choices = places},
    {.name = "rate",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     AT(struct es_detection_cause, rate),
     .min = 0,
     .max = 0.5},
    {.name = "matters from",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     AT(struct es_detection_cause, matters),
     .min = 0,
     .max = 1},
};

static int find_cause(const struct reader *r, const char *name)
{
    for (size_t i = 0; i < r->d->cause_count; i++) {
        if (!strcmp(r->d->causes[i].name, name)) {
            return (int)i;
        }
    }
    return -1;
}

static void read_causes(struct reader *r, const cJSON *array)
{
    const cJSON *item;
    r->d->causes = room(r, size_of(array), sizeof *r->d->causes);
    if (!good(r)) {
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        struct es_detection_cause *c = &r->d->causes[r->d->cause_count];
        if (!es_fields_read(r->doc, item, cause_rows, sizeof cause_rows / sizeof cause_rows[0], c,
                            r->findings)) {
            free(c->name);
            free(c->meaning);
            *c = (struct es_detection_cause){0};
            continue;
        }
        if (find_cause(r, c->name) >= 0) {
            es_document_fault(r->doc, item, r->findings, c->name, "each cause once");
        }
        r->d->cause_count++;
    }
}

struct check_members {
    char *text, *caution;
    double minutes;
    const cJSON *finds;
};

static const struct es_field check_rows[] = {
    TEXT("text", offsetof(struct check_members, text), 1),
    TEXT("caution", offsetof(struct check_members, caution), 1),
    {.name = "minutes",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     AT(struct check_members, minutes),
     .min = 0.1,
     .max = 1000},
    {.name = "finds",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct check_members, finds),
     .min = 1,
     .max = CAUSES_MAX},
};

static void read_checks(struct reader *r, const cJSON *array)
{
    const cJSON *item, *name;
    r->d->checks = room(r, size_of(array), sizeof *r->d->checks);
    if (!good(r)) {
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        struct check_members m = {0};
        uint64_t finds = 0;
        const bool whole = es_fields_read(r->doc, item, check_rows, sizeof check_rows / sizeof check_rows[0],
                                          &m, r->findings);
        cJSON_ArrayForEach(name, m.finds)
        {
            const int cause = cJSON_IsString(name) ? find_cause(r, name->valuestring) : -1;
            if (cause < 0) {
                es_document_fault(r->doc, name, r->findings, NULL, "the name of a cause in \"causes\"");
            } else {
                finds |= UINT64_C(1) << cause;
            }
        }
        if (whole) {
            r->d->checks[r->d->check_count++] =
                (struct es_detection_check){m.text, m.caution, m.minutes, finds};
        } else {
            free(m.text);
            free(m.caution);
        }
    }
}

static bool whole_number(const cJSON *item, double most)
{
    return cJSON_IsNumber(item) && item->valuedouble >= 0 && item->valuedouble <= most &&
           floor(item->valuedouble) == item->valuedouble;
}

/* [bin, count, bin, count, ...]; bins that are not named are 0. */
static void read_bins(struct reader *r, const cJSON *array, uint32_t bins[ES_DETECTION_BINS])
{
    if (!cJSON_IsArray(array) || cJSON_GetArraySize(array) % 2) {
        es_document_fault(r->doc, array, r->findings, NULL, "pairs of a bin and its count, in one list");
        return;
    }
    for (const cJSON *bin = array->child; bin; bin = bin->next->next) {
        if (!whole_number(bin, ES_DETECTION_BINS - 1) || !whole_number(bin->next, COUNT_MAX)) {
            es_document_fault(r->doc, bin, r->findings, NULL, "a bin from 0 to %d and a count",
                              ES_DETECTION_BINS - 1);
            return;
        }
        bins[bin->valueint] = (uint32_t)bin->next->valuedouble;
    }
}

/* [units, passed, failed] */
static void read_cell(struct reader *r, const cJSON *array, struct es_detection_cell *cell)
{
    uint32_t n[3] = {0};
    bool whole = cJSON_IsArray(array) && cJSON_GetArraySize(array) == 3;
    for (int i = 0; i < 3 && whole; i++) {
        const cJSON *item = cJSON_GetArrayItem(array, i);
        whole = whole_number(item, COUNT_MAX);
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
static void read_bands(struct reader *r, const cJSON *object,
                       void (*take)(struct reader *r, const cJSON *item, size_t cause, size_t band, void *to),
                       void *to)
{
    const cJSON *member;
    cJSON_ArrayForEach(member, object)
    {
        const int cause = find_cause(r, member->string);
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

static void take_bins(struct reader *r, const cJSON *item, size_t cause, size_t band, void *to)
{
    read_bins(r, item, ((struct es_detection_line *)to)->causes[cause][band]);
}

static void take_cell(struct reader *r, const cJSON *item, size_t cause, size_t band, void *to)
{
    read_cell(r, item, &((struct es_detection_type *)to)->causes[cause][band]);
}

struct line_members {
    char *procedure, *measurand;
    double middle, scatter;
    const cJSON *reasons, *good, *causes;
};

static const struct es_field line_rows[] = {
    TEXT("procedure", offsetof(struct line_members, procedure), 1),
    TEXT("measurand", offsetof(struct line_members, measurand), 1),
    {.name = "middle", .kind = ES_FIELD_NUMBER, .required = true, AT(struct line_members, middle)},
    {.name = "scatter",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     AT(struct line_members, scatter),
     .min = 1e-30,
     .max = 1e30},
    {.name = "reasons",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct line_members, reasons),
     .min = 0,
     .max = ES_DETECTION_REASONS},
    {.name = "good", .kind = ES_FIELD_ARRAY, .required = true, AT(struct line_members, good), .max = 100},
    {.name = "causes", .kind = ES_FIELD_OBJECT, .required = true, AT(struct line_members, causes)},
};

static void read_reasons(struct reader *r, const cJSON *array, struct es_detection_line *line)
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

static void read_line(struct reader *r, const cJSON *item, struct es_detection_type *type)
{
    struct line_members m = {0};
    struct es_detection_line *line = &type->lines[type->line_count];
    if (!es_fields_read(r->doc, item, line_rows, sizeof line_rows / sizeof line_rows[0], &m, r->findings)) {
        free(m.procedure);
        free(m.measurand);
        return;
    }
    *line = (struct es_detection_line){
        .procedure = m.procedure, .measurand = m.measurand, .middle = m.middle, .scatter = m.scatter};
    type->line_count++;
    line->causes = room(r, r->d->cause_count, sizeof *line->causes);
    if (!good(r)) {
        return;
    }
    read_reasons(r, m.reasons, line);
    read_bins(r, m.good, line->good);
    read_bands(r, m.causes, take_bins, line);
}

struct type_members {
    char *name, *version, *digest;
    const cJSON *good, *causes, *lines;
};

static const struct es_field type_rows[] = {
    TEXT("name", offsetof(struct type_members, name), 1),
    TEXT("version", offsetof(struct type_members, version), 1),
    TEXT("digest", offsetof(struct type_members, digest), 64),
    {.name = "good",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct type_members, good),
     .min = 3,
     .max = 3},
    {.name = "causes", .kind = ES_FIELD_OBJECT, .required = true, AT(struct type_members, causes)},
    {.name = "lines",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct type_members, lines),
     .min = 1,
     .max = LINES_MAX},
};

static void read_type(struct reader *r, const cJSON *item)
{
    struct type_members m = {0};
    const cJSON *line;
    struct es_detection_type *type = &r->d->types[r->d->type_count];
    if (!es_fields_read(r->doc, item, type_rows, sizeof type_rows / sizeof type_rows[0], &m, r->findings)) {
        free(m.name);
        free(m.version);
        free(m.digest);
        return;
    }
    *type = (struct es_detection_type){.name = m.name, .version = m.version, .digest = m.digest};
    r->d->type_count++;
    type->causes = room(r, r->d->cause_count, sizeof *type->causes);
    type->lines = room(r, size_of(m.lines), sizeof *type->lines);
    if (!good(r)) {
        return;
    }
    read_cell(r, m.good, &type->good);
    read_bands(r, m.causes, take_cell, type);
    cJSON_ArrayForEach(line, m.lines)
    {
        read_line(r, line, type);
    }
}

struct root_members {
    char *format, *version, *seed, *plan, *plan_version, *plan_digest;
    long units;
    const cJSON *causes, *checks, *types;
};

static const struct es_field root_rows[] = {
    TEXT("endstop", offsetof(struct root_members, format), 1),
    TEXT("version", offsetof(struct root_members, version), 1),
    TEXT("seed", offsetof(struct root_members, seed), 1),
    TEXT("plan", offsetof(struct root_members, plan), 1),
    TEXT("plan version", offsetof(struct root_members, plan_version), 1),
    TEXT("plan digest", offsetof(struct root_members, plan_digest), 64),
    {.name = "units",
     .kind = ES_FIELD_INTEGER,
     .required = true,
     AT(struct root_members, units),
     .min = 1,
     .max = COUNT_MAX},
    {.name = "causes",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct root_members, causes),
     .min = 1,
     .max = CAUSES_MAX},
    {.name = "checks",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct root_members, checks),
     .max = 1000},
    {.name = "types",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     AT(struct root_members, types),
     .min = 1,
     .max = 100},
};

static void read_root(struct reader *r, const cJSON *root)
{
    struct root_members m = {0};
    const cJSON *item;
    const bool whole =
        es_fields_read(r->doc, root, root_rows, sizeof root_rows / sizeof root_rows[0], &m, r->findings);
    struct es_detection *d = r->d;
    if (m.format && strcmp(m.format, "detection/1") != 0) {
        es_document_fault(r->doc, root, r->findings, m.format, "the format \"detection/1\"");
    }
    free(m.format);
    d->version = m.version;
    d->seed = m.seed;
    d->plan = m.plan;
    d->plan_version = m.plan_version;
    d->plan_digest = m.plan_digest;
    d->units = m.units;
    if (!whole) {
        return;
    }
    read_causes(r, m.causes);
    if (good(r)) {
        read_checks(r, m.checks);
    }
    d->types = room(r, size_of(m.types), sizeof *d->types);
    cJSON_ArrayForEach(item, m.types)
    {
        if (good(r)) {
            read_type(r, item);
        }
    }
}

enum es_status es_detection_from_document(const struct es_document *doc, struct es_findings *findings,
                                          struct es_detection **out, struct es_error *err)
{
    struct es_detection *d = calloc(1, sizeof *d);
    const size_t before = findings->count;
    if (!d) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the table of detection");
    }
    struct reader r = {doc, findings, d, false};
    read_root(&r, es_document_root(doc));
    enum es_status status = ES_OK;
    if (r.no_memory || findings->out_of_memory) {
        status = es_fail(err, ES_NO_MEMORY, "no memory for the table of detection");
    } else if (findings->count > before) {
        status = es_findings_status(findings, err);
    }
    if (status != ES_OK) {
        es_detection_free(d);
        return status;
    }
    *out = d;
    return ES_OK;
}

enum es_status es_detection_load(const char *path, struct es_findings *findings, struct es_detection **out,
                                 struct es_error *err)
{
    struct es_document *doc;
    enum es_status status = es_document_load(path, findings, &doc, err);
    if (status == ES_OK) {
        status = es_detection_from_document(doc, findings, out, err);
        es_document_free(doc);
    }
    return status;
}

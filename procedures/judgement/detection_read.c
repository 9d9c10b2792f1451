/* Reads a table of detection: one row a member, every fault told at once. */
#include "procedures/judgement/detection_read.h"

#include <stdlib.h>
#include <string.h>

#define PLANS_MAX 100

void *es_detection_room(struct es_detection_reader *r, size_t count, size_t size)
{
    void *p = calloc(count ? count : 1, size);
    r->no_memory = r->no_memory || !p;
    return p;
}

size_t es_detection_size(const cJSON *array)
{
    return array ? (size_t)cJSON_GetArraySize(array) : 0;
}

static const char *const places[] = {"unit", "mounting", "bench", NULL};

static const struct es_field cause_rows[] = {
    ES_TEXT_ROW("name", offsetof(struct es_detection_cause, name), 1),
    ES_TEXT_ROW("meaning", offsetof(struct es_detection_cause, meaning), 1),
    {.name = "place",
     .kind = ES_FIELD_CHOICE,
     .required = true,
     ES_AT(struct es_detection_cause, place),
     .choices = places},
    {.name = "rate",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     ES_AT(struct es_detection_cause, rate),
     .min = 0,
     .max = 0.5},
    {.name = "matters from",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     ES_AT(struct es_detection_cause, matters),
     .min = 0,
     .max = 1},
};

int es_detection_cause(const struct es_detection_reader *r, const char *name)
{
    for (size_t i = 0; i < r->d->cause_count; i++) {
        if (!strcmp(r->d->causes[i].name, name)) {
            return (int)i;
        }
    }
    return -1;
}

static void read_causes(struct es_detection_reader *r, const cJSON *array)
{
    const cJSON *item;
    r->d->causes = es_detection_room(r, es_detection_size(array), sizeof *r->d->causes);
    if (r->no_memory) {
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        struct es_detection_cause *c = &r->d->causes[r->d->cause_count];
        if (!es_fields_read(r->doc, item, cause_rows, ES_ROWS(cause_rows), c, r->findings)) {
            free(c->name);
            free(c->meaning);
            *c = (struct es_detection_cause){0};
            continue;
        }
        if (es_detection_cause(r, c->name) >= 0) {
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
    ES_TEXT_ROW("text", offsetof(struct check_members, text), 1),
    ES_TEXT_ROW("caution", offsetof(struct check_members, caution), 1),
    {.name = "minutes",
     .kind = ES_FIELD_NUMBER,
     .required = true,
     ES_AT(struct check_members, minutes),
     .min = 0.1,
     .max = 1000},
    {.name = "finds",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     ES_AT(struct check_members, finds),
     .min = 1,
     .max = ES_DETECTION_CAUSES_MAX},
};

static void read_checks(struct es_detection_reader *r, const cJSON *array)
{
    const cJSON *item, *name;
    r->d->checks = es_detection_room(r, es_detection_size(array), sizeof *r->d->checks);
    if (r->no_memory) {
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        struct check_members m = {0};
        uint64_t finds = 0;
        const bool whole = es_fields_read(r->doc, item, check_rows, ES_ROWS(check_rows), &m, r->findings);
        cJSON_ArrayForEach(name, m.finds)
        {
            const int cause = cJSON_IsString(name) ? es_detection_cause(r, name->valuestring) : -1;
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

/* ---- Plans, and the whole ---- */

struct plan_members {
    char *name, *version, *digest, *program, *seed;
    long units;
    const cJSON *types;
};

struct root_members {
    char *format;
    const cJSON *causes, *checks, *plans;
    struct plan_members only; /* of the format "detection/1" */
};

#define COUNTED(key, at, least, most)                                                                        \
    {                                                                                                        \
        .name = (key), .kind = ES_FIELD_ARRAY, .required = true, .offset = (at), .min = (least),             \
        .max = (most)                                                                                        \
    }
#define UNITS(at)                                                                                            \
    {                                                                                                        \
        .name = "units", .kind = ES_FIELD_INTEGER, .required = true, .offset = (at), .min = 1,               \
        .max = ES_DETECTION_COUNT_MAX                                                                        \
    }

static const struct es_field plan_rows[] = {
    ES_TEXT_ROW("plan", offsetof(struct plan_members, name), 1),
    ES_TEXT_ROW("version", offsetof(struct plan_members, version), 1),
    ES_TEXT_ROW("digest", offsetof(struct plan_members, digest), 64),
    ES_TEXT_ROW("program", offsetof(struct plan_members, program), 1),
    ES_TEXT_ROW("seed", offsetof(struct plan_members, seed), 1),
    UNITS(offsetof(struct plan_members, units)),
    COUNTED("types", offsetof(struct plan_members, types), 1, 100),
};

static const struct es_field root_rows[] = {
    ES_TEXT_ROW("endstop", offsetof(struct root_members, format), 1),
    COUNTED("causes", offsetof(struct root_members, causes), 1, ES_DETECTION_CAUSES_MAX),
    COUNTED("checks", offsetof(struct root_members, checks), 0, 1000),
    COUNTED("plans", offsetof(struct root_members, plans), 1, PLANS_MAX),
};

/* The format that held one plan. */
static const struct es_field first_rows[] = {
    ES_TEXT_ROW("endstop", offsetof(struct root_members, format), 1),
    ES_TEXT_ROW("version", offsetof(struct root_members, only.program), 1),
    ES_TEXT_ROW("seed", offsetof(struct root_members, only.seed), 1),
    ES_TEXT_ROW("plan", offsetof(struct root_members, only.name), 1),
    ES_TEXT_ROW("plan version", offsetof(struct root_members, only.version), 1),
    ES_TEXT_ROW("plan digest", offsetof(struct root_members, only.digest), 64),
    UNITS(offsetof(struct root_members, only.units)),
    COUNTED("causes", offsetof(struct root_members, causes), 1, ES_DETECTION_CAUSES_MAX),
    COUNTED("checks", offsetof(struct root_members, checks), 0, 1000),
    COUNTED("types", offsetof(struct root_members, only.types), 1, 100),
};

static void take_plan(struct es_detection_reader *r, const cJSON *item, const struct plan_members *m)
{
    const cJSON *type;
    const bool twice = m->name && es_detection_find_plan(r->d, m->name);
    struct es_detection_plan *plan = &r->d->plans[r->d->plan_count++];
    *plan = (struct es_detection_plan){.name = m->name,
                                       .version = m->version,
                                       .digest = m->digest,
                                       .program = m->program,
                                       .seed = m->seed,
                                       .units = m->units};
    if (twice) {
        es_document_fault(r->doc, item, r->findings, m->name, "each plan once");
    }
    plan->types = es_detection_room(r, es_detection_size(m->types), sizeof *plan->types);
    cJSON_ArrayForEach(type, m->types)
    {
        if (!r->no_memory) {
            es_detection_read_type(r, type, plan);
        }
    }
}

static void read_plan(struct es_detection_reader *r, const cJSON *item)
{
    struct plan_members m = {0};
    if (es_fields_read(r->doc, item, plan_rows, ES_ROWS(plan_rows), &m, r->findings)) {
        take_plan(r, item, &m);
    } else {
        es_fields_free(plan_rows, ES_ROWS(plan_rows), &m);
    }
}

static void take_root(struct es_detection_reader *r, const cJSON *root, struct root_members *m)
{
    const cJSON *item;
    read_causes(r, m->causes);
    if (!r->no_memory) {
        read_checks(r, m->checks);
    }
    r->d->plans = es_detection_room(r, r->first ? 1 : es_detection_size(m->plans), sizeof *r->d->plans);
    if (!r->no_memory && r->first) {
        take_plan(r, root, &m->only);
        m->only = (struct plan_members){0};
    }
    cJSON_ArrayForEach(item, m->plans)
    {
        if (!r->no_memory) {
            read_plan(r, item);
        }
    }
}

static void read_root(struct es_detection_reader *r, const cJSON *root)
{
    struct root_members m = {0};
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "endstop"));
    r->first = format && !strcmp(format, "detection/1");
    const struct es_field *rows = r->first ? first_rows : root_rows;
    const size_t count = r->first ? ES_ROWS(first_rows) : ES_ROWS(root_rows);
    const bool whole = es_fields_read(r->doc, root, rows, count, &m, r->findings);
    if (m.format && !r->first && strcmp(m.format, "detection/2") != 0) {
        es_document_fault(r->doc, root, r->findings, m.format, "the format \"detection/2\"");
    } else if (whole) {
        take_root(r, root, &m);
    }
    es_fields_free(rows, count, &m);
}

enum es_status es_detection_from_document(const struct es_document *doc, struct es_findings *findings,
                                          struct es_detection **out, struct es_error *err)
{
    struct es_detection *d = calloc(1, sizeof *d);
    const size_t before = findings->count;
    if (!d) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the table of detection");
    }
    struct es_detection_reader r = {.doc = doc, .findings = findings, .d = d};
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
    es_document_digest(doc, d->digest);
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

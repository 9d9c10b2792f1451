/* The procedure document as a whole. */
#include "procedures/engine/procedure.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "procedures/engine/read.h"

struct raw_procedure {
    char *format, *name, *version, *title, *purpose;
    const cJSON *cautions, *needs, *steps, *measurands;
};

/* One array for each word of "when", and "where fitted" last. */
struct raw_needs {
    const cJSON *groups[ES_WHEN_COUNT + 1];
};

#define TEXT(label, member, most, text)                                                                      \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_TEXT, .required = true,                                            \
        .offset = offsetof(struct raw_procedure, member), .min = 1, .max = (most), .meaning = (text)         \
    }

static const struct es_field procedure_rows[] = {
    TEXT("endstop", format, 20, "format: \"procedure/1\""),
    TEXT("name", name, 60, "short name, as in plans and on certificates"),
    TEXT("version", version, 20, "changes with every change of the document"),
    TEXT("title", title, 100, "heading of the sheet"),
    TEXT("purpose", purpose, 400, "what it finds out, in one sentence"),
    {.name = "cautions",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     .min = 1,
     .max = 20,
     .offset = offsetof(struct raw_procedure, cautions),
     .meaning = "what the operator confirms beforehand"},
    {.name = "needs",
     .kind = ES_FIELD_OBJECT,
     .required = true,
     .offset = offsetof(struct raw_procedure, needs),
     .meaning = "roles that the bench must have"},
    {.name = "steps",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     .min = 1,
     .max = 200,
     .offset = offsetof(struct raw_procedure, steps),
     .meaning = "what is done, in order"},
    {.name = "measurands",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     .min = 0,
     .max = 60,
     .offset = offsetof(struct raw_procedure, measurands),
     .meaning = "what is measured and judged"},
};

#define NEED(label, group, text)                                                                             \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_ARRAY, .offset = offsetof(struct raw_needs, groups[group]),        \
        .min = 1, .max = ES_ROLE_COUNT, .meaning = (text)                                                    \
    }

static const struct es_field need_rows[] = {
    NEED("always", ES_WHEN_ALWAYS, "for every unit"),
    NEED("single-acting", ES_WHEN_SINGLE, "for single-acting units too"),
    NEED("double-acting", ES_WHEN_DOUBLE, "for double-acting units too"),
    NEED("linear", ES_WHEN_LINEAR, "for linear units too"),
    NEED("part-turn", ES_WHEN_PART_TURN, "for part-turn units too"),
    NEED("complete unit", ES_WHEN_COMPLETE, "for complete units too"),
    NEED("relay module", ES_WHEN_MODULE, "for spare relay modules too"),
    NEED("self-proof block", ES_WHEN_BLOCK, "for the bench's self-proof block too"),
    NEED("position feedback", ES_WHEN_FEEDBACK, "for units with position feedback too"),
    NEED("shutdown module", ES_WHEN_SHUTDOWN, "for units with a shutdown module too"),
    NEED("where fitted", ES_WHEN_COUNT, "used where the bench has them"),
};

#define ROWS(table) (table), sizeof(table) / sizeof((table)[0])

static void add_needs(struct es_reader *r, const cJSON *array, enum es_when when, bool where_fitted,
                      struct es_procedure *p)
{
    const cJSON *item;

    for (item = es_first(array); item != NULL; item = item->next) {
        const enum es_role role = es_read_role(r, item);
        bool twice = role == ES_ROLE_NONE;
        for (size_t i = 0; i < p->need_count && !twice; i++) {
            twice = p->needs[i].role == role && (p->needs[i].when == when || when == ES_WHEN_ALWAYS ||
                                                 p->needs[i].when == ES_WHEN_ALWAYS);
            if (twice)
                es_document_fault(r->doc, item, r->findings, NULL, "each role once");
        }
        if (!twice)
            p->needs[p->need_count++] = (struct es_need){role, when, where_fitted, es_read_place(r, item)};
    }
}

static void read_needs(struct es_reader *r, const cJSON *object, struct es_procedure *p)
{
    struct raw_needs raw = {0};

    (void)es_fields_read(r->doc, object, ROWS(need_rows), &raw, r->findings);
    size_t most = 0;
    for (int i = 0; i <= ES_WHEN_COUNT; i++)
        most += (size_t)cJSON_GetArraySize(raw.groups[i]);
    if (most == 0) {
        es_document_fault(r->doc, object, r->findings, "no role", "the roles that the steps use");
        return;
    }
    p->needs = es_read_array(r, most, sizeof *p->needs);
    if (p->needs == NULL)
        return;
    for (int i = 0; i < ES_WHEN_COUNT; i++)
        add_needs(r, raw.groups[i], (enum es_when)i, false, p);
    add_needs(r, raw.groups[ES_WHEN_COUNT], ES_WHEN_ALWAYS, true, p);
}

static void read_parts(struct es_reader *r, const struct raw_procedure *raw, const cJSON *root,
                       struct es_procedure *p)
{
    if (raw->format != NULL && strcmp(raw->format, "procedure/1") != 0)
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(root, "endstop"), r->findings, NULL,
                          "\"procedure/1\", the format that this program reads");
    es_read_texts(r, raw->cautions, &p->cautions, &p->caution_count);
    if (raw->needs != NULL)
        read_needs(r, raw->needs, p);
    es_read_steps(r, raw->steps, &p->steps, &p->step_count);
    es_read_measurands(r, raw->measurands, &p->measurands, &p->measurand_count);
}

enum es_status es_procedure_from_document(const struct es_document *doc, struct es_findings *findings,
                                          struct es_procedure **out, struct es_error *err)
{
    struct es_reader r = {.doc = doc, .findings = findings};
    struct raw_procedure raw = {0};
    const size_t before = findings->count;
    const cJSON *root = es_document_root(doc);
    enum es_status s = ES_OK;

    struct es_procedure *p = calloc(1, sizeof *p);
    if (p == NULL)
        return es_fail(err, ES_NO_MEMORY, "no memory for a procedure");
    if (cJSON_IsObject(root)) {
        (void)es_fields_read(doc, root, ROWS(procedure_rows), &raw, findings);
        read_parts(&r, &raw, root, p);
    } else {
        es_document_fault(doc, root, findings, NULL,
                          "a procedure: an object {\"endstop\": \"procedure/1\", ...}");
    }
    p->name = raw.name;
    p->version = raw.version;
    p->title = raw.title;
    p->purpose = raw.purpose;
    raw.name = raw.version = raw.title = raw.purpose = NULL;
    es_fields_free(ROWS(procedure_rows), &raw);
    p->file = es_read_copy(&r, es_document_name(doc));
    es_document_digest(doc, p->digest);

    if (r.out_of_memory || findings->out_of_memory)
        s = es_fail(err, ES_NO_MEMORY, "no memory for the procedure %s", es_document_name(doc));
    else if (findings->count > before)
        s = es_findings_status(findings, err);
    if (s != ES_OK) {
        es_procedure_free(p);
        return s;
    }
    *out = p;
    return ES_OK;
}

/* Pictures that are shown with a question must be there before anybody is asked. */
static void find_pictures(const struct es_procedure *p, const struct es_step *steps, size_t count,
                          struct es_findings *findings)
{
    const char *slash = strrchr(p->file, '/');
    const int folder = slash != NULL ? (int)(slash - p->file + 1) : 0;
    char path[4096];

    for (size_t i = 0; i < count; i++) {
        const struct es_step *s = &steps[i];
        find_pictures(p, s->steps, s->step_count, findings);
        if (s->picture == NULL)
            continue;
        (void)snprintf(path, sizeof path, "%.*s%s", folder, p->file, s->picture);
        if (access(path, R_OK) != 0)
            es_findings_add(findings, p->file, s->place.line, s->place.column, s->picture,
                            "a picture beside the procedure that can be read", NULL);
    }
}

enum es_status es_procedure_load(const char *path, struct es_findings *findings, struct es_procedure **out,
                                 struct es_error *err)
{
    struct es_document *doc = NULL;

    enum es_status s = es_document_load(path, findings, &doc, err);
    if (s != ES_OK)
        return s;
    struct es_procedure *p = NULL;
    s = es_procedure_from_document(doc, findings, &p, err);
    es_document_free(doc);
    if (s != ES_OK)
        return s;
    const size_t before = findings->count;
    find_pictures(p, p->steps, p->step_count, findings);
    if (findings->count > before) {
        es_procedure_free(p);
        return es_findings_status(findings, err);
    }
    *out = p;
    return ES_OK;
}

void es_procedure_free(struct es_procedure *p)
{
    if (p == NULL)
        return;
    for (size_t i = 0; i < p->caution_count; i++)
        free(p->cautions[i]);
    free(p->cautions);
    free(p->needs);
    es_steps_free(p->steps, p->step_count);
    es_measurands_free(p->measurands, p->measurand_count);
    free(p->file);
    free(p->name);
    free(p->version);
    free(p->title);
    free(p->purpose);
    free(p);
}

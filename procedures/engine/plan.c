/* The test plan document: which procedures, in which order, and what gates what. */
#include "procedures/engine/plan.h"

#include <stdlib.h>
#include <string.h>

#include "procedures/engine/read.h"
#include "rig/base/nearest.h"

struct raw_plan {
    char *format, *name, *version, *title, *purpose;
    const cJSON *procedures;
};

struct raw_entry {
    char *file, *label;
    const cJSON *gates;
};

#define TEXT(label, of, member, need, most, text)                                                            \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_TEXT, .required = (need), .offset = offsetof(struct of, member),   \
        .min = 1, .max = (most), .meaning = (text)                                                           \
    }

static const struct es_field plan_rows[] = {
    TEXT("endstop", raw_plan, format, true, 20, "format: \"plan/1\""),
    TEXT("name", raw_plan, name, true, 60, "short name"),
    TEXT("version", raw_plan, version, true, 20, "changes with every change of the document"),
    TEXT("title", raw_plan, title, true, 100, "heading of the sheet"),
    TEXT("purpose", raw_plan, purpose, true, 400, "what it is for, in one sentence"),
    {.name = "procedures",
     .kind = ES_FIELD_ARRAY,
     .required = true,
     .min = 1,
     .max = 40,
     .offset = offsetof(struct raw_plan, procedures),
     .meaning = "in order"},
};

static const struct es_field entry_rows[] = {
    TEXT("procedure", raw_entry, file, true, 100, "file in the plan's folder, without \".json\""),
    TEXT("as", raw_entry, label, false, 60, "what lines and records call it, where one procedure runs twice"),
    {.name = "only after",
     .kind = ES_FIELD_OBJECT,
     .offset = offsetof(struct raw_entry, gates),
     .meaning =
         "earlier procedure: \"passed\", \"not failed\", \"held back or not failed\" or \"completed\""},
};

#define ROWS(table) (table), sizeof(table) / sizeof((table)[0])

static const char *const gate_words[] = {"completed", "not failed", "passed", "held back or not failed"};

const char *es_gate_word(enum es_gate_kind kind)
{
    return gate_words[kind];
}

static void read_gate(struct es_reader *r, const cJSON *item, const struct es_plan *plan, size_t self,
                      struct es_plan_entry *entry)
{
    struct es_gate gate = {.earlier = self, .place = es_read_place(r, item)};
    struct es_nearest n = {.word = item->string};
    int must = -1;

    for (size_t i = 0; i < self; i++) {
        if (plan->entries[i].label == NULL)
            continue;
        if (strcmp(plan->entries[i].label, item->string) == 0)
            gate.earlier = i;
        es_nearest_offer(&n, plan->entries[i].label);
    }
    for (int i = 0; i < (int)(sizeof gate_words / sizeof gate_words[0]); i++)
        if (cJSON_IsString(item) && strcmp(item->valuestring, gate_words[i]) == 0)
            must = i;
    if (gate.earlier == self) {
        char found[128];
        (void)snprintf(found, sizeof found, "\"%.100s\"", item->string);
        es_document_fault(r->doc, item, r->findings, found,
                          n.best != NULL ? "the name of an earlier procedure of this plan; is \"%s\" meant?"
                                         : "the name of an earlier procedure of this plan%s",
                          n.best != NULL ? n.best : "");
        return;
    }
    if (must < 0) {
        es_document_fault(r->doc, item, r->findings, NULL,
                          "\"passed\", \"not failed\", \"held back or not failed\" or \"completed\"");
        return;
    }
    gate.must = (enum es_gate_kind)must;
    entry->gates[entry->gate_count++] = gate;
}

/* The procedure's file stands beside the plan; a name with a folder in it would leave that folder. */
static enum es_status load_entry(struct es_reader *r, const cJSON *item, const char *file,
                                 struct es_plan_entry *entry, struct es_error *err)
{
    const char *plan_file = es_document_name(r->doc);
    const char *slash = strrchr(plan_file, '/');
    char path[4096];

    if (strchr(file, '/') != NULL || file[0] == '.') {
        es_document_fault(r->doc, item, r->findings, NULL,
                          "the name of a file beside the plan, without folder");
        return ES_OK;
    }
    const int folder = slash != NULL ? (int)(slash - plan_file + 1) : 0;
    const int n = snprintf(path, sizeof path, "%.*s%s.json", folder, plan_file, file);
    if (n < 0 || (size_t)n >= sizeof path) {
        es_document_fault(r->doc, item, r->findings, NULL, "a shorter path");
        return ES_OK;
    }
    const enum es_status s = es_procedure_load(path, r->findings, &entry->procedure, err);
    if (s == ES_NOT_FOUND) {
        es_document_fault(r->doc, item, r->findings, NULL, "a procedure beside the plan; there is no file %s",
                          path);
        return ES_OK;
    }
    return s == ES_BAD_INPUT ? ES_OK : s; /* its faults are in the findings */
}

static void set_label(struct es_reader *r, const cJSON *item, const struct es_plan *plan, size_t self,
                      char *label)
{
    struct es_plan_entry *entry = &plan->entries[self];

    entry->label = label;
    if (label == NULL && entry->procedure != NULL)
        entry->label = es_read_copy(r, entry->procedure->name);
    for (size_t i = 0; i < self; i++)
        if (entry->label != NULL && plan->entries[i].label != NULL &&
            strcmp(entry->label, plan->entries[i].label) == 0)
            es_document_fault(r->doc, item, r->findings, NULL,
                              "another name than an earlier procedure's: give one by \"as\"");
}

static enum es_status read_entry(struct es_reader *r, const cJSON *item, struct es_plan *plan,
                                 struct es_error *err)
{
    struct raw_entry raw = {0};
    const size_t self = plan->entry_count++;
    struct es_plan_entry *entry = &plan->entries[self];
    enum es_status s = ES_OK;

    entry->place = es_read_place(r, item);
    if (!cJSON_IsObject(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "an object with \"procedure\"");
        return ES_OK;
    }
    (void)es_fields_read(r->doc, item, ROWS(entry_rows), &raw, r->findings);
    if (raw.file != NULL)
        s = load_entry(r, cJSON_GetObjectItemCaseSensitive(item, "procedure"), raw.file, entry, err);
    set_label(r, item, plan, self, raw.label);
    raw.label = NULL;
    const int gates = cJSON_GetArraySize(raw.gates);
    if (gates > 0)
        entry->gates = es_read_array(r, (size_t)gates, sizeof *entry->gates);
    if (entry->gates != NULL) {
        const cJSON *gate;
        for (gate = es_first(raw.gates); gate != NULL; gate = gate->next)
            read_gate(r, gate, plan, self, entry);
    }
    es_fields_free(ROWS(entry_rows), &raw);
    return s;
}

static enum es_status read_plan(struct es_reader *r, struct es_plan *plan, struct es_error *err)
{
    struct raw_plan raw = {0};
    const cJSON *root = es_document_root(r->doc);
    const cJSON *item;
    enum es_status s = ES_OK;

    if (!cJSON_IsObject(root)) {
        es_document_fault(r->doc, root, r->findings, NULL,
                          "a plan: an object {\"endstop\": \"plan/1\", ...}");
        return ES_OK;
    }
    (void)es_fields_read(r->doc, root, ROWS(plan_rows), &raw, r->findings);
    if (raw.format != NULL && strcmp(raw.format, "plan/1") != 0)
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(root, "endstop"), r->findings, NULL,
                          "\"plan/1\", the format that this program reads");
    const int size = cJSON_GetArraySize(raw.procedures);
    if (size > 0)
        plan->entries = es_read_array(r, (size_t)size, sizeof *plan->entries);
    if (plan->entries != NULL)
        for (item = es_first(raw.procedures); item != NULL && s == ES_OK; item = item->next)
            s = read_entry(r, item, plan, err);
    plan->name = raw.name;
    plan->version = raw.version;
    plan->title = raw.title;
    plan->purpose = raw.purpose;
    raw.name = raw.version = raw.title = raw.purpose = NULL;
    es_fields_free(ROWS(plan_rows), &raw);
    return s;
}

static enum es_status from_document(const struct es_document *doc, struct es_findings *findings,
                                    struct es_plan **out, struct es_error *err)
{
    struct es_reader r = {.doc = doc, .findings = findings};
    const size_t before = findings->count;

    struct es_plan *plan = calloc(1, sizeof *plan);
    if (plan == NULL)
        return es_fail(err, ES_NO_MEMORY, "no memory for a plan");
    plan->file = es_read_copy(&r, es_document_name(doc));
    es_document_digest(doc, plan->digest);
    enum es_status s = read_plan(&r, plan, err);
    if (s == ES_OK && (r.out_of_memory || findings->out_of_memory))
        s = es_fail(err, ES_NO_MEMORY, "no memory for the plan %s", es_document_name(doc));
    // cppcheck-suppress knownConditionTrueFalse ; the readers called above add findings
    if (s == ES_OK && findings->count > before)
        s = es_findings_status(findings, err);
    if (s != ES_OK) {
        es_plan_free(plan);
        return s;
    }
    *out = plan;
    return ES_OK;
}

enum es_status es_plan_load(const char *path, struct es_findings *findings, struct es_plan **out,
                            struct es_error *err)
{
    struct es_document *doc = NULL;

    enum es_status s = es_document_load(path, findings, &doc, err);
    if (s != ES_OK)
        return s;
    s = from_document(doc, findings, out, err);
    es_document_free(doc);
    return s;
}

enum es_status es_plan_of_procedure(struct es_procedure *p, struct es_plan **out, struct es_error *err)
{
    struct es_plan *plan = calloc(1, sizeof *plan);

    if (plan != NULL) {
        plan->file = strdup(p->file);
        plan->name = strdup(p->name);
        plan->version = strdup(p->version);
        plan->title = strdup(p->title);
        plan->purpose = strdup(p->purpose);
        plan->entries = calloc(1, sizeof *plan->entries);
        memcpy(plan->digest, p->digest, sizeof plan->digest);
    }
    if (plan == NULL || plan->entries == NULL) {
        es_procedure_free(p);
        es_plan_free(plan);
        return es_fail(err, ES_NO_MEMORY, "no memory for a plan");
    }
    plan->entry_count = 1;
    plan->entries[0].procedure = p;
    plan->entries[0].label = strdup(p->name);
    if (plan->file == NULL || plan->name == NULL || plan->version == NULL || plan->title == NULL ||
        plan->purpose == NULL || plan->entries[0].label == NULL) {
        es_plan_free(plan);
        return es_fail(err, ES_NO_MEMORY, "no memory for a plan");
    }
    *out = plan;
    return ES_OK;
}

static enum es_status load_procedure(const struct es_document *doc, struct es_findings *findings,
                                     struct es_plan **out, struct es_error *err)
{
    struct es_procedure *p = NULL;

    const enum es_status s = es_procedure_from_document(doc, findings, &p, err);
    return s == ES_OK ? es_plan_of_procedure(p, out, err) : s;
}

enum es_status es_plan_load_any(const char *path, struct es_findings *findings, struct es_plan **out,
                                struct es_error *err)
{
    struct es_document *doc = NULL;

    enum es_status s = es_document_load(path, findings, &doc, err);
    if (s != ES_OK)
        return s;
    const cJSON *root = es_document_root(doc);
    const cJSON *format = cJSON_GetObjectItemCaseSensitive(root, "endstop");
    const char *word = cJSON_IsString(format) ? format->valuestring : "";
    if (strcmp(word, "procedure/1") == 0) {
        s = load_procedure(doc, findings, out, err);
    } else if (strcmp(word, "plan/1") == 0) {
        s = from_document(doc, findings, out, err);
    } else {
        es_document_fault(doc, format != NULL ? format : root, findings, NULL,
                          "a procedure or a plan: \"endstop\": \"procedure/1\" or \"plan/1\"");
        s = es_findings_status(findings, err);
    }
    es_document_free(doc);
    return s;
}

bool es_plan_caution_is_new(const struct es_plan *plan, size_t entry, size_t caution)
{
    const char *text = plan->entries[entry].procedure->cautions[caution];

    for (size_t i = 0; i <= entry; i++) {
        const struct es_procedure *p = plan->entries[i].procedure;
        for (size_t k = 0; k < (i == entry ? caution : p->caution_count); k++)
            if (strcmp(p->cautions[k], text) == 0)
                return false;
    }
    return true;
}

void es_plan_free(struct es_plan *plan)
{
    if (plan == NULL)
        return;
    for (size_t i = 0; i < plan->entry_count; i++) {
        es_procedure_free(plan->entries[i].procedure);
        free(plan->entries[i].label);
        free(plan->entries[i].gates);
    }
    free(plan->entries);
    free(plan->file);
    free(plan->name);
    free(plan->version);
    free(plan->title);
    free(plan->purpose);
    free(plan);
}

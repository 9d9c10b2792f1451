#include "results/store/repairs.h"

#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/tree.h"
#include "results/store/inner.h"
#include "results/store/lines.h"
#include "rig/base/text.h"

static void clear(struct es_repair *r)
{
    free(r->number);
    free(r->found);
    free(r->person);
    free(r->when);
    free(r->note);
    free(r->type);
    *r = (struct es_repair){0};
}

void es_repairs_free(struct es_repairs *repairs)
{
    for (size_t i = 0; i < repairs->count; i++) {
        clear(&repairs->items[i]);
    }
    free(repairs->items);
    *repairs = (struct es_repairs){0};
}

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory for the book of repairs");
}

/* ---- Reading ---- */

static enum es_status take_texts(const cJSON *line, struct es_repair *out, struct es_error *err)
{
    const struct {
        const char *name;
        char **slot;
        bool needed;
    } texts[] = {{"number", &out->number, true}, {"found", &out->found, true}, {"person", &out->person, true},
                 {"when", &out->when, true},     {"note", &out->note, false},  {"type", &out->type, false}};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const cJSON *member = cJSON_GetObjectItemCaseSensitive(line, texts[i].name);
        const char *text = cJSON_GetStringValue(member);
        if (texts[i].needed ? !text || !text[0] : member && !text) {
            return es_fail(err, ES_BAD_INPUT, "\"%s\" is not there or no text", texts[i].name);
        }
        *texts[i].slot = text ? strdup(text) : NULL;
        if (text && !*texts[i].slot) {
            return no_memory(err);
        }
    }
    return ES_OK;
}

/* The later finding of one certificate takes the place of the earlier. */
static enum es_status keep(struct es_repairs *list, struct es_repair *r, struct es_error *err)
{
    for (size_t i = 0; i < list->count; i++) {
        if (strcmp(list->items[i].number, r->number) == 0) {
            clear(&list->items[i]);
            list->items[i] = *r;
            return ES_OK;
        }
    }
    struct es_repair *items = reallocarray(list->items, list->count + 1, sizeof *items);
    if (!items) {
        return no_memory(err);
    }
    list->items = items;
    items[list->count++] = *r;
    return ES_OK;
}

enum es_status es_repairs_read(struct es_store *store, struct es_repairs *out, struct es_error *err)
{
    struct es_lines lines = {0};
    struct es_repairs list = {0};
    char *path = es_store_path(store, "repairs.jsonl", NULL, err);
    enum es_status st = path ? es_lines_read(store->ops, path, &lines, err) : ES_NO_MEMORY;
    for (size_t i = 0; i < lines.count && st == ES_OK; i++) {
        struct es_repair r = {0};
        st = take_texts(es_lines_at(&lines, i), &r, err);
        st = st == ES_OK ? keep(&list, &r, err) : st;
        if (st != ES_OK) {
            clear(&r);
            st = es_error_context(err, st, "%s: line %zu", path, i + 1);
        }
    }
    es_lines_free(&lines);
    free(path);
    if (st != ES_OK) {
        es_repairs_free(&list);
        return st;
    }
    *out = list;
    return ES_OK;
}

/* ---- Adding ---- */

/* Stays NULL where the certificate does not say it, or memory ran out: it is of use, not needed. */
static char *type_of(const char *bytes, size_t length)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_error why = {0};
    char *type = NULL;
    if (es_document_parse("certificate", bytes, length, &findings, &doc, &why) == ES_OK) {
        const cJSON *unit = cJSON_GetObjectItemCaseSensitive(es_document_root(doc), "unit");
        const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(unit, "type"));
        type = text && text[0] ? strdup(text) : NULL;
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return type;
}

static enum es_status check(struct es_store *store, const struct es_repair *r, char **type,
                            struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    if (!r->person || !r->person[0]) {
        return es_fail(err, ES_BAD_INPUT, "who found it has to be named");
    }
    if (!r->found || !r->found[0] || !r->when) {
        return es_fail(err, ES_BAD_INPUT, "what was found has to be said, or \"" ES_REPAIR_NONE "\"");
    }
    if (r->note && strlen(r->note) > ES_REPAIR_TEXT_MAX) {
        return es_fail(err, ES_BAD_INPUT, "the note has %zu bytes; %d at most", strlen(r->note),
                       ES_REPAIR_TEXT_MAX);
    }
    enum es_status st = es_store_certificate(store, r->number ? r->number : "", &bytes, &length, err);
    *type = st == ES_OK ? type_of(bytes, length) : NULL;
    free(bytes);
    return st;
}

static enum es_status write_line(const struct es_repair *r, const char *type, struct es_text *out,
                                 struct es_error *err)
{
    struct es_tree t = {0};
    char *text = NULL;
    size_t length = 0;
    cJSON *line = cJSON_CreateObject();
    es_tree_text(&t, line, "number", r->number);
    es_tree_text(&t, line, "found", r->found);
    es_tree_text(&t, line, "person", r->person);
    es_tree_text(&t, line, "when", r->when);
    es_tree_text(&t, line, "note", r->note);
    es_tree_text(&t, line, "type", type);
    enum es_status st =
        t.out_of_memory || !line ? no_memory(err) : es_canonical_write(line, &text, &length, err);
    if (st == ES_OK) {
        es_text_append(out, text, length);
        es_text_add(out, "\n");
        st = es_text_status(out, err);
    }
    free(text);
    cJSON_Delete(line);
    return st;
}

enum es_status es_repairs_add(struct es_store *store, const struct es_repair *repair, struct es_error *err)
{
    struct es_lines_lock lock = {.fd = -1};
    struct es_text text = {0};
    char *type = NULL;
    char *path = es_store_path(store, "repairs.jsonl", NULL, err);
    char *lock_path = path ? es_store_path(store, "repairs.lock", NULL, err) : NULL;
    enum es_status st = lock_path ? check(store, repair, &type, err) : ES_NO_MEMORY;
    if (st == ES_OK) {
        st = write_line(repair, type, &text, err);
    }
    if (st == ES_OK) {
        st = es_lines_lock(lock_path, 0640, &lock, err);
    }
    if (st == ES_OK) {
        st = es_lines_append(store->ops, path, 0644, text.bytes, err);
        es_lines_unlock(&lock);
    }
    es_text_free(&text);
    free(type);
    free(lock_path);
    free(path);
    return st;
}

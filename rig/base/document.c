#include "rig/base/document.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/digest.h"
#include "rig/base/file.h"
#include "rig/base/json_scan.h"
#include "rig/base/text.h"

struct place {
    const cJSON *item;
    size_t mark;
};

struct es_document {
    char *name;
    char *text;
    size_t length;
    cJSON *root;
    struct es_json_marks marks;
    struct place *places; /* sorted by item, one a mark */
};

void es_document_free(struct es_document *doc)
{
    if (doc == NULL)
        return;
    free(doc->places);
    free(doc->marks.items);
    cJSON_Delete(doc->root);
    free(doc->text);
    free(doc->name);
    free(doc);
}

static int by_item(const void *a, const void *b)
{
    uintptr_t x = (uintptr_t)((const struct place *)a)->item;
    uintptr_t y = (uintptr_t)((const struct place *)b)->item;

    return x < y ? -1 : x > y;
}

/* Walks the tree in document order, as the scanner went. Depth is bounded by the scanner. */
static size_t tie(struct es_document *doc, const cJSON *item, size_t next)
{
    if (next < doc->marks.count)
        doc->places[next] = (struct place){.item = item, .mark = next};
    next++;
    for (const cJSON *child = item->child; child != NULL; child = child->next)
        next = tie(doc, child, next);
    return next;
}

static enum es_status tie_all(struct es_document *doc, struct es_error *err)
{
    doc->places = malloc(doc->marks.count * sizeof *doc->places);
    if (doc->places == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", doc->name);
    if (tie(doc, doc->root, 0) != doc->marks.count)
        return es_fail(err, ES_INTERNAL, "%s: the tree and the text do not match", doc->name);
    qsort(doc->places, doc->marks.count, sizeof *doc->places, by_item);
    return ES_OK;
}

static const struct es_json_mark *mark_of(const struct es_document *doc, const cJSON *item)
{
    struct place key = {.item = item};
    const struct place *hit =
        item == NULL ? NULL : bsearch(&key, doc->places, doc->marks.count, sizeof key, by_item);

    return hit == NULL ? NULL : &doc->marks.items[hit->mark];
}

/* ---- Names that stand twice ---- */

struct named {
    const cJSON *member;
    size_t order;
};

static int by_name(const void *a, const void *b)
{
    const struct named *x = a, *y = b;
    int names = strcmp(x->member->string, y->member->string);

    return names != 0 ? names : x->order < y->order ? -1 : x->order > y->order;
}

static void duplicate_fault(const struct es_document *doc, const cJSON *first, const cJSON *again,
                            struct es_findings *findings)
{
    unsigned line = 0, column = 0, first_line = 0, first_column = 0;
    struct es_text found = {0}, expected = {0};

    es_document_name_at(doc, again, &line, &column);
    es_document_name_at(doc, first, &first_line, &first_column);
    es_text_printf(&found, "the name \"%.80s\" a second time", again->string);
    es_text_printf(&expected, "every name once in an object (first at %u:%u)", first_line, first_column);
    es_findings_add(findings, doc->name, line, column, found.bytes, expected.bytes,
                    "Remove or rename one of the two.");
    es_text_free(&found);
    es_text_free(&expected);
}

static enum es_status duplicates_in(const struct es_document *doc, const cJSON *object,
                                    struct es_findings *findings, bool *any, struct es_error *err)
{
    size_t count = 0;

    for (const cJSON *m = object->child; m != NULL; m = m->next)
        count++;
    if (count < 2)
        return ES_OK;
    struct named *members = malloc(count * sizeof *members);
    if (members == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", doc->name);
    count = 0;
    for (const cJSON *m = object->child; m != NULL; m = m->next, count++)
        members[count] = (struct named){.member = m, .order = count};
    qsort(members, count, sizeof *members, by_name);
    for (size_t i = 1; i < count; i++) {
        if (strcmp(members[i].member->string, members[i - 1].member->string) != 0)
            continue;
        duplicate_fault(doc, members[i - 1].member, members[i].member, findings);
        *any = true;
    }
    free(members);
    return ES_OK;
}

static enum es_status duplicates_below(const struct es_document *doc, const cJSON *item,
                                       struct es_findings *findings, bool *any, struct es_error *err)
{
    enum es_status status = ES_OK;

    if (cJSON_IsObject(item))
        status = duplicates_in(doc, item, findings, any, err);
    for (const cJSON *child = item->child; child != NULL && status == ES_OK; child = child->next)
        if (child->child != NULL)
            status = duplicates_below(doc, child, findings, any, err);
    return status;
}

/* ---- Reading ---- */

static enum es_status read_tree(struct es_document *doc, struct es_findings *findings, struct es_error *err)
{
    enum es_status status = es_json_scan(doc->name, doc->text, doc->length, findings, &doc->marks, err);
    if (status != ES_OK)
        return status;

    /* What the scanner lets through cJSON takes too; only memory can be missing. (Its global "last error" is
     * written by several threads at once, and never read.) */
    doc->root = cJSON_ParseWithLengthOpts(doc->text, doc->length + 1, NULL, true);
    if (doc->root == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", doc->name);
    status = tie_all(doc, err);
    if (status != ES_OK)
        return status;

    bool any = false;
    status = duplicates_below(doc, doc->root, findings, &any, err);
    if (status == ES_OK && any)
        status = es_findings_status(findings, err);
    return status;
}

/* Takes over `text` in every case. */
static enum es_status parse_owned(const char *name, char *text, size_t length, struct es_findings *findings,
                                  struct es_document **out, struct es_error *err)
{
    enum es_status status;
    struct es_document *doc = calloc(1, sizeof *doc);

    if (doc == NULL) {
        free(text);
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", name);
    }
    doc->text = text;
    doc->length = length;
    doc->name = strdup(name);
    if (doc->name == NULL) {
        status = es_fail(err, ES_NO_MEMORY, "%s: out of memory", name);
        goto free_doc;
    }
    status = read_tree(doc, findings, err);
    if (status != ES_OK)
        goto free_doc;
    *out = doc;
    return ES_OK;

free_doc:
    es_document_free(doc);
    return status;
}

enum es_status es_document_parse(const char *name, const char *text, size_t length,
                                 struct es_findings *findings, struct es_document **out, struct es_error *err)
{
    if (length > ES_DOCUMENT_MAX) {
        es_findings_add(findings, name, 0, 0, "more than 4 MiB", "a smaller document", NULL);
        return es_findings_status(findings, err);
    }
    char *copy = malloc(length + 1);
    if (copy == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", name);
    if (length > 0)
        memcpy(copy, text, length);
    copy[length] = '\0';
    return parse_owned(name, copy, length, findings, out, err);
}

enum es_status es_document_load(const char *path, struct es_findings *findings, struct es_document **out,
                                struct es_error *err)
{
    const char *name = strcmp(path, "-") == 0 ? "standard input" : path;
    char *text = NULL;
    size_t length = 0;
    enum es_status status = es_file_read(NULL, path, ES_DOCUMENT_MAX, &text, &length, err);

    if (status == ES_RANGE) {
        es_findings_add(findings, name, 0, 0, "more than 4 MiB", "a smaller document", NULL);
        return es_findings_status(findings, err);
    }
    if (status != ES_OK)
        return status;
    return parse_owned(name, text, length, findings, out, err);
}

/* ---- Looking ---- */

const cJSON *es_document_root(const struct es_document *doc)
{
    return doc->root;
}

const char *es_document_name(const struct es_document *doc)
{
    return doc->name;
}

const char *es_document_text(const struct es_document *doc, size_t *length)
{
    if (length != NULL)
        *length = doc->length;
    return doc->text;
}

void es_document_digest(const struct es_document *doc, char out[static 65])
{
    es_digest_hex(doc->text, doc->length, out);
}

void es_document_at(const struct es_document *doc, const cJSON *item, unsigned *line, unsigned *column)
{
    const struct es_json_mark *mark = mark_of(doc, item);

    *line = mark != NULL ? mark->line : 0;
    *column = mark != NULL ? mark->column : 0;
}

void es_document_name_at(const struct es_document *doc, const cJSON *member, unsigned *line, unsigned *column)
{
    const struct es_json_mark *mark = mark_of(doc, member);

    *line = mark != NULL ? mark->name_line : 0;
    *column = mark != NULL ? mark->name_column : 0;
}

#define LONGEST_SHOWN 48

/* The value as it stands in the file, shortened; containers by their kind. */
static void show(const struct es_document *doc, const cJSON *item, struct es_text *t)
{
    const struct es_json_mark *mark = mark_of(doc, item);

    if (cJSON_IsObject(item)) {
        es_text_add(t, "an object");
    } else if (cJSON_IsArray(item)) {
        es_text_printf(t, "a list of %d", cJSON_GetArraySize(item));
    } else if (mark != NULL) {
        size_t n = mark->end - mark->begin;
        size_t keep = n;
        if (n > LONGEST_SHOWN) {
            keep = LONGEST_SHOWN;
            while (keep > 0 && ((unsigned char)doc->text[mark->begin + keep] & 0xC0u) == 0x80u)
                keep--;
        }
        es_text_append(t, doc->text + mark->begin, keep);
        if (keep < n)
            es_text_add(t, "...");
    } else {
        es_text_add(t, "nothing");
    }
}

static void add_fault(const struct es_document *doc, const cJSON *item, struct es_findings *findings,
                      const char *found, const char *advice, const char *format, va_list args)
    ES_PRINTF(6, 0);
static void add_fault(const struct es_document *doc, const cJSON *item, struct es_findings *findings,
                      const char *found, const char *advice, const char *format, va_list args)
{
    unsigned line = 0, column = 0;
    struct es_text shown = {0}, expected = {0};

    es_document_at(doc, item, &line, &column);
    if (found == NULL)
        show(doc, item, &shown);
    es_text_vprintf(&expected, format, args);
    if (shown.out_of_memory || expected.out_of_memory)
        findings->out_of_memory = true;
    es_findings_add(findings, doc->name, line, column, found != NULL ? found : shown.bytes, expected.bytes,
                    advice);
    es_text_free(&shown);
    es_text_free(&expected);
}

void es_document_fault(const struct es_document *doc, const cJSON *item, struct es_findings *findings,
                       const char *found, const char *expected_format, ...)
{
    va_list args;

    va_start(args, expected_format);
    add_fault(doc, item, findings, found, NULL, expected_format, args);
    va_end(args);
}

void es_document_fault_advice(const struct es_document *doc, const cJSON *item, struct es_findings *findings,
                              const char *found, const char *advice, const char *expected_format, ...)
{
    va_list args;

    va_start(args, expected_format);
    add_fault(doc, item, findings, found, advice, expected_format, args);
    va_end(args);
}

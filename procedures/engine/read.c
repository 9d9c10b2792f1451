/* Small helpers that the readers of a procedure's parts share. */
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/read.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/base/nearest.h"

const char *const es_when_words[] = {
    "always",       "single-acting",    "double-acting",     "linear",          "part-turn", "complete unit",
    "relay module", "self-proof block", "position feedback", "shutdown module", NULL};

const char *es_when_word(enum es_when when)
{
    return when == ES_WHEN_ALWAYS ? "" : es_when_words[when];
}

const char *es_when_phrase(enum es_when when)
{
    static const char *const phrases[ES_WHEN_COUNT] = {
        [ES_WHEN_ALWAYS] = "",
        [ES_WHEN_SINGLE] = "that are single-acting",
        [ES_WHEN_DOUBLE] = "that are double-acting",
        [ES_WHEN_LINEAR] = "that are linear",
        [ES_WHEN_PART_TURN] = "that are part-turn",
        [ES_WHEN_COMPLETE] = "that are complete",
        [ES_WHEN_MODULE] = "that are spare relay modules",
        [ES_WHEN_BLOCK] = "replaced by a self-proof block",
        [ES_WHEN_FEEDBACK] = "with position feedback",
        [ES_WHEN_SHUTDOWN] = "with a shutdown module",
    };

    return phrases[when];
}

bool es_when_applies(enum es_when when, const struct es_type *type)
{
    if (type == NULL)
        return true;
    switch (when) {
    case ES_WHEN_SINGLE:
        return type->action == ES_SINGLE_ACTING;
    case ES_WHEN_DOUBLE:
        return type->action == ES_DOUBLE_ACTING;
    case ES_WHEN_LINEAR:
        return type->motion == ES_LINEAR && type->kind == ES_COMPLETE_UNIT;
    case ES_WHEN_PART_TURN:
        return type->motion == ES_PART_TURN && type->kind == ES_COMPLETE_UNIT;
    case ES_WHEN_COMPLETE:
        return type->kind == ES_COMPLETE_UNIT;
    case ES_WHEN_MODULE:
        return type->kind == ES_RELAY_MODULE;
    case ES_WHEN_BLOCK:
        return type->kind == ES_PROOF_BLOCK;
    case ES_WHEN_FEEDBACK:
        return type->fitted[ES_FITTED_FEEDBACK];
    case ES_WHEN_SHUTDOWN:
        return type->fitted[ES_FITTED_SHUTDOWN];
    default:
        return true;
    }
}

struct es_place es_read_place(const struct es_reader *r, const cJSON *item)
{
    struct es_place place = {0, 0};

    if (item != NULL)
        es_document_at(r->doc, item, &place.line, &place.column);
    return place;
}

char *es_read_copy(struct es_reader *r, const char *text)
{
    char *copy = strdup(text);

    if (copy == NULL)
        r->out_of_memory = true;
    return copy;
}

void *es_read_array(struct es_reader *r, size_t count, size_t size)
{
    if (count == 0)
        return NULL;
    void *array = calloc(count, size);
    if (array == NULL)
        r->out_of_memory = true;
    return array;
}

void *es_read_each(struct es_reader *r, const cJSON *array, size_t size,
                   void (*read_one)(struct es_reader *r, const cJSON *item, void *out), size_t *count)
{
    const cJSON *item;
    const int n = cJSON_GetArraySize(array);

    if (n <= 0)
        return NULL;
    char *list = es_read_array(r, (size_t)n, size);
    if (list == NULL)
        return NULL;
    for (item = es_first(array); item != NULL; item = item->next)
        read_one(r, item, list + size * (*count)++);
    return list;
}

enum es_role es_read_role(struct es_reader *r, const cJSON *item)
{
    if (item == NULL)
        return ES_ROLE_NONE;
    if (!cJSON_IsString(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "the name of a role, such as \"supply pressure\"");
        return ES_ROLE_NONE;
    }
    const enum es_role role = es_role_find(item->valuestring);
    if (role != ES_ROLE_NONE)
        return role;
    struct es_nearest n = {.word = item->valuestring};
    for (int i = 0; i < ES_ROLE_COUNT; i++)
        es_nearest_offer(&n, es_role_info((enum es_role)i)->name);
    if (n.best != NULL)
        es_document_fault(r->doc, item, r->findings, NULL, "the name of a role; is \"%s\" meant?", n.best);
    else
        es_document_fault(r->doc, item, r->findings, NULL,
                          "the name of a role, such as \"supply pressure\"; docs/bench-file.md lists them");
    return ES_ROLE_NONE;
}

void es_read_roles(struct es_reader *r, const cJSON *array, enum es_role **out, size_t *count)
{
    const cJSON *item;
    const int size = cJSON_GetArraySize(array);

    if (size <= 0)
        return;
    *out = es_read_array(r, (size_t)size, sizeof **out);
    if (*out == NULL)
        return;
    for (item = es_first(array); item != NULL; item = item->next) {
        const enum es_role role = es_read_role(r, item);
        bool twice = false;
        for (size_t i = 0; i < *count; i++)
            twice = twice || (*out)[i] == role;
        if (role != ES_ROLE_NONE && twice)
            es_document_fault(r->doc, item, r->findings, NULL, "each role once");
        else if (role != ES_ROLE_NONE)
            (*out)[(*count)++] = role;
    }
}

void es_read_texts(struct es_reader *r, const cJSON *array, char ***out, size_t *count)
{
    const cJSON *item;
    const int size = cJSON_GetArraySize(array);

    if (size <= 0)
        return;
    *out = es_read_array(r, (size_t)size + 1, sizeof **out);
    if (*out == NULL)
        return;
    size_t n = 0;
    for (item = es_first(array); item != NULL; item = item->next) {
        if (!cJSON_IsString(item) || item->valuestring[0] == '\0') {
            es_document_fault(r->doc, item, r->findings, NULL, "a text");
            continue;
        }
        (*out)[n] = es_read_copy(r, item->valuestring);
        if ((*out)[n] == NULL)
            break;
        n++;
    }
    if (count != NULL)
        *count = n;
}

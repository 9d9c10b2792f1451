/* Any bytes as a document: the strict scanner decides, cJSON must agree, every value has a place inside the
 * text, and reading by rows survives whatever was accepted. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct target {
    char *text;
    double pressure;
    long whole;
    const cJSON *list;
};

static const struct es_field rows[] = {
    {.name = "text", .kind = ES_FIELD_TEXT, .offset = offsetof(struct target, text), .fallback = "none"},
    {.name = "pressure",
     .kind = ES_FIELD_QUANTITY,
     .offset = offsetof(struct target, pressure),
     .dimension = ES_DIM_PRESSURE,
     .max = 1e6},
    {.name = "whole", .kind = ES_FIELD_INTEGER, .offset = offsetof(struct target, whole), .max = 10},
    {.name = "list", .kind = ES_FIELD_ARRAY, .offset = offsetof(struct target, list)},
};

static void demand(int holds, const char *what)
{
    if (holds)
        return;
    (void)fprintf(stderr, "does not hold: %s\n", what);
    abort();
}

static void walk(const struct es_document *doc, const cJSON *item)
{
    unsigned line = 0, column = 0;

    es_document_at(doc, item, &line, &column);
    demand(line > 0 && column > 0, "every value has a place");
    es_document_name_at(doc, item, &line, &column);
    demand((line > 0) == (item->string != NULL), "members, and only they, have a name's place");
    for (const cJSON *child = item->child; child != NULL; child = child->next)
        walk(doc, child);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct target t = {0};
    enum es_status status = es_document_parse("fuzz", (const char *)data, size, &findings, &doc, NULL);

    demand(status == ES_OK || status == ES_BAD_INPUT, "cJSON takes what the scanner takes");
    demand((status == ES_OK) == (findings.count == 0), "a refusal gives a finding");
    demand((status == ES_OK) == (doc != NULL), "a document on success only");
    if (doc != NULL) {
        walk(doc, es_document_root(doc));
        bool good = es_fields_read(doc, es_document_root(doc), rows, 4, &t, &findings);
        demand(good == (findings.count == 0), "a refusal gives a finding");
    }
    es_fields_free(rows, 4, &t);
    es_document_free(doc);
    es_findings_free(&findings);
    return 0;
}

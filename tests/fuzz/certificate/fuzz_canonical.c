/* Any document has a canonical form or is refused; the form reads back, and is its own canonical form. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/span.h"
#include "rig/base/document.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

/* NULL when the text is refused. */
static char *canonical(const char *text, size_t size, size_t *length)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    char *out = NULL;
    if (es_document_parse("fuzz", text, size, &findings, &doc, NULL) == ES_OK &&
        es_canonical_write(es_document_root(doc), &out, length, NULL) != ES_OK) {
        demand(0, "what the strict reader takes has a canonical form");
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return out;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    size_t once_length = 0;
    size_t twice_length = 0;
    char *once = canonical((const char *)data, size, &once_length);
    if (once) {
        char *twice = canonical(once, once_length, &twice_length);
        demand(twice != NULL, "the canonical form reads back");
        demand(once_length == twice_length && memcmp(once, twice, once_length) == 0,
               "it is its own canonical form");
        struct es_members members;
        bool object = once[0] == '{';
        bool same = once_length == size && memcmp(once, data, size) == 0;
        demand(es_span_scan(once, once_length, &members) == object, "the scan takes the canonical form");
        demand(es_span_scan((const char *)data, size, &members) == (same && object), "and nothing else");
        free(twice);
    } else {
        struct es_members members;
        demand(!es_span_scan((const char *)data, size, &members), "the scan takes what the reader refuses");
    }
    free(once);
    /* numbers from raw bits */
    for (size_t i = 0; i + sizeof(double) <= size; i += sizeof(double)) {
        double value;
        char text[ES_CANONICAL_NUMBER_MAX];
        memcpy(&value, data + i, sizeof value);
        if (es_canonical_number(value, text)) {
            demand(strtod(text, NULL) == value, "a number reads back");
        }
    }
    return 0;
}

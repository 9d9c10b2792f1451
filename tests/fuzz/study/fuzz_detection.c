/* Any bytes as a table of detection: refused with a finding, or a table that can be ranked with, written and
 * read again. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/study/learn.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

static struct es_detection *read_bytes(const char *bytes, size_t size)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_detection *d = NULL;
    if (es_document_parse("fuzz", bytes, size, &findings, &doc, NULL) == ES_OK) {
        const enum es_status s = es_detection_from_document(doc, &findings, &d, NULL);
        demand(s == ES_OK || s == ES_BAD_INPUT, "read or refused");
        demand((s == ES_OK) == (findings.count == 0), "a refusal gives a finding");
        demand((s == ES_OK) == (d != NULL), "a table on success only");
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return d;
}

static void rank(const struct es_detection *d, const struct es_detection_plan *plan)
{
    for (size_t i = 0; i < plan->type_count; i++) {
        struct es_seen seen[3];
        struct es_causes causes;
        struct es_remaining remaining;
        const struct es_detection_type *type = &plan->types[i];
        size_t count = type->line_count < 3 ? type->line_count : 3;
        for (size_t k = 0; k < count; k++) {
            const struct es_detection_line *line = &type->lines[k];
            seen[k] = (struct es_seen){line->procedure,
                                       line->measurand,
                                       k == 1 ? ES_NOT_TESTED : ES_FAIL,
                                       k != 1,
                                       line->middle + 5 * line->scatter,
                                       "not settled: 3 %"};
        }
        if (es_causes_rank(d, plan->name, type->name, seen, count, NULL, &causes, NULL) == ES_OK) {
            double sum = causes.no_fault + causes.by_place[0] + causes.by_place[1] + causes.by_place[2];
            demand(fabs(sum - 1) < 1e-6, "probabilities add up");
            for (size_t k = 1; k < causes.count; k++) {
                demand(causes.items[k].probability <= causes.items[k - 1].probability, "most likely first");
            }
        }
        if (es_causes_remaining(d, plan->name, type->name, NULL, &remaining, NULL) == ES_OK) {
            demand(remaining.probability >= 0 && remaining.probability <= 1, "a probability remains");
            demand(remaining.upper >= remaining.probability - 1e-12, "the upper end is above");
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_text text = {0};
    struct es_detection *d = read_bytes((const char *)data, size);
    if (d) {
        for (size_t i = 0; i < d->plan_count; i++) {
            rank(d, &d->plans[i]);
        }
        demand(es_detection_write(d, &text, NULL) == ES_OK, "it can be written");
        struct es_detection *again = read_bytes(text.bytes, text.length);
        demand(again != NULL, "what was written can be read");
        es_detection_free(again);
    }
    es_text_free(&text);
    es_detection_free(d);
    return 0;
}

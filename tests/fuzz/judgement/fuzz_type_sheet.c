/* Any bytes as a type sheet: refused with a finding, or a sheet whose limits can be judged with. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

static void judge_all(const struct es_type *type)
{
    for (size_t i = 0; i < type->limit_count; i++) {
        const struct es_limit *l = &type->limits[i];
        demand(l->name && l->unit && l->source, "a limit is whole");
        demand(l->lower <= l->upper && (isfinite(l->lower) || isfinite(l->upper)), "a limit has a side");
        demand(es_type_limit(type, l->name) == l, "names are unique");
        double at = isfinite(l->lower) ? l->lower : l->upper;
        struct es_measured m = {.dimension = l->unit->dimension,
                                .valid = true,
                                .value = at,
                                .u = 1,
                                .dof = 5,
                                .k = 2.57,
                                .U = 2.57};
        struct es_line line;
        demand(es_judge_line("p", "m", &m, l, &line, NULL) == ES_OK, "it can be judged with");
        demand((line.reason != NULL) == (line.verdict != ES_PASS), "what did not pass has a reason");
        es_line_clear(&line);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_type *type = NULL;
    if (es_document_parse("fuzz", (const char *)data, size, &findings, &doc, NULL) == ES_OK) {
        enum es_status st = es_type_from_document(doc, &findings, &type, NULL);
        demand(st == ES_OK || st == ES_BAD_INPUT, "read or refused");
        demand((st == ES_OK) == (findings.count == 0), "a refusal gives a finding");
        demand((st == ES_OK) == (type != NULL), "a sheet on success only");
    }
    if (type) {
        judge_all(type);
    }
    es_type_free(type);
    es_document_free(doc);
    es_findings_free(&findings);
    return 0;
}

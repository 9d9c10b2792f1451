/* Any bytes as a procedure or plan document: reading either refuses with a placed finding or gives a
 * procedure that can be proved and explained without falling over. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/engine/check.h"
#include "procedures/engine/explain.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (holds)
        return;
    (void)fprintf(stderr, "does not hold: %s\n", what);
    abort();
}

static void prove_and_explain(const struct es_procedure *p)
{
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;
    FILE *nowhere = fopen("/dev/null", "w");

    const enum es_status s = es_procedure_check(p, NULL, NULL, &f, &report, &err);
    demand(s == ES_OK || s == ES_BAD_INPUT, "a proof ends as proved or refused");
    demand((s == ES_OK) == (f.count == 0), "a refusal has findings");
    demand(report.bench_time >= 0 && report.bench_time < 1e30, "a duration is finite");
    if (nowhere != NULL) {
        es_check_print(&report, 60, nowhere);
        demand(es_explain_procedure(p, NULL, nowhere, &err) == ES_OK, "explained");
        (void)fclose(nowhere);
    }
    es_check_report_free(&report);
    es_findings_free(&f);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_findings f = {0};
    struct es_error err;
    struct es_document *doc = NULL;
    struct es_procedure *p = NULL;

    if (es_document_parse("fuzz", (const char *)data, size, &f, &doc, &err) == ES_OK) {
        const enum es_status s = es_procedure_from_document(doc, &f, &p, &err);
        demand((s == ES_OK) == (f.count == 0), "read, or refused with findings");
        if (s == ES_OK)
            prove_and_explain(p);
    }
    es_procedure_free(p);
    es_document_free(doc);
    es_findings_free(&f);
    return 0;
}

/* Any content as a page: whatever stands in a certificate, drawing ends, with a PDF or with a clear refusal.
 * The signature is taken as sound: a hostile issuer can sign anything. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/page/page.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
const char *__lsan_default_suppressions(void);

/* Pango has fontconfig read the system's own configuration once a process, which keeps a little of it for
 * good. */
const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig\n";
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_findings findings = {0};
    struct es_document *document = NULL;
    struct es_certificate_report report = {.finding = ES_CERTIFICATE_UNKNOWN_KEY, .signature_count = 1};
    struct es_error err;
    char *bytes = NULL;
    size_t length = 0;
    if (es_document_parse("fuzz", (const char *)data, size, &findings, &document, &err) == ES_OK) {
        (void)snprintf(report.signatures[0].role, sizeof report.signatures[0].role, "bench");
        enum es_status s = es_page_draw(&report, es_document_root(document), ES_CANVAS_PDF, ES_PAPER_A4,
                                        &bytes, &length, &err);
        bool whole = s == ES_OK && length > 5 && memcmp(bytes, "%PDF-", 5) == 0;
        if (!whole && s != ES_BAD_INPUT && s != ES_RANGE && s != ES_NO_MEMORY) {
            (void)fprintf(stderr, "neither a page nor a refusal: %d %s\n", (int)s, err.text);
            abort();
        }
    }
    free(bytes);
    es_document_free(document);
    es_findings_free(&findings);
    return 0;
}

/* The printed page: a certificate as a person reads and files it, drawn from the certificate alone. One page
 * or two as a rule. What stands on it, and the text of its code: docs/printed-page.md. Pure but for the
 * system's font files; no clock: the same certificate, checked against the same keys, gives the same bytes.
 * One thread a call. */
#ifndef ES_PAGE_PAGE_H
#define ES_PAGE_PAGE_H

#include <cjson/cJSON.h>

#include "results/certificate/certificate.h"
#include "results/page/canvas.h"

enum es_page_paper { ES_PAPER_A4, ES_PAPER_LETTER };

/* `report`: what es_certificate_verify found; `root`: the same bytes as es_document_parse read them. Drawn is
 * what is valid; what is sound but signed by a key that is not among those trusted, and the page says that
 * the signer was not checked; and what was taken out of force, and every page says so. All else is
 * ES_NOT_VALID, with the report's text: an altered certificate gets no page. ES_RANGE: more than fits 60
 * pages. *bytes: freed by the caller. */
enum es_status es_page_draw(const struct es_certificate_report *report, const cJSON *root,
                            enum es_canvas_format format, enum es_page_paper paper, char **bytes,
                            size_t *length, struct es_error *err) ES_MUST_CHECK;

#endif

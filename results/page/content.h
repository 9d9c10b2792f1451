/* What the page adds to a certificate's content (results/certificate/content.h): verdicts as such, counts,
 * the digest of what was signed, units as they are printed. Internal to results/page. */
#ifndef ES_PAGE_CONTENT_H
#define ES_PAGE_CONTENT_H

#include "results/certificate/certificate.h"
#include "results/certificate/content.h"
#include "rig/base/text.h"

enum es_page_verdict {
    ES_PAGE_NO_VERDICT, /* a record's, or a word that is none of the format's */
    ES_PAGE_PASS,
    ES_PAGE_CONDITIONAL_PASS,
    ES_PAGE_CONDITIONAL_FAIL,
    ES_PAGE_FAIL,
    ES_PAGE_NOT_TESTED
};

struct es_page_content {
    const cJSON *root; /* for members that only some certificates have */
    const struct es_certificate_report *report;
    struct es_content c; /* owned */
    enum es_page_verdict verdict;
    size_t counts[ES_PAGE_NOT_TESTED + 1]; /* of the lines that decide, by verdict */
    size_t informing;                      /* lines that only inform */
    size_t by_trials;                      /* lines whose interval Monte Carlo found */
    double k;                              /* the coverage factor of most lines; NAN: there is none */
    bool k_differs;                        /* some lines have another */
    const struct es_certificate_signature *released_by, *void_by; /* the latest of each; NULL: nobody */
    char digest[65]; /* SHA-256 of the signed content, the payload */
};

enum es_status es_page_content_read(const struct es_certificate_report *report, const cJSON *root,
                                    struct es_page_content *out, struct es_error *err) ES_MUST_CHECK;
void es_page_content_clear(struct es_page_content *content);

enum es_page_verdict es_page_verdict_of(const char *word);

/* A line that passed, but with a probability of a tenth of a percent or more that it should not have. */
bool es_page_close(const struct es_content_line *line);

/* "2026-02-03 10:11:12 UTC" from RFC 3339; what is not of that form stays as it is. */
void es_page_time(const char *time, char *out, size_t size);

/* A unit as it is printed: "°C" for "degC", "°" for "deg", "" for pure numbers. */
const char *es_page_unit(const char *unit);

/* What a text holds, "" when nothing. */
const char *es_page_words(const struct es_text *text);

#endif

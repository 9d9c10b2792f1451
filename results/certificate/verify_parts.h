/* What checking shares between its files. Internal to results/certificate. */
#ifndef ES_CERTIFICATE_VERIFY_PARTS_H
#define ES_CERTIFICATE_VERIFY_PARTS_H

#include "results/certificate/certificate.h"
#include "results/certificate/span.h"

struct es_check {
    const struct es_trusted_key *trusted;
    size_t trusted_count;
    struct es_members root;
    const char *payload;
    size_t payload_length;
    struct es_certificate_report *report;
};

/* Sets the finding; false so that a check can `return es_found(...)`. */
bool es_found(struct es_certificate_report *r, enum es_certificate_finding finding, const char *format, ...)
    ES_PRINTF(3, 4);

/* Reads and checks every signature over the payload, in order; fills report->signatures. *good false: the
 * finding is set. Other than ES_OK: memory. */
enum es_status es_check_signatures(struct es_check *c, bool *good, struct es_error *err) ES_MUST_CHECK;

/* The last steps, when everything holds: is it the issuer's, is that key trusted, for this and then; the
 * finding. */
void es_check_trust(struct es_check *c);

#endif

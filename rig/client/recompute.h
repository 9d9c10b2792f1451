/* Derives a certificate's measured values again from its recordings and inputs, and compares. */
#ifndef ES_CLIENT_RECOMPUTE_H
#define ES_CLIENT_RECOMPUTE_H

#include "results/certificate/content.h"
#include "rig/base/text.h"

/* A value counts as the same within this share of its expanded uncertainty: compilers and libraries of
 * another machine may round the last digits of a double differently; nothing that is measured is. */
#define ES_RECOMPUTE_BOUND 1e-3

struct es_recomputed {
    size_t values;    /* lines with a value in the certificate */
    size_t identical; /* to the last digit that the certificate has */
    size_t within;    /* not identical, but within the bound */
    double worst;     /* largest departure, as a share of U */
    size_t faults;
    struct es_text text; /* one sentence a fault, each ended by a line feed; to be freed */
};

/* `folder`: where DIGEST.recording.gz and DIGEST.json lie. Faults of single lines and recordings are counted
 * and told; other than ES_OK: nothing could be derived, and why (ES_NOT_FOUND, ES_NOT_VALID, ES_BAD_INPUT).
 */
enum es_status es_recompute(const struct es_content *content, const char *folder, struct es_recomputed *out,
                            struct es_error *err) ES_MUST_CHECK;

#endif

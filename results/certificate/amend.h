/* Amending a certificate after it was issued (ISO/IEC 17025:2017 7.8.8): a new one with a number of its own
 * that names the one it replaces, why, and each change, before and after. Only what people supplied about the
 * unit's visit can be changed. Which unit was tested, how, with what result and on which bench cannot: that
 * takes a new run. No I/O, no clock; thread-safe. */
#ifndef ES_CERTIFICATE_AMEND_H
#define ES_CERTIFICATE_AMEND_H

#include "results/certificate/certificate.h"

enum es_amend {
    ES_AMEND_CUSTOMER,
    ES_AMEND_CONTACT,
    ES_AMEND_REFERENCE,
    ES_AMEND_TAG,
    ES_AMEND_LOT,
    ES_AMEND_SUPPLIER,
    ES_AMEND_REASON,
    ES_AMEND_PARTS,
    ES_AMEND_RECEIVED,
    ES_AMEND_CONDITION,
    ES_AMEND_COUNT
};

#define ES_AMEND_TEXT_MAX 800 /* bytes */

/* "customer", "date of receipt", ...; never NULL. */
const char *es_amend_word(enum es_amend what);
/* ES_USAGE with all words when there is none like it. */
enum es_status es_amend_find(const char *word, enum es_amend *out, struct es_error *err) ES_MUST_CHECK;

/* Borrowed texts. */
struct es_amendment {
    const char *number, *issued, *software_version, *issuer_thumbprint; /* of the new one, as in the meta */
    bool clock_synchronised;
    const char *because, *person;      /* why, and who asked for it; required */
    const char *texts[ES_AMEND_COUNT]; /* NULL: stays as it is */
};

/* The new payload (*out, NUL after them) from a certificate's bytes, which the caller has verified.
 * ES_REFUSED: it is the record of a run that was not completed. ES_USAGE: nothing would change, a text is
 * empty, too long or no date where one belongs. ES_BAD_INPUT: not a certificate. */
enum es_status es_certificate_amend(const char *bytes, size_t length, const struct es_amendment *a,
                                    char **out, size_t *out_length, struct es_error *err) ES_MUST_CHECK;

#endif

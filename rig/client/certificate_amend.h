/* "endstop certificate amend": asks the daemon to issue a certificate anew with what people supplied about
 * the visit corrected (ISO/IEC 17025:2017 7.8.8; results/certificate/amend.h). */
#ifndef ES_CLIENT_CERTIFICATE_AMEND_H
#define ES_CLIENT_CERTIFICATE_AMEND_H

#include <stdio.h>

#include "rig/base/error.h"

struct es_amend_order {
    const char *socket;      /* the daemon's; NULL as for es_talk_open */
    const char *number;      /* NULL: ES_USAGE */
    const char *because;     /* NULL: ES_USAGE */
    const char *person;      /* who asks for it; NULL: the system user */
    const char *const *sets; /* "customer=Example Quarry" */
    size_t set_count;
};

/* On ES_OK the new certificate is durable and signed by the bench, and `to` says its number. */
enum es_status es_certificate_ask_amend(const struct es_amend_order *order, FILE *to,
                                        struct es_error *err) ES_MUST_CHECK;

#endif

/* Certificates with further signatures. NUMBER.json stays as issued; the file with K >= 2 signatures is
 * certificates/signed/NUMBER.K.json, new each time and never replaced. */
#ifndef ES_STORE_SIGNED_H
#define ES_STORE_SIGNED_H

#include "results/store/store.h"

/* The bytes with the most signatures, as handed out; *signatures (NULL allowed) is how many. Errors as
 * es_store_certificate. */
enum es_status es_store_latest(struct es_store *store, const char *number, char **bytes, size_t *length,
                               size_t *signatures, struct es_error *err) ES_MUST_CHECK;

/* Adds a signature to the latest, durably; gives the new file's bytes (to be freed). Needs no lock of the
 * store: of two at the same time one is ES_REFUSED. Checks nothing but what es_certificate_sign_as checks:
 * verify first. */
enum es_status es_store_sign(struct es_store *store, const char *number, const struct es_key *key,
                             const struct es_signing *signing, char **bytes, size_t *length,
                             struct es_error *err) ES_MUST_CHECK;

#endif

/* Certificates with further signatures. NUMBER.json stays as issued; the file with K >= 2 signatures is
 * certificates/signed/NUMBER.K.json, new each time and never replaced. Each is a leaf of the log, and its
 * proof lies beside it (es_store_seal_path). */
#ifndef ES_STORE_SIGNED_H
#define ES_STORE_SIGNED_H

#include "results/store/store.h"
#include "rig/base/text.h"

/* The file with exactly `signatures` signatures; 1: as issued. Errors as es_store_certificate. */
enum es_status es_store_version(struct es_store *store, const char *number, size_t signatures, char **bytes,
                                size_t *length, struct es_error *err) ES_MUST_CHECK;

/* The bytes with the most signatures, as handed out; *signatures (NULL allowed) is how many. Errors as
 * es_store_certificate. */
enum es_status es_store_latest(struct es_store *store, const char *number, char **bytes, size_t *length,
                               size_t *signatures, struct es_error *err) ES_MUST_CHECK;

/* Adds a signature to the latest, durably; gives the new file's bytes (to be freed) and how many signatures
 * it has (NULL allowed). Needs no lock of the store: of two at the same time one is ES_REFUSED. Checks
 * nothing but what es_certificate_sign_as checks: verify first. It is not in the log yet: es_store_seal. */
enum es_status es_store_sign(struct es_store *store, const char *number, const struct es_key *key,
                             const struct es_signing *signing, char **bytes, size_t *length,
                             size_t *signatures, struct es_error *err) ES_MUST_CHECK;

/* Further files, in order of number and count of signatures; free with es_store_signed_free. Files in the
 * folder that are none are named in *strange, one a line (NULL allowed). */
struct es_store_signed {
    char number[ES_STORE_NUMBER_MAX];
    size_t signatures;
};
enum es_status es_store_signed_list(const struct es_store *store, struct es_store_signed **out, size_t *count,
                                    struct es_text *strange, struct es_error *err) ES_MUST_CHECK;

#endif

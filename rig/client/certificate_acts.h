/* The acts of "endstop certificate" on a state folder: release, void, export, recordings. */
#ifndef ES_CLIENT_CERTIFICATE_ACTS_H
#define ES_CLIENT_CERTIFICATE_ACTS_H

#include "results/store/store.h"

struct es_certificate_act {
    const char *number;
    const char *state, *key, *passphrase_file, *name, *reason; /* release, void */
    const char *socket, *bench_passphrase_file;                /* release, void: how it is sealed */
    const char *to;                                            /* export: folder */
    const char *recording;                                     /* recordings: which one; NULL: list them */
};

/* Adds the releaser's signature (is_void: the one that takes it out of force) after checking the certificate
 * against the bench's keys, and the key against the book, and enters it in the log before it is told.
 * ES_REFUSED says what forbids it. */
enum es_status es_certificate_countersign(const struct es_certificate_act *a, bool is_void,
                                          struct es_error *err) ES_MUST_CHECK;

/* Copies the certificate as issued and as last signed, its recordings and inputs, and the list of keys: all
 * that "endstop verify --recompute" takes on another machine. */
enum es_status es_certificate_export(const struct es_certificate_act *a, struct es_error *err) ES_MUST_CHECK;

/* Lists the recordings, or writes one as CSV to standard output: a column a series with its unit; units of
 * gas flow with their reference conditions in a line above. */
enum es_status es_certificate_recordings(const struct es_certificate_act *a,
                                         struct es_error *err) ES_MUST_CHECK;

#endif

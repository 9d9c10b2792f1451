/* An invented outcome for tests. */
#ifndef ES_TESTS_CERTIFICATE_SAMPLE_H
#define ES_TESTS_CERTIFICATE_SAMPLE_H

#include "results/certificate/certificate.h"

/* A completed run with `lines` lines (the third not tested and not required), curves of `points` points. The
 * verdict follows from the lines: pass. Free with es_outcome_free. */
void sample_outcome(struct es_outcome *o, size_t lines, size_t points);

/* The key of RFC 8032 7.1 test 1: known to everybody. */
struct es_key *sample_key(void);

/* Borrowed texts; `key` NULL: no issuer. */
struct es_certificate_meta sample_meta(const struct es_key *key);

/* Built and signed as "bench"; to be freed. */
char *sample_signed(const struct es_outcome *o, const struct es_key *key, size_t *length);

/* Signs as "release", by the name "B. Example". */
enum es_status sample_release(const char *file, size_t length, const struct es_key *key, const char *when,
                              char **out, size_t *out_length, struct es_error *err);

#endif

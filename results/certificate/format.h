/* What the certificate's writer and reader share. Internal to results/certificate. */
#ifndef ES_CERTIFICATE_FORMAT_H
#define ES_CERTIFICATE_FORMAT_H

#include "results/certificate/certificate.h"
#include "results/certificate/span.h"

#define ES_CERTIFICATE_FORMAT "certificate/1"
#define ES_SIGNATURES_MEMBER  "signatures"

/* NULL when every member that the format demands is there and of its kind, else a sentence about the first
 * that is not (static or in `room`). */
const char *es_certificate_fault(const struct es_members *root, char *room, size_t size);

/* The beginning of a sentence about an object that is no certificate of this format: what it seems to be. Its
 * member "endstop", where it has one, follows. */
const char *es_certificate_strange(const struct es_members *root);

/* RFC 3339 in UTC: "2026-02-03T10:11:12Z", with or without a fraction. */
bool es_is_utc_time(const char *text);

/* The JWS's signing input over a payload: base64url(header) "." base64url(payload), allocated.
 * Nothing of it is secret, so that its time may depend on it. */
enum es_status es_signing_input(const char *header, size_t header_length, const char *payload,
                                size_t payload_length, char **out, size_t *length,
                                struct es_error *err) ES_MUST_CHECK;

#endif

/* The canonical form of JSON after RFC 8785: one sequence of bytes for one content, so that it can be signed.
 * Pure, thread-safe. The tree must come from a strict reader (rig/base/document.h), which has refused
 * duplicate names and bad UTF-8; both are refused here again. */
#ifndef ES_CERTIFICATE_CANONICAL_H
#define ES_CERTIFICATE_CANONICAL_H

#include <cjson/cJSON.h>
#include <stddef.h>

#include "rig/base/error.h"

/* Longest text of a number, with terminator. */
#define ES_CANONICAL_NUMBER_MAX 48

/* Writes `root` in canonical form into fresh memory (*out, *length bytes and a NUL after them). Fails with
 * ES_BAD_INPUT for NaN, infinities, lone surrogates, invalid UTF-8, duplicate names and nesting beyond 64. */
enum es_status es_canonical_write(const cJSON *root, char **out, size_t *length,
                                  struct es_error *err) ES_MUST_CHECK;

/* As above, leaving out the root's member `skip`. */
enum es_status es_canonical_write_without(const cJSON *root, const char *skip, char **out, size_t *length,
                                          struct es_error *err) ES_MUST_CHECK;

/* One number as ECMAScript writes it (RFC 8785 3.2.2.3: shortest digits that read back as the same double).
 * False for NaN and infinities. */
bool es_canonical_number(double value, char out[static ES_CANONICAL_NUMBER_MAX]);

#endif

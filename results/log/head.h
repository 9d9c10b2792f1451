/* The log's signed head: how many leaves it had, their root, and when. Whoever keeps one can later prove that
 * nothing before it was taken away or changed.
 *
 * As text: a JWS in compact form (RFC 7515 3.1; EdDSA after RFC 8037),
 *   base64url(header) "." base64url(payload) "." base64url(signature)
 *   header   {"alg":"EdDSA","kid":THUMBPRINT,"typ":"endstop-log-head"}
 *   payload  {"endstop":"log-head/1","log":ID,"root":HEX,"size":N,"time":RFC 3339 UTC}
 * both in canonical form (RFC 8785). Any JOSE library checks it. No I/O; thread-safe. */
#ifndef ES_LOG_HEAD_H
#define ES_LOG_HEAD_H

#include "results/certificate/certificate.h"
#include "results/log/merkle.h"

#define ES_LOG_ID_SIZE  33   /* 32 hex digits and the terminator */
#define ES_LOG_HEAD_MAX 1024 /* of the text, with terminator */

struct es_log_head {
    char log[ES_LOG_ID_SIZE]; /* the log's identity: random, made with it */
    uint64_t size;
    struct es_hash root;
    char time[32];
    char kid[ES_THUMBPRINT_SIZE]; /* who signed; filled by reading */
};

/* Signs with `key`; head->kid is not looked at. The text is allocated. */
enum es_status es_log_head_sign(const struct es_log_head *head, const struct es_key *key, char **out,
                                struct es_error *err) ES_MUST_CHECK;

/* Takes it apart without checking the signature. ES_BAD_INPUT: not exactly of the form above. */
enum es_status es_log_head_read(const char *text, size_t length, struct es_log_head *out,
                                struct es_error *err) ES_MUST_CHECK;

/* Reads and checks. ES_NOT_VALID: the signature does not hold, or its key is not trusted as a
 * bench's, or was not in force at the head's time. ES_BAD_INPUT as above. */
enum es_status es_log_head_check(const char *text, size_t length, const struct es_trusted_key *trusted,
                                 size_t trusted_count, struct es_log_head *out,
                                 struct es_error *err) ES_MUST_CHECK;

#endif

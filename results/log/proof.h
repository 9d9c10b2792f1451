/* Proofs for somebody who has neither the archive nor this program: JSON documents in canonical form (RFC
 * 8785) that carry the signed head with them. Checking recipe: docs/log.md. No I/O; thread-safe.
 *
 *   {"endstop":"log-proof/1","head":JWS,"index":N,"leaf":HEX,"number":NUMBER,"path":[HEX,...]}
 *   {"endstop":"log-growth/1","from":JWS,"path":[HEX,...],"to":JWS} */
#ifndef ES_LOG_PROOF_H
#define ES_LOG_PROOF_H

#include "results/log/head.h"
#include "results/log/merkle.h"

struct es_log_proof { /* that a certificate stands in the log: RFC 9162 2.1.3 */
    char number[64];
    struct es_hash leaf;
    uint64_t index;
    char *head; /* signed head, owned */
    struct es_merkle_path path;
};

struct es_log_growth { /* that a log only grew: RFC 9162 2.1.4 */
    char *from, *to;   /* signed heads, owned */
    struct es_merkle_path path;
};

void es_log_proof_clear(struct es_log_proof *proof);
void es_log_growth_clear(struct es_log_growth *growth);

/* Canonical text, allocated. */
enum es_status es_log_proof_write(const struct es_log_proof *proof, char **out,
                                  struct es_error *err) ES_MUST_CHECK;
enum es_status es_log_growth_write(const struct es_log_growth *growth, char **out,
                                   struct es_error *err) ES_MUST_CHECK;

/* Strict readers; faults with their places go to `findings`. Nothing is checked but the form. */
enum es_status es_log_proof_read(const char *name, const char *text, size_t length,
                                 struct es_findings *findings, struct es_log_proof *out,
                                 struct es_error *err) ES_MUST_CHECK;
enum es_status es_log_growth_read(const char *name, const char *text, size_t length,
                                  struct es_findings *findings, struct es_log_growth *out,
                                  struct es_error *err) ES_MUST_CHECK;

/* Does the proof hold for these bytes (a certificate's file: es_certificate_leaf) under a head signed by a
 * trusted key? *head: what the head says. ES_NOT_VALID with the reason. */
enum es_status es_log_proof_check(const struct es_log_proof *proof, const void *leaf, size_t length,
                                  const struct es_trusted_key *trusted, size_t trusted_count,
                                  struct es_log_head *head, struct es_error *err) ES_MUST_CHECK;
/* Does the later head's log begin with all of the earlier one's? */
enum es_status es_log_growth_check(const struct es_log_growth *growth, const struct es_trusted_key *trusted,
                                   size_t trusted_count, struct es_log_head *from, struct es_log_head *to,
                                   struct es_error *err) ES_MUST_CHECK;

#endif

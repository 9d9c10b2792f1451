/* The append-only log of a bench's certificates (RFC 9162 hashing): one text file that only grows.
 *
 *   endstop-log/1 ID                     once: the log's identity, 32 hex digits
 *   leaf INDEX HASH NUMBER ISSUED        a certificate: leaf hash (hex), its number, its time of issue
 *   head JWS                             the signed head (head.h) of all leaves above it
 *
 * Each leaf is followed by its head; both are written by one call and made durable by one sync. Whatever
 * stands after the last whole head is an append that was never finished: readers leave it out, the writer
 * cuts it off. A fault before that is damage, and nothing is appended to a damaged log.
 * A log belongs to one thread at a time. */
#ifndef ES_LOG_LOG_H
#define ES_LOG_LOG_H

#include "results/log/head.h"
#include "results/log/proof.h"
#include "rig/base/file.h"
#include "rig/base/text.h"

struct es_log;

struct es_log_leaf {
    struct es_hash hash;
    char *number;
    char *issued;   /* as it stands in the certificate */
    size_t version; /* 1: as issued; 2: with the first further signature; ... */
};

/* Opens for appending; makes the file (0640) when it is missing. `ops` NULL: the system. ES_NOT_VALID: it is
 * damaged; the text says where. The caller holds a lock that keeps other writers out. */
enum es_status es_log_open(const struct es_file_ops *ops, const char *path, struct es_log **out,
                           struct es_error *err) ES_MUST_CHECK;

/* Opens for reading. ES_NOT_FOUND: there is none. A damaged log can be opened when `faults` is given: it
 * takes a sentence for each fault, and the log holds what stands before the first. */
enum es_status es_log_read(const struct es_file_ops *ops, const char *path, struct es_text *faults,
                           struct es_log **out, struct es_error *err) ES_MUST_CHECK;

/* The same from memory (and the fuzz target). */
enum es_status es_log_parse(const char *name, const char *text, size_t length, struct es_text *faults,
                            struct es_log **out, struct es_error *err) ES_MUST_CHECK;

void es_log_close(struct es_log *log); /* NULL allowed */

const char *es_log_id(const struct es_log *log);
uint64_t es_log_size(const struct es_log *log);
const struct es_log_leaf *es_log_leaf(const struct es_log *log, uint64_t index); /* index < size */
/* Text of the newest signed head; NULL while there is no leaf. */
const char *es_log_head(const struct es_log *log);
/* Bytes after the last whole head that reading left out; 0: none. */
size_t es_log_unfinished(const struct es_log *log);

/* Index of a certificate's newest leaf by its number; false: not logged. */
bool es_log_find(const struct es_log *log, const char *number, uint64_t *index);

/* Appends one leaf with its head, signed at `time` (RFC 3339), and makes both durable. *proof (its head
 * allocated; es_log_proof_clear) is the inclusion proof under that head. On any failure nothing may be
 * appended any more: close it and open it again, which says what is there. */
enum es_status es_log_append(struct es_log *log, const struct es_hash *hash, const char *number,
                             const char *issued, const struct es_key *key, const char *time,
                             struct es_log_proof *proof, struct es_error *err) ES_MUST_CHECK;

/* Proof that leaf `index` stands under the newest head. */
enum es_status es_log_prove(const struct es_log *log, uint64_t index, struct es_log_proof *out,
                            struct es_error *err) ES_MUST_CHECK;
/* Proof that the newest head's tree begins with that of `from`, a head of this log that somebody kept.
 * ES_NOT_VALID: it does not: leaves were taken away or changed since; or it is of another log. */
enum es_status es_log_prove_growth(const struct es_log *log, const char *from, struct es_log_growth *out,
                                   struct es_error *err) ES_MUST_CHECK;

/* Checks the signature of every head in a log's text against trusted keys; a sentence a fault in `faults`.
 * (That the heads' roots follow from the leaves is seen to by reading.) ES_OK also with faults. */
enum es_status es_log_check_heads(const char *text, size_t length, const struct es_trusted_key *trusted,
                                  size_t trusted_count, struct es_text *faults,
                                  struct es_error *err) ES_MUST_CHECK;

#endif

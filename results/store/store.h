/* What remains of runs, on disk. Everything that is announced is durable first: written to a temporary name,
 * synced, renamed, folder synced. The state folder:
 *
 *   lock                     held by the one process that writes
 *   keys/bench.pem           private signing key (0600); public: keys/bench.pub.pem, keys/bench.pub.jwk
 *   keys/register.jsonl      the book of keys: which there were and are, for what, until when, revoked or not
 *   keys/trusted/            public keys, PEM or JWK, that this bench trusts beside those of the book
 *   certificates/NUMBER.json the certificates and records, as issued; NUMBER.seal.json: proof of its leaf
 *   certificates/signed/     the same with further signatures (release, void): NUMBER.K.json and its proof
 *   log/certificates.log     append-only log of all of them, with its signed heads (results/log)
 *   log/books.log            the same of the books: keys, jobs, repairs (books.h)
 *   runs/RUN/run.json        what was begun; runs/RUN/end.json how it ended; the run's journal lies beside
 *   recordings/SHA256        raw recordings by digest
 *
 * Numbers are PREFIX-000001, -000002, ... without gap or duplicate: a number is taken only by the rename that
 * makes its certificate durable. The calls hide the files, so that a database can take their place.
 * A store belongs to one thread at a time. */
#ifndef ES_STORE_STORE_H
#define ES_STORE_STORE_H

#include <stddef.h>

#include "results/certificate/certificate.h"
#include "rig/base/error.h"
#include "rig/base/file.h"

struct es_store;

enum es_store_mode {
    ES_STORE_READ, /* no lock, no writing; any number at once, also beside a writer */
    ES_STORE_WRITE /* creates what is missing; ES_REFUSED when another process writes to it */
};

#define ES_STORE_NUMBER_MAX 64 /* a number with terminator */

enum es_status es_store_open(const char *folder, enum es_store_mode mode, struct es_store **out,
                             struct es_error *err) ES_MUST_CHECK;
/* The same with the system calls for reading and writing files through `ops` (tests make them fail). */
enum es_status es_store_open_with(const struct es_file_ops *ops, const char *folder, enum es_store_mode mode,
                                  struct es_store **out, struct es_error *err) ES_MUST_CHECK;
void es_store_close(struct es_store *store); /* NULL allowed */

const char *es_store_folder(const struct es_store *store);

/* ---- Keys ---- */

struct es_store_key_order {
    const char *who, *when;                 /* who does it, RFC 3339 UTC; both required */
    const struct es_passphrase *passphrase; /* puts the key under a passphrase; NULL: none */
    enum es_seal_cost cost;
    const struct es_passphrase *old_passphrase; /* of the key that is replaced; NULL: none */
};

/* Makes the bench's signing key: three files under keys/, and a line in the book of keys. ES_REFUSED when
 * there is one already. */
enum es_status es_store_key_create(struct es_store *store, const struct es_store_key_order *order,
                                   struct es_public_key *made, struct es_error *err) ES_MUST_CHECK;
/* Makes a new one in its place. What the old one signed stays checkable: the book keeps its public half with
 * the time until which it was in force. Its private half is gone. */
enum es_status es_store_key_rotate(struct es_store *store, const struct es_store_key_order *order,
                                   struct es_public_key *made, struct es_error *err) ES_MUST_CHECK;
/* ES_NOT_FOUND: none was made yet; the text says how. Refusals as es_key_load_with; ES_REFUSED too when the
 * book says that it is out of force now. */
enum es_status es_store_key_load_with(struct es_store *store, const struct es_passphrase *passphrase,
                                      struct es_key **out, struct es_error *err) ES_MUST_CHECK;
enum es_status es_store_key_load(struct es_store *store, struct es_key **out,
                                 struct es_error *err) ES_MUST_CHECK; /* no passphrase */

/* May this key sign as `role` at `when` (RFC 3339 UTC), as far as the book of keys says? ES_REFUSED with the
 * reason: it is revoked, was replaced, was made only later, or is for something else; a key that the book
 * does not know: ES_NOT_FOUND. */
enum es_status es_store_key_check(struct es_store *store, const struct es_public_key *key, const char *role,
                                  const char *when, struct es_error *err) ES_MUST_CHECK;

/* All keys of the book (key_register.h), with their times, roles and revocations; besides the bench's own
 * public key (name "bench") and those of keys/trusted/ (name: the file's without its ending) if the book does
 * not know them. A file there that cannot be read as a key fails the whole: trust is not guessed. */
struct es_store_trust {
    struct es_trusted_key *items; /* names owned by this list */
    size_t count;
};
enum es_status es_store_trust(struct es_store *store, struct es_store_trust *out,
                              struct es_error *err) ES_MUST_CHECK;
void es_store_trust_free(struct es_store_trust *trust);

/* ---- Certificates ---- */

/* Makes the bytes of a certificate once its number is known. */
struct es_store_maker {
    void *self;
    enum es_status (*make)(void *self, const char *number, char **bytes, size_t *length,
                           struct es_error *err);
};

/* Takes the next number of `prefix` (letters, digits, '-', 1 to 24 characters), has the certificate made, and
 * writes it durably. On ES_OK it is there for good and `number` holds its number; on anything else no number
 * was used, and nothing is left behind that would be listed. */
enum es_status es_store_issue(struct es_store *store, const char *prefix, const struct es_store_maker *maker,
                              char number[static ES_STORE_NUMBER_MAX], struct es_error *err) ES_MUST_CHECK;

/* One certificate as listed. Texts are allocated; "" when the document has none. */
struct es_store_entry {
    char number[ES_STORE_NUMBER_MAX];
    char *kind; /* "certificate" or "record" */
    char *issued, *serial, *type, *plan, *state, *verdict, *run, *customer;
    char digest[65]; /* of the file's bytes */
    size_t bytes;
    char *fault; /* NULL, or why the file cannot be read: it is listed all the same */
};

struct es_store_filter { /* all NULL: everything */
    const char *serial;  /* exact */
    const char *since;   /* issued at or after, RFC 3339 UTC or a leading part of it */
};

struct es_store_list {
    struct es_store_entry *items;
    size_t count;
};

/* In order of number. `filter` may be NULL. */
enum es_status es_store_certificates(struct es_store *store, const struct es_store_filter *filter,
                                     struct es_store_list *out, struct es_error *err) ES_MUST_CHECK;
void es_store_list_free(struct es_store_list *list);

/* The bytes as signed (and a NUL after them). ES_NOT_FOUND when there is none. */
enum es_status es_store_certificate(struct es_store *store, const char *number, char **bytes, size_t *length,
                                    struct es_error *err) ES_MUST_CHECK;

/* ---- The log ---- */

/* Enters a certificate in the log (number NULL: every one that is not in it yet, in order of number), signs
 * the log's head with the bench's key at `when` (RFC 3339 UTC), and keeps the proof beside the certificate;
 * all durable. A file with further signatures (release, void; signed.h) is a leaf of its own, entered after
 * those before it; one that is not its predecessor with one signature more is ES_BAD_INPUT and not entered.
 * On failure the certificates themselves are as they were; the next call enters what is missing. */
enum es_status es_store_seal(struct es_store *store, const struct es_key *key, const char *number,
                             const char *when, struct es_error *err) ES_MUST_CHECK;

/* "FOLDER/log/certificates.log"; to be freed. */
enum es_status es_store_log_path(const struct es_store *store, char **path,
                                 struct es_error *err) ES_MUST_CHECK;
/* The proof beside the file with so many signatures: "FOLDER/certificates/NUMBER.seal.json" for 1, else
 * "FOLDER/certificates/signed/NUMBER.K.seal.json"; to be freed. */
enum es_status es_store_seal_path(const struct es_store *store, const char *number, size_t signatures,
                                  char **path, struct es_error *err) ES_MUST_CHECK;

/* Numbers of all certificates, in order; free each and the array. */
enum es_status es_store_all_numbers(const struct es_store *store, char ***numbers, size_t *count,
                                    struct es_error *err) ES_MUST_CHECK;

/* ---- Runs ---- */

enum es_run_state {
    ES_RUN_OPEN,         /* begun and not ended: running, or, at the next start, interrupted */
    ES_RUN_CERTIFIED,    /* ended with a certificate */
    ES_RUN_NOT_COMPLETED /* ended without; `why` says it */
};

struct es_store_run {
    char *run; /* unique; letters, digits, '-', '.', '_', at most 64 */
    char *began, *plan, *type, *serial, *station, *person;
    enum es_run_state state;
    char *ended, *number, *why; /* NULL while open; number: of the certificate or record */
};

struct es_store_runs {
    struct es_store_run *items;
    size_t count;
};

/* Durable before it returns: call it before anything moves. Makes the run's folder. Only the texts of the
 * first two rows of the struct are used (NULL allowed but for `run` and `began`). A run that exists:
 * ES_REFUSED. */
enum es_status es_store_run_begin(struct es_store *store, const struct es_store_run *run,
                                  struct es_error *err) ES_MUST_CHECK;

/* Ends an open run, once. `number`: its certificate or record, or NULL; `why` NULL: certified. */
enum es_status es_store_run_end(struct es_store *store, const char *run, const char *ended,
                                const char *number, const char *why, struct es_error *err) ES_MUST_CHECK;

/* All runs, oldest first. A run whose certificate became durable but whose end was not written any more
 * (killed in between) is listed with its certificate, not as open. */
enum es_status es_store_runs(struct es_store *store, struct es_store_runs *out,
                             struct es_error *err) ES_MUST_CHECK;
void es_store_runs_free(struct es_store_runs *runs);

/* "FOLDER/runs/RUN", for the journal; to be freed. */
enum es_status es_store_run_folder(struct es_store *store, const char *run, char **path,
                                   struct es_error *err) ES_MUST_CHECK;

/* ---- Recordings ---- */

/* Keeps bytes under their SHA-256 (written to digest); the same bytes twice are kept once. Durable. */
enum es_status es_store_recording(struct es_store *store, const void *bytes, size_t length,
                                  char digest[static 65], struct es_error *err) ES_MUST_CHECK;
/* "FOLDER/recordings/DIGEST"; to be freed. ES_NOT_FOUND when there is none. */
enum es_status es_store_recording_path(struct es_store *store, const char *digest, char **path,
                                       struct es_error *err) ES_MUST_CHECK;

#endif

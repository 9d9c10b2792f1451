/* Certificates: built from an outcome, signed, checked. Format and checking recipes: docs/certificate.md;
 * JSON Schema: docs/schema/certificate-1.schema.json. No I/O, no clock; thread-safe.
 *
 * A certificate file is one JSON object in canonical form (RFC 8785), UTF-8, no newline at the end.
 * Payload: the canonical form of that object without its member "signatures".
 * Each element of "signatures" holds a JWS in compact form with detached payload (RFC 7515 App. F, alg EdDSA
 * after RFC 8037) and the public key as JWK. The payload names the issuing key by its thumbprint
 * (issuer.key), so that taking away the bench's signature is noticed. */
#ifndef ES_CERTIFICATE_CERTIFICATE_H
#define ES_CERTIFICATE_CERTIFICATE_H

#include "procedures/judgement/outcome.h"
#include "results/certificate/key.h"
#include "rig/base/document.h"

/* A certificate is meant to stay below this; curves are thinned to reach it. */
#define ES_CERTIFICATE_AIM_BYTES 24000u

/* The result that the unit had before, to be set beside this one (ISO/IEC 17025:2017 7.8.4.1 d). */
struct es_certificate_before {
    const char *number; /* NULL: there is none */
    const char *sha256; /* of its file as issued */
    const char *state, *verdict;
};

/* What a person at goods-in or in the workshop supplied about the unit's visit. Borrowed; NULL where not
 * given: the certificate then says so ("not_given"). */
struct es_certificate_visit {
    const char *customer_contact;   /* address, telephone, person: one line */
    const char *customer_reference; /* the customer's order or complaint */
    const char *lot, *supplier;     /* of a spare: the delivery it came with, and from whom */
    const char *job;                /* number of the job record */
    const char *received;           /* date of receipt, "2026-02-01" */
    const char *condition;          /* in which condition the unit came */
    const char *found;              /* what was found when it was opened; "no fault found" is a finding */
    const char *deviations;         /* additions to, deviations from or exclusions of the method */
    struct es_certificate_before before;
};

/* What the outcome does not know. Borrowed texts. NULL where not known, unless said otherwise. */
struct es_certificate_meta {
    const char *number;                       /* required; unique in the archive */
    const char *issued;                       /* required; RFC 3339 UTC */
    bool clock_synchronised;                  /* of the bench when issuing */
    const char *laboratory;                   /* who runs the bench */
    const char *laboratory_address;           /* one line */
    const char *software_version;             /* required: "0.1.0" */
    const char *issuer_thumbprint;            /* required: of the key that will sign as "bench" */
    bool virtual_bench;                       /* nothing real was tested: the certificate says so first */
    const char *replaces;                     /* number of the certificate that this one corrects */
    const char *replaces_because;             /* why; required with `replaces` */
    const char *overdue_reason;               /* why it was issued although a calibration was overdue */
    const struct es_certificate_visit *visit; /* NULL: nothing was supplied */
};

/* The payload: canonical bytes without signatures (*out, NUL after them). A run that was not completed gives
 * a "record", which carries no verdict on the unit. ES_BAD_INPUT when a required part is missing; text that
 * is not valid UTF-8 is ES_BAD_INPUT too. */
enum es_status es_certificate_build(const struct es_outcome *outcome, const struct es_certificate_meta *meta,
                                    char **out, size_t *length, struct es_error *err) ES_MUST_CHECK;

#define ES_ROLE_OF_BENCH "bench" /* the issuing key */
#define ES_ROLE_OF_RELEASE                                                                                   \
    "release"                  /* the person who authorises the report (ISO/IEC 17025:2017 7.8.2.1 o)        \
                                */
#define ES_ROLE_OF_VOID "void" /* the person who takes it out of force */

/* What one signature says of itself; all of it is covered by that signature. */
struct es_signing {
    const char *role; /* small letters and '-', at most 31 */
    const char *when; /* RFC 3339 UTC */
    const char
        *name; /* of the person; required for release and void; NULL for the bench; at most 100 bytes */
    const char *reason; /* required for void; NULL else; at most 300 bytes */
};

/* Adds one signature to a payload or to an already signed certificate and gives the whole file's bytes. A key
 * signs a certificate once in a role: ES_REFUSED the second time; so is "bench" by another key than the
 * payload names, any other role by that key, and anything after a void. */
enum es_status es_certificate_sign_as(const char *document, size_t length, const struct es_key *key,
                                      const struct es_signing *signing, char **out, size_t *out_length,
                                      struct es_error *err) ES_MUST_CHECK;
/* The same with no name and no reason. */
enum es_status es_certificate_sign(const char *document, size_t length, const struct es_key *key,
                                   const char *role, const char *when, char **out, size_t *out_length,
                                   struct es_error *err) ES_MUST_CHECK;

/* ---- The leaf: what the log (results/log) is fed ----
 *
 * A leaf is the certificate's file, byte for byte, as it became durable: the canonical form of the document
 * with its signatures. Its hash is SHA-256(0x00 || file) (RFC 9162 2.1.1), which `(printf '\0'; cat FILE) |
 * sha256sum` computes too. A file grows only by further signatures (release, void), each appended at the end
 * of "signatures" and each of which makes a new file and a new leaf; the bytes of an earlier file follow from
 * a later one by this function. Nothing else of a certificate ever changes, so the proof of inclusion and the
 * log's signed head lie beside it (NUMBER.seal.json), never inside.
 *
 * Bytes of the file with its first `signatures` signatures: 1 as issued, 2 with the first one after that.
 * ES_NOT_FOUND when it has fewer. Checks no signature: verify first. *out has a NUL after it. */
enum es_status es_certificate_leaf(const char *bytes, size_t length, size_t signatures, char **out,
                                   size_t *out_length, struct es_error *err) ES_MUST_CHECK;

enum es_certificate_finding {
    ES_CERTIFICATE_VALID,
    ES_CERTIFICATE_NOT_ONE,     /* not JSON, or not in this format, or a member is missing or malformed */
    ES_CERTIFICATE_NOT_SIGNED,  /* no signature, or none by the issuing key */
    ES_CERTIFICATE_ALTERED,     /* a signature does not hold over this content */
    ES_CERTIFICATE_REFORMATTED, /* content as signed, but the file is not in canonical form */
    ES_CERTIFICATE_OTHER_KEY,   /* signed, but by another key than the single one that was trusted */
    ES_CERTIFICATE_UNKNOWN_KEY, /* signed, but by a key that is not among those trusted */
    ES_CERTIFICATE_REVOKED,     /* signed at a time at which the key was not in force: revoked or retired
                                   before, or not made yet */
    ES_CERTIFICATE_WRONG_ROLE,  /* signed by a key that is trusted, but not for what it signed as */
    ES_CERTIFICATE_VOID         /* as signed, and taken out of force by a trusted key since */
};

/* Times are RFC 3339 UTC, NULL for "no bound". */
struct es_trusted_key {
    struct es_public_key key;
    const char *name;    /* whose it is, or NULL; borrowed */
    const char *from;    /* made then: no signature is older; borrowed */
    const char *until;   /* replaced by another key from then on; borrowed */
    const char *revoked; /* from then on it is no longer trusted; borrowed */
    const char *because; /* why it was revoked, or NULL; borrowed */
    const char *roles;   /* what it is trusted for, with blanks between ("release void"); NULL: anything */
};

#define ES_DOUBT_MAX 160

/* Whether a signature as `role` at `time` (RFC 3339 UTC) by this key counts: ES_CERTIFICATE_VALID; or
 * ES_CERTIFICATE_REVOKED, ES_CERTIFICATE_WRONG_ROLE with the rest of a sentence about it in `why` ("that key
 * ..."). Times are compared to the second; within the second of its revocation a key counts as revoked. */
enum es_certificate_finding es_trusted_key_counts(const struct es_trusted_key *t, const char *role,
                                                  const char *time, char why[static ES_DOUBT_MAX]);

struct es_certificate_signature {
    char kid[ES_THUMBPRINT_SIZE];
    char role[32];
    char time[40];
    char name[104];                       /* "" when it names nobody */
    char reason[304];                     /* "" when there is none */
    const struct es_trusted_key *trusted; /* NULL: not among the trusted keys, or not for this role or time */
    char doubt[ES_DOUBT_MAX];             /* why a known key does not count here; "" */
};

#define ES_CERTIFICATE_SIGNATURES_MAX 8

/* What checking found. Owns nothing; `trusted` points into the caller's keys. */
struct es_certificate_report {
    enum es_certificate_finding finding;
    char text[640]; /* one or two sentences for a person */
    struct es_certificate_signature signatures[ES_CERTIFICATE_SIGNATURES_MAX];
    size_t signature_count;
    char digest[65]; /* SHA-256 of the file's bytes */
};

/* Checks a certificate's bytes against the trusted keys. With no trusted key at all a sound certificate
 * comes out as ES_CERTIFICATE_UNKNOWN_KEY. Every signature in the file must hold; the issuing key must be
 * trusted, for this role and at the time of its signature; why a further signer's key does not count is told
 * in its `doubt`. The time of a signature is the signer's own word: what it is worth against somebody who
 * stole a key, the log says (results/log). Returns other than ES_OK only when the check could not be done
 * (memory); the answer is in report->finding. */
enum es_status es_certificate_verify(const char *name, const char *bytes, size_t length,
                                     const struct es_trusted_key *trusted, size_t trusted_count,
                                     struct es_certificate_report *report,
                                     struct es_error *err) ES_MUST_CHECK;

/* "valid", "altered", ... for tables and --json; never NULL. */
const char *es_certificate_finding_word(enum es_certificate_finding finding);

/* ES_OK, or ES_NOT_VALID / ES_BAD_INPUT (not a certificate) with the report's text in err. */
enum es_status es_certificate_status(const struct es_certificate_report *report,
                                     struct es_error *err) ES_MUST_CHECK;

#endif

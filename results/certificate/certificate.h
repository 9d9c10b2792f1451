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

/* What the outcome does not know. Borrowed texts. NULL where not known, unless said otherwise. */
struct es_certificate_meta {
    const char *number;             /* required; unique in the archive */
    const char *issued;             /* required; RFC 3339 UTC */
    bool clock_synchronised;        /* of the bench when issuing */
    const char *laboratory;         /* who runs the bench */
    const char *laboratory_address; /* one line */
    const char *software_version;   /* required: "0.1.0" */
    const char *issuer_thumbprint;  /* required: of the key that will sign as "bench" */
    bool virtual_bench;             /* nothing real was tested: the certificate says so first */
    const char *replaces;           /* number of the certificate that this one corrects */
    const char *overdue_reason;     /* why it was issued although a calibration was overdue */
};

/* The payload: canonical bytes without signatures (*out, NUL after them). A run that was not completed gives
 * a "record", which carries no verdict on the unit. ES_BAD_INPUT when a required part is missing; text that
 * is not valid UTF-8 is ES_BAD_INPUT too. */
enum es_status es_certificate_build(const struct es_outcome *outcome, const struct es_certificate_meta *meta,
                                    char **out, size_t *length, struct es_error *err) ES_MUST_CHECK;

/* Adds one signature to a payload or to an already signed certificate and gives the whole file's bytes.
 * `role`: "bench" for the issuing key, else what the signer vouches for ("release"). `when`: RFC 3339. Both
 * are covered by this signature. A key signs a certificate once: ES_REFUSED the second time; so is "bench" by
 * another key than the payload names. */
enum es_status es_certificate_sign(const char *document, size_t length, const struct es_key *key,
                                   const char *role, const char *when, char **out, size_t *out_length,
                                   struct es_error *err) ES_MUST_CHECK;

enum es_certificate_finding {
    ES_CERTIFICATE_VALID,
    ES_CERTIFICATE_NOT_ONE,     /* not JSON, or not in this format, or a member is missing or malformed */
    ES_CERTIFICATE_NOT_SIGNED,  /* no signature, or none by the issuing key */
    ES_CERTIFICATE_ALTERED,     /* a signature does not hold over this content */
    ES_CERTIFICATE_REFORMATTED, /* content as signed, but the file is not in canonical form */
    ES_CERTIFICATE_OTHER_KEY,   /* signed, but by another key than the single one that was trusted */
    ES_CERTIFICATE_UNKNOWN_KEY, /* signed, but by a key that is not among those trusted */
    ES_CERTIFICATE_REVOKED      /* signed by a key that was revoked before the signature's time */
};

struct es_trusted_key {
    struct es_public_key key;
    const char *name;    /* whose it is, or NULL; borrowed */
    const char *revoked; /* RFC 3339 UTC from which on it is no longer trusted, or NULL; borrowed */
};

struct es_certificate_signature {
    char kid[ES_THUMBPRINT_SIZE];
    char role[32];
    char time[40];
    const struct es_trusted_key *trusted; /* NULL: not among the trusted keys */
};

#define ES_CERTIFICATE_SIGNATURES_MAX 8

/* What checking found. `document` is set when the bytes could be read as JSON, also when not valid; free
 * with es_certificate_report_clear. */
struct es_certificate_report {
    enum es_certificate_finding finding;
    char text[640]; /* one or two sentences for a person */
    struct es_document *document;
    struct es_certificate_signature signatures[ES_CERTIFICATE_SIGNATURES_MAX];
    size_t signature_count;
    char digest[65]; /* SHA-256 of the file's bytes */
};

/* Checks a certificate's bytes against the trusted keys. With no trusted key at all a sound certificate
 * comes out as ES_CERTIFICATE_UNKNOWN_KEY. Every signature in the file must hold; the issuing key must be
 * trusted; further signers' trust is told in `signatures`. Returns other than ES_OK only when the check could
 * not be done (memory); the answer is in report->finding. */
enum es_status es_certificate_verify(const char *name, const char *bytes, size_t length,
                                     const struct es_trusted_key *trusted, size_t trusted_count,
                                     struct es_certificate_report *report,
                                     struct es_error *err) ES_MUST_CHECK;

void es_certificate_report_clear(struct es_certificate_report *report);

/* "valid", "altered", ... for tables and --json; never NULL. */
const char *es_certificate_finding_word(enum es_certificate_finding finding);

/* ES_OK, or ES_NOT_VALID / ES_BAD_INPUT (not a certificate) with the report's text in err. */
enum es_status es_certificate_status(const struct es_certificate_report *report,
                                     struct es_error *err) ES_MUST_CHECK;

#endif

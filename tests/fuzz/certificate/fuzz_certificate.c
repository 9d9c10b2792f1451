/* Any bytes as a certificate: the checker answers, and answers "valid" only to bytes that are canonical and
 * whose signature an independent call of the signing library confirms. The trusted key is the published one
 * of RFC 8032 7.1 test 1, which also signed the seed. */
#include <sodium.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/certificate.h"
#include "results/certificate/span.h"
#include "rig/base/text.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

static struct es_trusted_key make_trusted(void)
{
    unsigned char bytes[32];
    struct es_trusted_key trusted = {.name = "published"};
    demand(es_hex_decode("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", bytes, 32,
                         NULL) == ES_OK &&
               es_public_key_from_bytes(bytes, &trusted.key, NULL) == ES_OK,
           "the key reads");
    return trusted;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_trusted_key trusted = make_trusted();
    struct es_certificate_report report;
    struct es_error err;
    demand(es_certificate_verify("fuzz", (const char *)data, size, &trusted, 1, &report, &err) == ES_OK,
           "the check can always be done");
    demand(report.text[0] != 0, "every answer has a text");
    demand((report.finding == ES_CERTIFICATE_VALID) == (es_certificate_status(&report, &err) == ES_OK),
           "status and finding agree");
    struct es_members members;
    demand(report.finding != ES_CERTIFICATE_VALID || es_span_scan((const char *)data, size, &members),
           "a valid file is canonical");
    demand(report.finding != ES_CERTIFICATE_VALID ||
               (report.signature_count > 0 && report.signatures[0].trusted != NULL),
           "a valid file has a trusted signer");

    /* Signing takes any document or refuses it; what it made is valid but for its form and members. */
    struct es_key *key = NULL;
    unsigned char seed[32] = {1};
    char *out = NULL;
    size_t length = 0;
    demand(es_key_from_seed(seed, &key, NULL) == ES_OK, "a key can be made");
    const struct es_signing signing = {
        .role = "release", .when = "2026-02-03T10:00:00Z", .name = "B. Example"};
    if (es_certificate_sign_as((const char *)data, size, key, &signing, &out, &length, NULL) == ES_OK) {
        demand(es_certificate_verify("fuzz", out, length, &trusted, 1, &report, &err) == ES_OK,
               "the check can be done");
        free(out);
    }
    es_key_free(key);
    return 0;
}

/* Any bytes as a public key: read or refused; what was read is written and read back the same. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/key.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_public_key key;
    struct es_public_key back;
    struct es_error err;
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    enum es_status st = es_public_key_parse("fuzz", (const char *)data, size, &key, &err);
    demand(st == ES_OK || st == ES_BAD_INPUT, "read or refused");
    if (st == ES_OK) {
        es_public_key_pem(&key, text);
        demand(es_public_key_parse("pem", text, strlen(text), &back, &err) == ES_OK, "PEM reads back");
        demand(strcmp(key.thumbprint, back.thumbprint) == 0, "the same key");
        es_public_key_jwk(&key, text);
        demand(es_public_key_parse("jwk", text, strlen(text), &back, &err) == ES_OK, "JWK reads back");
        demand(strcmp(key.thumbprint, back.thumbprint) == 0, "the same key");
    }
    return 0;
}

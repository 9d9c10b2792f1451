/* What the files about keys share. Internal to results/certificate. */
#ifndef ES_CERTIFICATE_KEY_INNER_H
#define ES_CERTIFICATE_KEY_INNER_H

#include "results/certificate/key.h"

#define ES_KEY_FILE_MAX 4096

struct es_key {
    unsigned char *secret; /* 64 bytes as libsodium keeps them: seed and public key; guarded memory */
    struct es_public_key public;
};

/* Starts libsodium. */
enum es_status es_key_ready(struct es_error *err) ES_MUST_CHECK;

/* RFC 7638 over the required members of RFC 8037, which stand in the order of their names. */
void es_key_thumbprint(struct es_public_key *key);

/* The DER between two PEM lines; false when it is not exactly `size` bytes under `head`. Only white space may
 * stand before and after. */
bool es_key_pem_body(const char *text, const char *begin, const char *end, const unsigned char *head,
                     size_t head_size, unsigned char *der, size_t size);

/* key_sealed.c: whether the text is a key under a passphrase; opens it. */
bool es_key_is_sealed(const char *text);
enum es_status es_key_unseal(const char *path, const char *text, const struct es_passphrase *passphrase,
                             struct es_key **out, struct es_error *err) ES_MUST_CHECK;

#endif

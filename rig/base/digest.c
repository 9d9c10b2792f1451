#include "rig/base/digest.h"

#include <sodium.h>

#include "rig/base/text.h"

void es_digest_hex(const void *bytes, size_t length, char out[static 65])
{
    unsigned char hash[crypto_hash_sha256_BYTES];

    (void)crypto_hash_sha256(hash, bytes, length); /* cannot fail */
    es_hex(hash, sizeof hash, out);
}

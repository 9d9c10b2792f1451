/* SHA-256 (FIPS 180-4) by libsodium. Pure, thread-safe. */
#ifndef ES_BASE_DIGEST_H
#define ES_BASE_DIGEST_H

#include <stddef.h>

/* Lower-case hex with terminator. */
void es_digest_hex(const void *bytes, size_t length, char out[static 65]);

#endif

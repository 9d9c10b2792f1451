/* Signing keys: Ed25519 (RFC 8032) through libsodium. Files: PKCS#8 PEM for the private key and
 * SubjectPublicKeyInfo PEM for the public one (RFC 8410; openssl reads both), or a JWK (RFC 8037) for the
 * public one. Secrets live in memory that libsodium locks and guards, and are wiped when freed. A key has one
 * owner; reading from several threads is fine. */
#ifndef ES_CERTIFICATE_KEY_H
#define ES_CERTIFICATE_KEY_H

#include <stddef.h>

#include "rig/base/error.h"

#define ES_SIGNATURE_SIZE      64
#define ES_THUMBPRINT_SIZE     44  /* RFC 7638 SHA-256 in base64url: 43 characters and the terminator */
#define ES_PUBLIC_KEY_TEXT_MAX 256 /* JWK or PEM with terminator */

struct es_public_key {
    unsigned char bytes[32];
    char thumbprint[ES_THUMBPRINT_SIZE]; /* names the key everywhere: the JWS's kid */
};

struct es_key; /* private key, with its public half */

/* A fresh key from the system's random numbers. */
enum es_status es_key_create(struct es_key **out, struct es_error *err) ES_MUST_CHECK;

/* The key of a 32-byte seed (RFC 8032 5.1.5). The caller wipes its copy of the seed. */
enum es_status es_key_from_seed(const unsigned char seed[static 32], struct es_key **out,
                                struct es_error *err) ES_MUST_CHECK;

void es_key_free(struct es_key *key); /* NULL allowed; wipes */

const struct es_public_key *es_key_public(const struct es_key *key);

/* Writes the private key to a new file, mode 0600, durably (file and folder synced). An existing file is
 * never overwritten: ES_REFUSED. */
enum es_status es_key_save(const struct es_key *key, const char *path, struct es_error *err) ES_MUST_CHECK;

/* Gives the passphrase of a key's file: writes it to `out` (no NUL needed), 1 to `size` bytes. The callee
 * wipes what it keeps; `out` is guarded memory that the caller wipes. */
struct es_passphrase {
    void *self;
    enum es_status (*ask)(void *self, const char *path, char *out, size_t size, size_t *length,
                          struct es_error *err);
};

#define ES_PASSPHRASE_MAX 1024

/* The first line of a file, without its line feed; ES_REFUSED when others than its owner have rights to it.
 * `path` must outlive what is returned. */
struct es_passphrase es_passphrase_of_file(const char *path);

/* One line of a descriptor; `name` stands in for it in messages. */
enum es_status es_passphrase_line(int fd, const char *name, char *out, size_t size, size_t *length,
                                  struct es_error *err) ES_MUST_CHECK;

/* What a guess at the passphrase costs (Argon2id, RFC 9106). */
enum es_seal_cost {
    ES_SEAL_USUAL, /* 256 MiB, 3 passes: most of a second */
    ES_SEAL_LEAST  /* 64 KiB, 1 pass: for tests */
};

/* As es_key_save, under a passphrase: the seed encrypted by XChaCha20-Poly1305 with a key that Argon2id makes
 * of the passphrase; a JSON document (docs/keys.md). `how` is ES_FILE_NEW or ES_FILE_REPLACE of
 * rig/base/file.h. */
enum es_status es_key_save_sealed(const struct es_key *key, const char *path, int how,
                                  const struct es_passphrase *passphrase, enum es_seal_cost cost,
                                  struct es_error *err) ES_MUST_CHECK;
/* es_key_save in place of what stands there: takes a passphrase off. */
enum es_status es_key_replace(const struct es_key *key, const char *path, struct es_error *err) ES_MUST_CHECK;

/* Reads a private key (PKCS#8 PEM, also one made by openssl; or one under a passphrase). ES_REFUSED when the
 * file is not a regular one, belongs to someone else than the effective user, or when group or others have
 * any right to it: the text says what to do. ES_REFUSED too when it is under a passphrase and `passphrase` is
 * NULL; ES_NOT_VALID when the passphrase is wrong. */
enum es_status es_key_load(const char *path, struct es_key **out, struct es_error *err) ES_MUST_CHECK;
enum es_status es_key_load_with(const char *path, const struct es_passphrase *passphrase, struct es_key **out,
                                struct es_error *err) ES_MUST_CHECK;

/* Signs. */
enum es_status es_key_sign(const struct es_key *key, const void *message, size_t length,
                           unsigned char signature[static ES_SIGNATURE_SIZE],
                           struct es_error *err) ES_MUST_CHECK;

/* True when the signature holds (RFC 8032 5.1.7; S >= L, points of small order and non-canonical encodings
 * are refused). */
bool es_public_key_verify(const struct es_public_key *key, const void *message, size_t length,
                          const unsigned char signature[static ES_SIGNATURE_SIZE]);

/* From the 32 bytes of RFC 8032; fills the thumbprint. ES_BAD_INPUT when they are not a usable point. */
enum es_status es_public_key_from_bytes(const unsigned char bytes[static 32], struct es_public_key *out,
                                        struct es_error *err) ES_MUST_CHECK;

/* As JWK: {"crv":"Ed25519","kid":"...","kty":"OKP","x":"..."} without a newline, or as PEM with one. */
void es_public_key_jwk(const struct es_public_key *key, char out[static ES_PUBLIC_KEY_TEXT_MAX]);
void es_public_key_pem(const struct es_public_key *key, char out[static ES_PUBLIC_KEY_TEXT_MAX]);

/* Reads a public key, PEM or JWK, told apart by the text. A kid in a JWK that is not the thumbprint is
 * refused (ES_BAD_INPUT), and so is a private key where a public one is expected. */
enum es_status es_public_key_parse(const char *name, const char *text, size_t length,
                                   struct es_public_key *out, struct es_error *err) ES_MUST_CHECK;
enum es_status es_public_key_load(const char *path, struct es_public_key *out,
                                  struct es_error *err) ES_MUST_CHECK;

#endif

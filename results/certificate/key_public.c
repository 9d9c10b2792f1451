#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/key_inner.h"
#include "rig/base/document.h"
#include "rig/base/file.h"
#include "rig/base/text.h"

/* RFC 8410: AlgorithmIdentifier 1.3.101.112 without parameters, then the 32 bytes. */
static const unsigned char spki_head[] = {0x30, 0x2a, 0x30, 0x05, 0x06, 0x03,
                                          0x2b, 0x65, 0x70, 0x03, 0x21, 0x00};

#define PUBLIC_BEGIN "-----BEGIN PUBLIC KEY-----"
#define PUBLIC_END   "-----END PUBLIC KEY-----"
#define SPKI_SIZE    (sizeof spki_head + 32)

enum es_status es_key_ready(struct es_error *err)
{
    return sodium_init() < 0
               ? es_fail(err, ES_INTERNAL, "the signing library cannot start (no random numbers?)")
               : ES_OK;
}

static void base64url(const unsigned char *bytes, size_t length, char *out, size_t size)
{
    (void)sodium_bin2base64(out, size, bytes, length, sodium_base64_VARIANT_URLSAFE_NO_PADDING);
}

void es_key_thumbprint(struct es_public_key *key)
{
    char x[ES_THUMBPRINT_SIZE];
    char text[128];
    unsigned char digest[crypto_hash_sha256_BYTES];
    base64url(key->bytes, sizeof key->bytes, x, sizeof x);
    int n = snprintf(text, sizeof text, "{\"crv\":\"Ed25519\",\"kty\":\"OKP\",\"x\":\"%s\"}", x);
    crypto_hash_sha256(digest, (const unsigned char *)text, (unsigned long long)n);
    base64url(digest, sizeof digest, key->thumbprint, sizeof key->thumbprint);
}

enum es_status es_public_key_from_bytes(const unsigned char bytes[static 32], struct es_public_key *out,
                                        struct es_error *err)
{
    enum es_status st = es_key_ready(err);
    if (st != ES_OK) {
        return st;
    }
    if (crypto_core_ed25519_is_valid_point(bytes) != 1) {
        return es_fail(err, ES_BAD_INPUT, "these 32 bytes are not a usable Ed25519 public key");
    }
    memcpy(out->bytes, bytes, sizeof out->bytes);
    es_key_thumbprint(out);
    return ES_OK;
}

bool es_public_key_verify(const struct es_public_key *key, const void *message, size_t length,
                          const unsigned char signature[static ES_SIGNATURE_SIZE])
{
    return crypto_sign_verify_detached(signature, message, length, key->bytes) == 0;
}

void es_public_key_jwk(const struct es_public_key *key, char out[static ES_PUBLIC_KEY_TEXT_MAX])
{
    char x[ES_THUMBPRINT_SIZE];
    base64url(key->bytes, sizeof key->bytes, x, sizeof x);
    (void)snprintf(out, ES_PUBLIC_KEY_TEXT_MAX,
                   "{\"crv\":\"Ed25519\",\"kid\":\"%s\",\"kty\":\"OKP\",\"x\":\"%s\"}", key->thumbprint, x);
}

void es_public_key_pem(const struct es_public_key *key, char out[static ES_PUBLIC_KEY_TEXT_MAX])
{
    unsigned char der[SPKI_SIZE];
    char body[sodium_base64_ENCODED_LEN(SPKI_SIZE, sodium_base64_VARIANT_ORIGINAL)];
    memcpy(der, spki_head, sizeof spki_head);
    memcpy(der + sizeof spki_head, key->bytes, sizeof key->bytes);
    (void)sodium_bin2base64(body, sizeof body, der, sizeof der, sodium_base64_VARIANT_ORIGINAL);
    (void)snprintf(out, ES_PUBLIC_KEY_TEXT_MAX, PUBLIC_BEGIN "\n%s\n" PUBLIC_END "\n", body);
}

bool es_key_pem_body(const char *text, const char *begin, const char *end, const unsigned char *head,
                     size_t head_size, unsigned char *der, size_t size)
{
    text += strspn(text, " \t\r\n");
    if (strncmp(text, begin, strlen(begin)) != 0) {
        return false;
    }
    text += strlen(begin);
    const char *stop = strstr(text, end);
    size_t got = 0;
    if (!stop || stop[strlen(end) + strspn(stop + strlen(end), " \t\r\n")] != 0 ||
        sodium_base642bin(der, size, text, (size_t)(stop - text), " \t\r\n", &got, NULL,
                          sodium_base64_VARIANT_ORIGINAL) != 0) {
        return false;
    }
    return got == size && sodium_memcmp(der, head, head_size) == 0;
}

static const char *text_member(const cJSON *object, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

static enum es_status key_from_jwk(const char *name, const cJSON *jwk, struct es_public_key *out,
                                   struct es_error *err)
{
    const char *kty = text_member(jwk, "kty");
    const char *crv = text_member(jwk, "crv");
    const char *x = text_member(jwk, "x");
    const cJSON *kid = cJSON_GetObjectItemCaseSensitive(jwk, "kid");
    if (cJSON_HasObjectItem(jwk, "d")) {
        return es_fail(err, ES_BAD_INPUT,
                       "%s: this is a private key (it has a member \"d\"); give the public one", name);
    }
    if (!kty || strcmp(kty, "OKP") != 0 || !crv || strcmp(crv, "Ed25519") != 0 || !x) {
        return es_fail(err, ES_BAD_INPUT,
                       "%s: expected a JWK with kty \"OKP\", crv \"Ed25519\" and x (RFC 8037)", name);
    }
    unsigned char bytes[32];
    size_t written = 0;
    struct es_public_key key;
    enum es_status st = es_base64url_decode(x, strlen(x), bytes, sizeof bytes, &written, err);
    if (st == ES_OK && written != sizeof bytes) {
        st = es_fail(err, ES_BAD_INPUT, "x holds %zu bytes, expected 32", written);
    }
    if (st == ES_OK) {
        st = es_public_key_from_bytes(bytes, &key, err);
    }
    if (st != ES_OK) {
        return es_error_context(err, st, "%s", name);
    }
    if (kid && (!cJSON_IsString(kid) || strcmp(kid->valuestring, key.thumbprint) != 0)) {
        return es_fail(err, ES_BAD_INPUT, "%s: its kid is not the thumbprint of the key, %s", name,
                       key.thumbprint);
    }
    *out = key;
    return ES_OK;
}

static enum es_status parse_jwk(const char *name, const char *text, size_t length, struct es_public_key *out,
                                struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(name, text, length, &findings, &doc, err);
    if (st == ES_BAD_INPUT) {
        st = es_findings_status(&findings, err);
    }
    if (st == ES_OK) {
        st = key_from_jwk(name, es_document_root(doc), out, err);
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return st;
}

enum es_status es_public_key_parse(const char *name, const char *text, size_t length,
                                   struct es_public_key *out, struct es_error *err)
{
    enum es_status st = es_key_ready(err);
    if (st != ES_OK) {
        return st;
    }
    if (length > ES_KEY_FILE_MAX) {
        return es_fail(err, ES_BAD_INPUT, "%s: far too long for a public key", name);
    }
    char copy[ES_KEY_FILE_MAX + 1];
    memcpy(copy, text, length);
    copy[length] = 0;
    if (copy[strspn(copy, " \t\r\n")] == '{') {
        return parse_jwk(name, text, length, out, err);
    }
    unsigned char der[SPKI_SIZE];
    if (strlen(copy) == length &&
        es_key_pem_body(copy, PUBLIC_BEGIN, PUBLIC_END, spki_head, sizeof spki_head, der, sizeof der)) {
        st = es_public_key_from_bytes(der + sizeof spki_head, out, err);
        return st == ES_OK ? st : es_error_context(err, st, "%s", name);
    }
    bool private = strstr(copy, "PRIVATE KEY-----") != NULL;
    sodium_memzero(copy, sizeof copy);
    if (private) {
        return es_fail(err, ES_BAD_INPUT, "%s: this is a private key; give the public one (endstop key show)",
                       name);
    }
    return es_fail(err, ES_BAD_INPUT,
                   "%s: not a public key. Expected an Ed25519 one as PEM (\"" PUBLIC_BEGIN "\") or as JWK",
                   name);
}

enum es_status es_public_key_load(const char *path, struct es_public_key *out, struct es_error *err)
{
    char *text = NULL;
    size_t length = 0;
    enum es_status st = es_file_read(NULL, path, ES_KEY_FILE_MAX, &text, &length, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_public_key_parse(path, text, length, out, err);
    sodium_memzero(text, length);
    free(text);
    return st;
}

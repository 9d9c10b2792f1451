/* A private key under a passphrase. The file:
 *
 *   {"endstop":"sealed-key/1","key":{JWK},"memory_kib":262144,"nonce":"...","passes":3,"salt":"...","seed":"..."}
 *
 * seed: the 32 bytes of RFC 8032 encrypted and authenticated by XChaCha20-Poly1305; its key is Argon2id
 * (RFC 9106) over the passphrase with salt, memory and passes; the JWK is the additional data, so that nobody
 * can put another public half beside it. */
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/key_inner.h"
#include "results/certificate/tree.h"
#include "rig/base/document.h"
#include "rig/base/file.h"
#include "rig/base/text.h"

#define FORMAT      "sealed-key/1"
#define MEMORY_MOST (2u << 20) /* KiB: a file must not make us ask for all there is */
#define PASSES_MOST 20
#define BOX_SIZE    (crypto_sign_SEEDBYTES + crypto_aead_xchacha20poly1305_ietf_ABYTES)

struct sealed {
    unsigned char salt[crypto_pwhash_SALTBYTES];
    unsigned char nonce[crypto_aead_xchacha20poly1305_ietf_NPUBBYTES];
    unsigned char box[BOX_SIZE];
    double memory_kib, passes;
    char jwk[ES_PUBLIC_KEY_TEXT_MAX];
};

struct secrets { /* guarded memory */
    char passphrase[ES_PASSPHRASE_MAX];
    unsigned char key[crypto_aead_xchacha20poly1305_ietf_KEYBYTES];
    unsigned char seed[crypto_sign_SEEDBYTES];
};

static enum es_status derive(const char *path, const struct sealed *s, const struct es_passphrase *passphrase,
                             struct secrets *secrets, struct es_error *err)
{
    size_t length = 0;
    enum es_status st = passphrase->ask(passphrase->self, path, secrets->passphrase,
                                        sizeof secrets->passphrase, &length, err);
    if (st != ES_OK) {
        return st;
    }
    if (length == 0) {
        return es_fail(err, ES_REFUSED, "%s: an empty passphrase protects nothing", path);
    }
    if (crypto_pwhash(secrets->key, sizeof secrets->key, secrets->passphrase, length, s->salt,
                      (unsigned long long)s->passes, (size_t)s->memory_kib * 1024,
                      crypto_pwhash_ALG_ARGON2ID13) != 0) {
        return es_fail(err, ES_NO_MEMORY, "%s: no memory to work on the passphrase (%.0f MiB)", path,
                       s->memory_kib / 1024);
    }
    return ES_OK;
}

/* ---- Writing ---- */

static void add_bytes(struct es_tree *t, cJSON *root, const char *name, const void *bytes, size_t length)
{
    struct es_text text = {0};
    es_text_base64url(&text, bytes, length);
    t->out_of_memory = t->out_of_memory || text.out_of_memory;
    es_tree_text(t, root, name, text.bytes);
    es_text_free(&text);
}

static enum es_status write_sealed(const struct sealed *s, const char *path, int how, struct es_error *err)
{
    struct es_tree t = {0};
    cJSON *root = cJSON_CreateObject();
    char *bytes = NULL;
    size_t length = 0;
    es_tree_text(&t, root, "endstop", FORMAT);
    es_tree_item(&t, root, "key", cJSON_Parse(s->jwk));
    es_tree_number(&t, root, "memory_kib", s->memory_kib);
    es_tree_number(&t, root, "passes", s->passes);
    add_bytes(&t, root, "salt", s->salt, sizeof s->salt);
    add_bytes(&t, root, "nonce", s->nonce, sizeof s->nonce);
    add_bytes(&t, root, "seed", s->box, sizeof s->box);
    enum es_status st = t.out_of_memory ? es_fail(err, ES_NO_MEMORY, "%s: no memory to write a key", path)
                                        : es_canonical_write(root, &bytes, &length, err);
    cJSON_Delete(root);
    if (st == ES_OK) {
        st = es_file_write(NULL, path, (enum es_file_write)how, 0600, bytes, length, err);
    }
    free(bytes);
    return st;
}

enum es_status es_key_save_sealed(const struct es_key *key, const char *path, int how,
                                  const struct es_passphrase *passphrase, enum es_seal_cost cost,
                                  struct es_error *err)
{
    struct sealed s = {.memory_kib = cost == ES_SEAL_USUAL ? 256 * 1024 : 64,
                       .passes = cost == ES_SEAL_USUAL ? 3 : 1};
    struct secrets *secrets = sodium_malloc(sizeof *secrets);
    if (!secrets) {
        return es_fail(err, ES_NO_MEMORY, "%s: no guarded memory for a passphrase", path);
    }
    randombytes_buf(s.salt, sizeof s.salt);
    randombytes_buf(s.nonce, sizeof s.nonce);
    es_public_key_jwk(&key->public, s.jwk);
    enum es_status st = derive(path, &s, passphrase, secrets, err);
    if (st == ES_OK) {
        memcpy(secrets->seed, key->secret, sizeof secrets->seed);
        (void)crypto_aead_xchacha20poly1305_ietf_encrypt(s.box, NULL, secrets->seed, sizeof secrets->seed,
                                                         (const unsigned char *)s.jwk, strlen(s.jwk), NULL,
                                                         s.nonce, secrets->key);
        st = write_sealed(&s, path, how, err);
    }
    sodium_free(secrets); /* wipes */
    return st;
}

/* ---- Reading ---- */

bool es_key_is_sealed(const char *text)
{
    return text[strspn(text, " \t\r\n")] == '{';
}

static bool read_bytes(const cJSON *root, const char *name, void *out, size_t size)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, name));
    size_t written = 0;
    return text && es_base64url_decode(text, strlen(text), out, size, &written, NULL) == ES_OK &&
           written == size;
}

static bool read_count(const cJSON *root, const char *name, double least, double most, double *out)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(root, name);
    *out = cJSON_IsNumber(item) ? item->valuedouble : 0;
    return *out >= least && *out <= most && *out == (double)(unsigned long)*out;
}

/* Every fault of the document is one fault to the reader: it is not what this program wrote. */
static enum es_status read_sealed(const char *path, const char *text, struct sealed *s,
                                  struct es_public_key *public, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(path, text, strlen(text), &findings, &doc, err);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
    es_findings_free(&findings);
    if (st != ES_OK) {
        return st;
    }
    const cJSON *root = es_document_root(doc);
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "endstop"));
    char *jwk = NULL;
    size_t length = 0;
    bool good =
        format && strcmp(format, FORMAT) == 0 && read_bytes(root, "salt", s->salt, sizeof s->salt) &&
        read_bytes(root, "nonce", s->nonce, sizeof s->nonce) &&
        read_bytes(root, "seed", s->box, sizeof s->box) &&
        read_count(root, "memory_kib", crypto_pwhash_MEMLIMIT_MIN / 1024.0, MEMORY_MOST, &s->memory_kib) &&
        read_count(root, "passes", crypto_pwhash_OPSLIMIT_MIN, PASSES_MOST, &s->passes) &&
        es_canonical_write(cJSON_GetObjectItemCaseSensitive(root, "key"), &jwk, &length, NULL) == ES_OK;
    good = good && es_public_key_parse(path, jwk, length, public, NULL) == ES_OK;
    if (good) {
        es_public_key_jwk(public, s->jwk);
        good = strcmp(s->jwk, jwk) == 0; /* as written, to the byte */
    }
    free(jwk);
    es_document_free(doc);
    return good ? ES_OK
                : es_fail(err, ES_BAD_INPUT,
                          "%s: neither a private key in PEM nor one under a passphrase as this program "
                          "writes it (\"endstop\": \"" FORMAT "\")",
                          path);
}

static enum es_status open_box(const char *path, const struct sealed *s, const struct es_public_key *public,
                               struct secrets *secrets, struct es_key **out, struct es_error *err)
{
    unsigned long long length = 0;
    struct es_key *key = NULL;
    if (crypto_aead_xchacha20poly1305_ietf_decrypt(secrets->seed, &length, NULL, s->box, sizeof s->box,
                                                   (const unsigned char *)s->jwk, strlen(s->jwk), s->nonce,
                                                   secrets->key) != 0) {
        return es_fail(err, ES_NOT_VALID, "%s: this is not the key's passphrase (or the file was changed)",
                       path);
    }
    enum es_status st = es_key_from_seed(secrets->seed, &key, err);
    if (st == ES_OK && memcmp(key->public.bytes, public->bytes, sizeof public->bytes) != 0) {
        st = es_fail(err, ES_NOT_VALID, "%s: the public key beside it belongs to another private one", path);
        es_key_free(key);
    }
    if (st == ES_OK) {
        *out = key;
    }
    return st;
}

enum es_status es_key_unseal(const char *path, const char *text, const struct es_passphrase *passphrase,
                             struct es_key **out, struct es_error *err)
{
    struct sealed s;
    struct es_public_key public;
    enum es_status st = read_sealed(path, text, &s, &public, err);
    if (st != ES_OK) {
        return st;
    }
    if (!passphrase) {
        return es_fail(err, ES_REFUSED,
                       "%s: this key is under a passphrase; give it by --passphrase-file FILE", path);
    }
    struct secrets *secrets = sodium_malloc(sizeof *secrets);
    if (!secrets) {
        return es_fail(err, ES_NO_MEMORY, "%s: no guarded memory for a passphrase", path);
    }
    st = derive(path, &s, passphrase, secrets, err);
    if (st == ES_OK) {
        st = open_box(path, &s, &public, secrets, out, err);
    }
    sodium_free(secrets);
    return st;
}

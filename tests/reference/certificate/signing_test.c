/* Keys, signatures, digests against the published values of their standards. */
#include <criterion/criterion.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/key.h"
#include "rig/base/digest.h"
#include "rig/base/document.h"
#include "rig/base/text.h"

static void unhex(const char *hex, unsigned char *out, size_t size)
{
    cr_assert_eq(es_hex_decode(hex, out, size, NULL), ES_OK, "%s", hex);
}

/* RFC 8032 7.1: tests 1, 2, 3 and SHA(abc) (tests 1 and 2 read in copies of the source, all reproduced with
 * an independent library). */
Test(rfc_8032, section_7_1_ed25519)
{
    static const struct {
        const char *secret, *public, *message, *signature;
    } rows[] = {
        {"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
         "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
         "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25"
         "bf5f0595b"
         "be24655141438e7a100b"},
        {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
         "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
         "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387"
         "b2eaeb430"
         "2aeeb00d291612bb0c00"},
        {"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
         "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
         "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7"
         "c15e9716e"
         "d28dc027beceea1ec40a"},
        {"833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
         "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
         "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454"
         "d4423643c"
         "e80e2a9ac94fa54ca49f", /* SHA-512("abc"), FIPS 180-4 */
         "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dc"
         "a179c138a"
         "c17ad9bef1177331a704"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        unsigned char seed[32];
        unsigned char public[32];
        unsigned char message[64];
        unsigned char want[64];
        unsigned char got[64];
        size_t length = strlen(rows[i].message) / 2;
        unhex(rows[i].secret, seed, 32);
        unhex(rows[i].public, public, 32);
        unhex(rows[i].signature, want, 64);
        unhex(rows[i].message, message, length);
        struct es_key *key = NULL;
        cr_assert_eq(es_key_from_seed(seed, &key, NULL), ES_OK);
        cr_expect_arr_eq(es_key_public(key)->bytes, public, 32);
        cr_assert_eq(es_key_sign(key, message, length, got, NULL), ES_OK);
        cr_expect_arr_eq(got, want, 64, "test %zu", i + 1);
        struct es_public_key pub;
        cr_assert_eq(es_public_key_from_bytes(public, &pub, NULL), ES_OK);
        cr_expect(es_public_key_verify(&pub, message, length, want));
        for (size_t bit = 0; bit < 512; bit++) {
            want[bit / 8] ^= (unsigned char)(1u << (bit % 8));
            cr_expect_not(es_public_key_verify(&pub, message, length, want), "bit %zu", bit);
            want[bit / 8] ^= (unsigned char)(1u << (bit % 8));
        }
        es_key_free(key);
    }
}

/* RFC 8032 5.1.7: S must be below L, else a signature could be changed and still hold. S + L of test 1. */
Test(rfc_8032, section_5_1_7_large_S_is_refused)
{
    unsigned char signature[64];
    unsigned char public[32];
    struct es_public_key pub;
    static const unsigned char order[32] = {0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58, 0xd6, 0x9c, 0xf7,
                                            0xa2, 0xde, 0xf9, 0xde, 0x14, 0,    0,    0,    0,    0,    0,
                                            0,    0,    0,    0,    0,    0,    0,    0,    0,    0x10};
    unhex("e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd2"
          "5bf5f0595b"
          "be24655141438e7a100b",
          signature, 64);
    unhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", public, 32);
    cr_assert_eq(es_public_key_from_bytes(public, &pub, NULL), ES_OK);
    cr_assert(es_public_key_verify(&pub, "", 0, signature));
    unsigned carry = 0;
    for (size_t i = 0; i < 32; i++) {
        unsigned sum = signature[32 + i] + order[i] + carry;
        signature[32 + i] = (unsigned char)sum;
        carry = sum >> 8;
    }
    cr_assert_eq(carry, 0);
    cr_expect_not(es_public_key_verify(&pub, "", 0, signature));
}

/* RFC 8032 5.1.3 and 5.1.7: public keys of small order, and encodings of y >= p, would let one signature hold
 * for many messages or one key have two names. The points of order 1, 2, 4 and 8 (from memory, computed
 * again). */
Test(rfc_8032, weak_and_non_canonical_public_keys_are_refused)
{
    static const char *const rows[] = {
        "0100000000000000000000000000000000000000000000000000000000000000", /* order 1 */
        "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f", /* order 2 */
        "0000000000000000000000000000000000000000000000000000000000000000", /* order 4 */
        "0000000000000000000000000000000000000000000000000000000000000080",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05", /* order 8 */
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa",
        "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f", /* p: 0 again */
        "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f", /* p + 1: 1 again */
        "0200000000000000000000000000000000000000000000000000000000000000", /* not on the curve */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        unsigned char bytes[32];
        struct es_public_key key;
        unhex(rows[i], bytes, 32);
        cr_expect_eq(es_public_key_from_bytes(bytes, &key, NULL), ES_BAD_INPUT, "%s", rows[i]);
    }
}

/* RFC 8037 Appendix A (from memory, computed again with an independent library). */
Test(rfc_8037, appendix_a)
{
    unsigned char seed[32];
    size_t written = 0;
    const char *d = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A";
    cr_assert_eq(es_base64url_decode(d, strlen(d), seed, 32, &written, NULL), ES_OK);
    struct es_key *key = NULL;
    char jwk[ES_PUBLIC_KEY_TEXT_MAX];
    cr_assert_eq(es_key_from_seed(seed, &key, NULL), ES_OK);
    es_public_key_jwk(es_key_public(key), jwk);
    cr_expect_str_eq(jwk, "{\"crv\":\"Ed25519\",\"kid\":\"kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k\","
                          "\"kty\":\"OKP\",\"x\":\"11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo\"}");
    /* A.3, RFC 7638: thumbprint; in hex */
    unsigned char thumbprint[32];
    const char *text = es_key_public(key)->thumbprint;
    cr_expect_str_eq(text, "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k");
    cr_assert_eq(es_base64url_decode(text, strlen(text), thumbprint, 32, &written, NULL), ES_OK);
    char hex[65];
    es_hex(thumbprint, 32, hex);
    cr_expect_str_eq(hex, "90facafea9b1556698540f70c0117a22ea37bd5cf3ed3c47093c1707282b4b89");
    /* A.4: signing; A.5 is the same read backwards. RFC 7515 App. F leaves the middle part empty. */
    struct es_text input = {0};
    struct es_text jws = {0};
    unsigned char signature[ES_SIGNATURE_SIZE];
    es_text_base64url(&input, "{\"alg\":\"EdDSA\"}", 15);
    es_text_char(&input, '.');
    es_text_base64url(&input, "Example of Ed25519 signing", 26);
    cr_assert_eq(es_key_sign(key, input.bytes, input.length, signature, NULL), ES_OK);
    es_text_append(&jws, input.bytes, input.length);
    es_text_char(&jws, '.');
    es_text_base64url(&jws, signature, sizeof signature);
    cr_expect_str_eq(jws.bytes,
                     "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.hgyY0il_MGCjP0JzlnLWG1PPOt7-"
                     "09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg");
    es_text_free(&input);
    es_text_free(&jws);
    es_key_free(key);
}

/* RFC 7638 3.1: the RSA example's thumbprint input and result (from memory, computed again). The program has
 * no RSA keys; what is checked is the way: SHA-256 of the members in order, in base64url. */
Test(rfc_7638, section_3_1)
{
    static const char input[] = "{\"e\":\"AQAB\",\"kty\":\"RSA\",\"n\":"
                                "\"0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7a"
                                "PFFxuhDR1L6tSoc_BJECPebWKRXjBZCiFV4n3oknjhMstn64tZ_2W-"
                                "5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2Qvz"
                                "qY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-"
                                "bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksIN"
                                "HaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw\"}";
    unsigned char digest[32];
    struct es_text text = {0};
    crypto_hash_sha256(digest, (const unsigned char *)input, sizeof input - 1);
    es_text_base64url(&text, digest, sizeof digest);
    cr_expect_str_eq(text.bytes, "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs");
    es_text_free(&text);
}

/* FIPS 180-4 / NIST example values, SHA-256. */
Test(fips_180_4, sha_256)
{
    char hex[65];
    es_digest_hex("abc", 3, hex);
    cr_expect_str_eq(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    es_digest_hex("", 0, hex);
    cr_expect_str_eq(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    es_digest_hex("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56, hex);
    cr_expect_str_eq(hex, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    char *million = malloc(1000000);
    memset(million, 'a', 1000000);
    es_digest_hex(million, 1000000, hex);
    cr_expect_str_eq(hex, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(million);
}

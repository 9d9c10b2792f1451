/* SHA-256 against the examples published with FIPS 180-4 (figures from memory, recomputed with two other
 * implementations), through the digest that certificates quote of a document. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/digest.h"
#include "rig/base/document.h"

static const struct {
    const char *text;
    const char *digest;
} vectors[] = {
    {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
    {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
    {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
     "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
};

Test(digest, fips_180_4_examples)
{
    for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
        char digest[65];
        es_digest_hex(vectors[i].text, strlen(vectors[i].text), digest);
        cr_expect_str_eq(digest, vectors[i].digest);
    }
}

Test(digest, a_million_times_a)
{
    char digest[65];
    char *text = malloc(1000000);

    cr_assert_neq(text, NULL);
    memset(text, 'a', 1000000);
    es_digest_hex(text, 1000000, digest);
    cr_expect_str_eq(digest, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(text);
}

/* A document's digest is that of its bytes as they were read, spaces and all. The expected figure is what
 * sha256sum (GNU coreutils) prints for these bytes. */
Test(digest, of_a_document)
{
    static const char text[] = "{ \"a\" : 1 }\n";
    struct es_findings f = {0};
    struct es_document *doc = NULL;
    char digest[65];

    cr_assert_eq(es_document_parse("t.json", text, strlen(text), &f, &doc, NULL), ES_OK);
    es_document_digest(doc, digest);
    cr_expect_str_eq(digest, "0563df4c4afbd52647ca7855d8ea11ee8dbe9dafd680cb6ce3e3833e35e836c7");
    es_document_free(doc);
}

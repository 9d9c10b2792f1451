/* RFC 8785: its Appendix B, 3.2.2 and 3.2.3, and the bulk of numbers that its authors publish. */
#include <criterion/criterion.h>
#include <math.h>
#include <sodium.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "rig/base/digest.h"
#include "rig/base/document.h"
#include "rig/base/text.h"
#include "tests/reference/certificate/number_list.h"

static double from_bits(uint64_t bits)
{
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* Appendix B (from memory, computed again with an independent ECMAScript engine). */
Test(rfc_8785, appendix_b_numbers)
{
    static const struct {
        uint64_t bits;
        const char *text;
    } rows[] = {{0x0000000000000000, "0"},
                {0x8000000000000000, "0"},
                {0x0000000000000001, "5e-324"},
                {0x8000000000000001, "-5e-324"},
                {0x7fefffffffffffff, "1.7976931348623157e+308"},
                {0xffefffffffffffff, "-1.7976931348623157e+308"},
                {0x4340000000000000, "9007199254740992"},
                {0xc340000000000000, "-9007199254740992"},
                {0x4430000000000000, "295147905179352830000"},
                {0x44b52d02c7e14af5, "9.999999999999997e+22"},
                {0x44b52d02c7e14af6, "1e+23"},
                {0x44b52d02c7e14af7, "1.0000000000000001e+23"},
                {0x444b1ae4d6e2ef4e, "999999999999999700000"},
                {0x444b1ae4d6e2ef4f, "999999999999999900000"},
                {0x444b1ae4d6e2ef50, "1e+21"},
                {0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
                {0x3eb0c6f7a0b5ed8d, "0.000001"},
                {0x41b3de4355555553, "333333333.3333332"},
                {0x41b3de4355555554, "333333333.33333325"},
                {0x41b3de4355555555, "333333333.3333333"},
                {0x41b3de4355555556, "333333333.3333334"},
                {0x41b3de4355555557, "333333333.33333343"},
                {0xbecbf647612f3696, "-0.0000033333333333333333"},
                {0x43143ff3c1cb0959, "1424953923781206.2"}};
    char text[ES_CANONICAL_NUMBER_MAX];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_assert(es_canonical_number(from_bits(rows[i].bits), text));
        cr_expect_str_eq(text, rows[i].text);
    }
    cr_expect_not(es_canonical_number(from_bits(0x7fffffffffffffff), text), "NaN");
    cr_expect_not(es_canonical_number(from_bits(0x7ff0000000000000), text), "infinity");
}

static char *canonical(const char *json, size_t *length)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    char *out = NULL;
    cr_assert_eq(es_document_parse("x", json, strlen(json), &findings, &doc, NULL), ES_OK);
    cr_assert_eq(es_canonical_write(es_document_root(doc), &out, length, NULL), ES_OK);
    es_document_free(doc);
    return out;
}

/* 3.2.2, with the digest of its 118 bytes (read in the authors' test data). */
Test(rfc_8785, section_3_2_2_example)
{
    size_t length = 0;
    char digest[65];
    char *out = canonical("{\"numbers\":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"
                          "\"string\":\"\\u20ac$\\u000F\\u000aA'\\u0042\\u0022\\u005c\\\\\\\"\\/\","
                          "\"literals\":[null,true,false]}",
                          &length);
    cr_expect_str_eq(out,
                     "{\"literals\":[null,true,false],\"numbers\":[333333333.3333333,1e+30,4.5,0.002,1e-27],"
                     "\"string\":\"\xE2\x82\xAC$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\"}");
    cr_expect_eq(length, 118);
    es_digest_hex(out, length, digest);
    cr_expect_str_eq(digest, "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb");
    free(out);
}

/* 3.2.3: by UTF-16 units, so that the emoji (a surrogate pair) comes before U+FB33 (from memory, computed
 * again). */
Test(rfc_8785, section_3_2_3_sorting)
{
    size_t length = 0;
    char *out = canonical(
        "{\"\\u20ac\":\"Euro Sign\",\"\\r\":\"Carriage Return\",\"\\ufb33\":\"Hebrew Letter Dalet With "
        "Dagesh\",\"1\":\"One\",\"\\ud83d\\ude00\":\"Emoji: Grinning Face\",\"\\u0080\":\"Control\","
        "\"\\u00f6\":\"Latin Small Letter O With Diaeresis\"}",
        &length);
    static const char *const order[] = {"Carriage Return",
                                        "One",
                                        "Control",
                                        "Latin Small Letter O With Diaeresis",
                                        "Euro Sign",
                                        "Emoji: Grinning Face",
                                        "Hebrew Letter Dalet With Dagesh"};
    const char *at = out;
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        const char *found = strstr(out, order[i]);
        cr_assert_not_null(found);
        cr_expect_geq(found, at, "%s", order[i]);
        at = found;
    }
    free(out);
}

/* ---- The authors' file of 100 million numbers, its first 100 000 lines: the fixed list, 2000 numbers
 * counted from 0x0010000000000000 on, then the doubles of a chain of SHA-256 (each block the digest of the
 * one before, the first of 32 zeros), little-endian, without zeros and what is not finite. A line: bits in
 * hex, comma, text. Digests of the first 1000, 10 000 and 100 000 lines read in testdata/README.md of
 * json-canonicalization. ---- */

struct lines {
    struct es_text text;
    size_t count;
    char digest[3][65];
};

static void add_number(struct lines *l, uint64_t bits)
{
    static const size_t marks[] = {1000, 10000, 100000};
    char number[ES_CANONICAL_NUMBER_MAX];
    cr_assert(es_canonical_number(from_bits(bits), number));
    es_text_printf(&l->text, "%llx,%s\n", (unsigned long long)bits, number);
    l->count++;
    for (size_t i = 0; i < 3; i++) {
        if (l->count == marks[i]) {
            es_digest_hex(l->text.bytes, l->text.length, l->digest[i]);
        }
    }
}

static void add_list(struct lines *l, const uint64_t *list, size_t count, uint64_t sign)
{
    for (size_t i = 0; i < count; i++) {
        add_number(l, list[i] | sign);
    }
}

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

Test(rfc_8785, first_100000_numbers_of_the_authors_file)
{
    struct lines l = {0};
    unsigned char block[32] = {0};
    add_list(&l, zeros, COUNT(zeros), 0);
    add_list(&l, thirds, COUNT(thirds), UINT64_C(1) << 63);
    add_list(&l, thirds, COUNT(thirds), 0);
    add_list(&l, edges, COUNT(edges), 0);
    for (uint64_t i = 0; i < 2000; i++) {
        add_number(&l, UINT64_C(0x0010000000000000) + i);
    }
    while (l.count < 100000) {
        crypto_hash_sha256(block, block, sizeof block);
        for (size_t i = 0; i < sizeof block; i += 8) {
            uint64_t bits = 0;
            for (size_t b = 8; b-- > 0;) {
                bits = bits << 8 | block[i + b];
            }
            if (isfinite(from_bits(bits)) && from_bits(bits) != 0 && l.count < 100000) {
                add_number(&l, bits);
            }
        }
    }
    cr_expect_str_eq(l.digest[0], "be18b62b6f69cdab33a7e0dae0d9cfa869fda80ddc712221570f9f40a5878687");
    cr_expect_str_eq(l.digest[1], "b9f7a8e75ef22a835685a52ccba7f7d6bdc99e34b010992cbc5864cd12be6892");
    cr_expect_str_eq(l.digest[2], "22776e6d4b49fa294a0d0f349268e5c28808fe7e0cb2bcbe28f63894e494d4c7");
    es_text_free(&l.text);
}

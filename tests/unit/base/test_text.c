#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/nearest.h"
#include "rig/base/text.h"

Test(text, grows_and_is_taken)
{
    struct es_text t = {0};
    char *out = NULL;

    for (int i = 0; i < 1000; i++)
        es_text_printf(&t, "%d,", i);
    es_text_char(&t, '.');
    cr_expect_eq(t.length, 10 * 2 + 90 * 3 + 900 * 4 + 1);
    cr_assert_eq(es_text_take(&t, &out, NULL), ES_OK);
    cr_expect_eq(strncmp(out, "0,1,2,", 6), 0);
    cr_expect_str_eq(out + strlen(out) - 5, "999,.");
    cr_expect_eq(t.bytes, NULL);
    free(out);
}

Test(text, nothing_added_is_taken_as_an_empty_text)
{
    struct es_text t = {0};
    char *out = NULL;

    cr_assert_eq(es_text_take(&t, &out, NULL), ES_OK);
    cr_expect_str_eq(out, "");
    free(out);
}

Test(text, out_of_memory_is_sticky)
{
    struct es_text t = {0};
    struct es_error err = {0};
    char *out = NULL;

    es_text_add(&t, "kept");
    es_text_append(&t, "x", SIZE_MAX / 2); /* refused before anything is touched */
    cr_expect(t.out_of_memory);
    es_text_add(&t, "more");
    cr_expect_str_eq(t.bytes, "kept");
    cr_expect_eq(es_text_take(&t, &out, &err), ES_NO_MEMORY);
    cr_expect_eq(out, NULL);
    cr_expect_eq(err.status, ES_NO_MEMORY);
    es_text_reset(&t);
    es_text_add(&t, "again");
    cr_expect_eq(es_text_status(&t, NULL), ES_OK);
    cr_expect_str_eq(t.bytes, "again");
    es_text_free(&t);
}

Test(text, visible_shows_what_would_act_on_a_terminal)
{
    static const struct {
        const char *bytes;
        const char *expected;
    } cases[] = {
        {"plain 4.0 bar \xC2\xB0\xE2\x82\xAC", "plain 4.0 bar \xC2\xB0\xE2\x82\xAC"},
        {"\x1B[2J", "\\u{001B}[2J"},
        {"a\nb\tc\rd\x7F", "a\\nb\\tc\\rd\\u{007F}"},
        {"\xC2\x9B", "\\u{009B}"},           /* C1: a one-byte escape on some terminals */
        {"\xE2\x80\xAE", "\\u{202E}"},       /* turns the direction of writing */
        {"\xEF\xBB\xBF", "\\u{FEFF}"},       /* byte order mark */
        {"\xC0\xAF\xFF", "\\xC0\\xAF\\xFF"}, /* not UTF-8 */
        {"cut \xE2\x82", "cut \\xE2\\x82"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_text t = {0};
        es_text_visible(&t, cases[i].bytes, strlen(cases[i].bytes));
        cr_expect_str_eq(t.bytes, cases[i].expected, "case %zu: %s", i, t.bytes);
        es_text_free(&t);
    }
}

/* RFC 8259 section 7: quotation mark, reverse solidus and U+0000..U+001F must be escaped. */
Test(text, names_are_one_line_that_people_can_see)
{
    static const char *const good[] = {"4711", "EX 4711/b", "Pr\u00fcfling 7", "\u65b0\u54c1 12", "x"};
    static const struct {
        const char *text, *words;
    } bad[] = {
        {"", "is empty"},
        {" 4711", "begins or ends with a blank"},
        {"4711 ", "begins or ends with a blank"},
        {"47\t11", "(U+0009) after 2 characters"},
        {"4711\r", "(U+000D) after 4 characters"},
        {"\x1b[2J4711", "(U+001B) after 0 characters"},
        {"47\u202e11", "(U+202E) after 2 characters"},
        {"\u00fc\u200b", "(U+200B) after 1 characters"},
        {"47\xb0", "the byte 0xB0, which is no UTF-8 text, after 2 characters"},
    };
    struct es_error err = {0};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++)
        cr_expect_eq(es_text_check_line("the serial number", good[i], &err), ES_OK, "%s: %s", good[i],
                     err.text);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        cr_expect_eq(es_text_check_line("the serial number", bad[i].text, &err), ES_USAGE, "%zu", i);
        cr_expect_not_null(strstr(err.text, bad[i].words), "%zu: %s", i, err.text);
        cr_expect_eq(strncmp(err.text, "the serial number ", 18), 0, "%s", err.text);
    }
}

Test(text, json_string)
{
    struct es_text t = {0};

    es_text_json(&t, "a\"b\\c\n\t\b\f\r\x01/\xC3\xA9\xFF");
    cr_expect_str_eq(t.bytes, "\"a\\\"b\\\\c\\n\\t\\b\\f\\r\\u0001/\xC3\xA9\xEF\xBF\xBD\"");
    es_text_free(&t);
}

/* RFC 4648 section 10, without the padding that section 5 lets one leave out. */
Test(text, base64_vectors_of_rfc4648)
{
    static const char *const pairs[][2] = {
        {"", ""},           {"f", "Zg"},          {"fo", "Zm8"},          {"foo", "Zm9v"},
        {"foob", "Zm9vYg"}, {"fooba", "Zm9vYmE"}, {"foobar", "Zm9vYmFy"}, {"\xFB\xFF\xBF", "-_-_"}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct es_text t = {0};
        unsigned char back[16];
        size_t n = 99;
        es_text_base64url(&t, pairs[i][0], strlen(pairs[i][0]));
        cr_expect_str_eq(t.bytes, pairs[i][1]);
        cr_assert_eq(es_base64url_decode(t.bytes, t.length, back, sizeof back, &n, NULL), ES_OK);
        cr_expect_eq(n, strlen(pairs[i][0]));
        cr_expect_eq(memcmp(back, pairs[i][0], n), 0);
        es_text_free(&t);
    }
}

Test(text, base64_refuses_what_is_not_canonical)
{
    static const char *const bad[] = {
        "Zg==", "Zg=", "Z", "Zh", "Zm9=", "Zm 9v", "Zm9v\n", "+/+/", "Zm9vYmFy"};
    unsigned char out[5];

    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        size_t n = 0;
        struct es_error err = {0};
        cr_expect_eq(es_base64url_decode(bad[i], strlen(bad[i]), out, sizeof out, &n, &err), ES_BAD_INPUT,
                     "%s was taken", bad[i]);
    }
}

Test(text, hex_both_ways)
{
    unsigned char bytes[3];
    char hex[7];

    es_hex("\x00\xAB\xFF", 3, hex);
    cr_expect_str_eq(hex, "00abff");
    cr_assert_eq(es_hex_decode("00ABff", bytes, sizeof bytes, NULL), ES_OK);
    cr_expect_eq(memcmp(bytes, "\x00\xAB\xFF", 3), 0);
    cr_expect_eq(es_hex_decode("00abf", bytes, sizeof bytes, NULL), ES_BAD_INPUT);
    cr_expect_eq(es_hex_decode("00abff00", bytes, sizeof bytes, NULL), ES_BAD_INPUT);
    cr_expect_eq(es_hex_decode("00abfg", bytes, sizeof bytes, NULL), ES_BAD_INPUT);
}

static size_t encode(uint32_t c, char out[4])
{
    if (c < 0x80) {
        out[0] = (char)c;
        return 1;
    }
    size_t n = c < 0x800 ? 2 : c < 0x10000 ? 3 : 4;
    for (size_t i = n - 1; i > 0; i--, c >>= 6)
        out[i] = (char)(0x80u | (c & 0x3Fu));
    out[0] = (char)((0xF00u >> n & 0xF0u) | c);
    return n;
}

Test(text, utf8_takes_every_character_and_no_surrogate)
{
    for (uint32_t c = 0; c <= 0x110000; c++) {
        char bytes[4];
        uint32_t back = 0;
        size_t n = encode(c, bytes);
        bool legal = c <= 0x10FFFF && (c < 0xD800 || c > 0xDFFF);
        cr_assert_eq(es_utf8_next(bytes, n, &back), legal ? n : 0, "U+%04X", (unsigned)c);
        if (legal)
            cr_assert_eq(back, c);
        cr_assert_eq(es_utf8_next(bytes, n - 1, NULL), 0, "a cut U+%04X was taken", (unsigned)c);
    }
}

/* The Unicode Standard, table 3-7 "Well-Formed UTF-8 Byte Sequences": second bytes by first byte. */
Test(text, utf8_second_bytes_as_in_unicode_table_3_7)
{
    for (unsigned first = 0x80; first <= 0xFF; first++) {
        for (unsigned second = 0; second <= 0xFF; second++) {
            char bytes[4] = {(char)first, (char)second, (char)0x80, (char)0x80};
            unsigned low = first == 0xE0 ? 0xA0 : first == 0xF0 ? 0x90 : 0x80;
            unsigned high = first == 0xED ? 0x9F : first == 0xF4 ? 0x8F : 0xBF;
            bool legal = first >= 0xC2 && first <= 0xF4 && second >= low && second <= high;
            cr_expect_eq(es_utf8_next(bytes, 4, NULL) != 0, legal, "%02X %02X", first, second);
        }
    }
}

Test(text, utf8_count_counts_characters)
{
    cr_expect_eq(es_utf8_count(""), 0);
    cr_expect_eq(es_utf8_count("a\xC2\xB0\xE2\x82\xAC\xF0\x9F\x98\x80"), 4);
}

static const char *nearest(const char *word)
{
    static const char *const known[] = {"supply pressure", "supply demand", "output 1 flow", "rate",
                                        "travel"};
    struct es_nearest n = {.word = word};

    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        es_nearest_offer(&n, known[i]);
    return n.best;
}

Test(nearest, finds_slips_and_nothing_else)
{
    cr_expect_str_eq(nearest("suply presure"), "supply pressure");
    cr_expect_str_eq(nearest("Travel"), "travel");
    cr_expect_str_eq(nearest("rtae"), "rate");
    cr_expect_str_eq(nearest("output 2 flow"), "output 1 flow");
    cr_expect_eq(nearest("colour"), NULL);
    cr_expect_eq(nearest(""), NULL);
    cr_expect_eq(nearest("0123456789012345678901234567890123456789012345678901234567890123456789"), NULL);
}

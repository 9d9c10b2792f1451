/* The scan that takes canonical JSON and nothing else, and the look-up in what it took. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/format.h"
#include "results/certificate/span.h"
#include "rig/base/text.h"

/* From a block of just that size: whatever reads past the end is seen by the address sanitizer. */
static bool takes_bytes(const char *text, size_t length)
{
    struct es_members members;
    char *own = malloc(length > 0 ? length : 1);
    cr_assert_not_null(own);
    memcpy(own, text, length);
    bool taken = es_span_scan(own, length, &members);
    free(own);
    return taken;
}

static bool takes(const char *text)
{
    return takes_bytes(text, strlen(text));
}

Test(span, numbers_only_in_their_shortest_form)
{
    static const char *const good[] = {"0",
                                       "-1",
                                       "1.5",
                                       "0.000001",
                                       "1e-7",
                                       "1e+21",
                                       "100000000000000000000",
                                       "123456789012345",
                                       "5e-324",
                                       "9007199254740992",
                                       "-0.1",
                                       "0.1234567890123457",
                                       "1.7976931348623157e+308",
                                       "333333333.3333333"};
    static const char *const bad[] = {"-0",
                                      "1.0",
                                      "01",
                                      "1.50",
                                      "0.0000001",
                                      "1e21",
                                      "1E+21",
                                      "1e+20",
                                      "+1",
                                      ".5",
                                      "1.",
                                      "1e",
                                      "1e+400",
                                      "1e-07",
                                      "10e-9",
                                      "0.1e-9",
                                      "2.50e-9",
                                      "1e-6",
                                      "1.5E-9",
                                      "2e9",
                                      "0.12345678901234567890",
                                      "9007199254740993",
                                      "--1",
                                      "",
                                      "1000000000000000000000",
                                      "0e0",
                                      "12345678901234567890123456789012345678901"};
    char text[80];
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        (void)snprintf(text, sizeof text, "{\"a\":%s}", good[i]);
        cr_expect(takes(text), "%s", text);
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        (void)snprintf(text, sizeof text, "{\"a\":%s}", bad[i]);
        cr_expect_not(takes(text), "%s", text);
    }
}

Test(span, strings_only_with_the_escapes_that_are_needed)
{
    static const char *const good[] = {"\"\"", "\"\\\"\\\\\\b\\t\\n\\f\\r\"", "\"\\u001f\\u0001\"",
                                       "\"\xC3\xA4/\"", "\"\x7f\""};
    static const char *const bad[] = {"\"\\/\"",     "\"\\u0041\"", "\"\\u000a\"", "\"\\u001F\"",
                                      "\"\\u0000\"", "\"\x1f\"",    "\"\xC3\"",    "\"\xED\xA0\x80\"",
                                      "\"",          "\"\\\"",      "\"\\u00",     "\"\\x\""};
    char text[80];
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        (void)snprintf(text, sizeof text, "{\"a\":%s}", good[i]);
        cr_expect(takes(text), "%s", text);
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        (void)snprintf(text, sizeof text, "{\"a\":%s}", bad[i]);
        cr_expect_not(takes(text), "%s", text);
    }
}

/* RFC 8785 3.2.3: the order of UTF-16 units, in which an emoji comes before U+FB33. */
Test(span, names_rise_and_nothing_stands_between)
{
    cr_expect(takes("{}"));
    cr_expect(takes("{\"\":1,\"a\":[true,false,null],\"b\":{\"c\":\"d\"}}"));
    cr_expect(takes("{\"\\r\":1,\"1\":2,\"\xC2\x80\":3,\"\xC3\xB6\":4,\"\xE2\x82\xAC\":5,"
                    "\"\xF0\x9F\x98\x80\":6,\"\xEF\xAC\xB3\":7}"));
    static const char *const bad[] = {"{\"b\":1,\"a\":1}",
                                      "{\"a\":1,\"a\":1}",
                                      "{\"ab\":1,\"a\":1}",
                                      "{\"a\":1,}",
                                      "{,}",
                                      "{\"a\" :1}",
                                      " {}",
                                      "{}\n",
                                      "{\"a\":[1,]}",
                                      "{\"a\":[1 ]}",
                                      "{\"a\":tru}",
                                      "[]",
                                      "{\"a\":1",
                                      "{\"a\"}",
                                      "{\"\xEF\xAC\xB3\":1,\"\xF0\x9F\x98\x80\":1}",
                                      "",
                                      "{\"1\":1,\"\\r\":1}"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        cr_expect_not(takes(bad[i]), "%s", bad[i]);
    }
}

/* Found by fuzz_canonical: an exponent in the last bytes was read on past the end. */
Test(span, what_breaks_off_is_refused)
{
    static const char *const whole[] = {
        "{\"a\":[333e32]}",      "{\"a\":1e+21}",       "{\"a\":-0.12345678901234567}",
        "{\"\\u0001\":\"\\n\"}", "{\"a\":[true,null]}", "{\"a\":1234567890123456789}"};
    for (size_t i = 0; i < sizeof whole / sizeof whole[0]; i++) {
        for (size_t length = 0; length < strlen(whole[i]); length++) {
            cr_expect_not(takes_bytes(whole[i], length), "%.*s", (int)length, whole[i]);
        }
    }
}

Test(span, depth_has_an_end)
{
    char text[400] = "{\"a\":";
    for (int depth = 60; depth < 70; depth++) {
        size_t n = 5;
        memset(text + n, '[', (size_t)depth);
        memset(text + n + depth, ']', (size_t)depth);
        strcpy(text + n + 2 * (size_t)depth, "}");
        cr_expect_eq(takes(text), depth <= 64, "%d", depth);
    }
}

Test(span, finds_members_and_walks)
{
    static const char text[] =
        "{\"a\":\"x\\\"],}\",\"b\":[1,\"]\",{\"c\":[2]},true],\"d\":{\"e\":-1.5,\"f\":\"g\"}}";
    struct es_members root;
    struct es_span name = {0}, value = {0};
    const char *cursor = NULL;
    char out[8];
    cr_assert(es_span_scan(text, strlen(text), &root));
    cr_assert_eq(root.count, 3);
    struct es_span list = es_members_find(&root, "b");
    static const char *const elements[] = {"1", "\"]\"", "{\"c\":[2]}", "true"};
    for (size_t i = 0; i < 4; i++) {
        cr_assert(es_span_next(list, &cursor, &name, &value));
        cr_expect(value.length == strlen(elements[i]) && memcmp(value.at, elements[i], value.length) == 0,
                  "%.*s", (int)value.length, value.at);
    }
    cr_expect_not(es_span_next(list, &cursor, &name, &value));
    cursor = NULL;
    struct es_span object = es_members_find(&root, "d");
    cr_assert(es_span_next(object, &cursor, &name, &value));
    cr_expect(es_span_is(name, "e"));
    cr_assert(es_span_next(object, &cursor, &name, &value));
    cr_expect(es_span_is(name, "f") && es_span_text(value, out, sizeof out));
    cr_expect_str_eq(out, "g");
    cr_expect_not(es_span_next(object, &cursor, &name, &value));
    cr_expect_null(es_members_find(&root, "c").at);
    cr_expect_not(es_span_text(es_members_find(&root, "a"), out, sizeof out), "it has escapes");
    cr_expect_not(es_span_text(list, out, sizeof out));
}

/* The signing input is written by eights: against the plain writer, for every length and many bytes. */
Test(span, signing_input_is_base64url)
{
    unsigned char bytes[400];
    unsigned next = 12345;
    for (size_t i = 0; i < sizeof bytes; i++) {
        next = next * 1103515245u + 12345u;
        bytes[i] = i < 256 ? (unsigned char)i : (unsigned char)(next >> 16);
    }
    for (size_t length = 0; length <= sizeof bytes; length++) {
        struct es_text plain = {0};
        char *input = NULL;
        size_t size = 0;
        const char *tail = (const char *)bytes + sizeof bytes - length;
        cr_assert_eq(es_signing_input("h", 1, tail, length, &input, &size, NULL), ES_OK);
        es_text_base64url(&plain, "h", 1);
        es_text_char(&plain, '.');
        es_text_base64url(&plain, tail, length);
        cr_assert_eq(size, plain.length, "length %zu", length);
        cr_assert_arr_eq(input, plain.bytes, size);
        es_text_free(&plain);
        free(input);
    }
}

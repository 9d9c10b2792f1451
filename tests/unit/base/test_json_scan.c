/* The strict reader of JSON text, place by place. Accept/reject against an independent reader is in
 * tests/reference/base. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/json_scan.h"

static enum es_status scan(const char *text, size_t length, struct es_findings *f)
{
    struct es_json_marks marks = {0};
    enum es_status status = es_json_scan("t.json", text, length, f, &marks, NULL);

    cr_expect_eq(status == ES_BAD_INPUT, f->count > 0, "status and findings must agree: %s", text);
    free(marks.items);
    return status;
}

struct wanted {
    const char *text;
    unsigned line, column; /* of the first fault; line 0: good */
    const char *part;      /* in found, expected or advice of it */
};

static void expect(const struct wanted *w)
{
    struct es_findings f = {0};
    enum es_status status = scan(w->text, strlen(w->text), &f);

    cr_expect_eq(status, w->line == 0 ? ES_OK : ES_BAD_INPUT, "%s", w->text);
    if (w->line > 0 && f.count > 0) {
        const struct es_finding *first = &f.items[0];
        cr_expect(first->line == w->line && first->column == w->column, "%s: %u:%u", w->text, first->line,
                  first->column);
        cr_expect(strstr(first->found, w->part) != NULL || strstr(first->expected, w->part) != NULL ||
                      strstr(first->advice, w->part) != NULL,
                  "%s: found %s; expected %s. %s", w->text, first->found, first->expected, first->advice);
    }
    es_findings_free(&f);
}

#define EXPECT_ALL(cases)                                                                                    \
    for (size_t i = 0; i < sizeof(cases) / sizeof((cases)[0]); i++)                                          \
    expect(&(cases)[i])

Test(json_scan, good_texts)
{
    static const struct wanted cases[] = {
        {"0", 0, 0, ""},
        {" \t\r\n{ } ", 0, 0, ""},
        {"[]", 0, 0, ""},
        {"[[],{},\"\",true,false,null,-0,0.5,1e5,1E+5,2.5e-3]", 0, 0, ""},
        {"{\"a\":{\"b\":[1,2]},\"\":3}", 0, 0, ""},
        {"\"\\u00e9\\uD83D\\uDE00\\\"\\\\\\/\\b\\f\\n\\r\\t\"", 0, 0, ""},
        {"\"\xC3\xA9\xF0\x9F\x98\x80\x7F\"", 0, 0, ""},
    };
    EXPECT_ALL(cases);
}

Test(json_scan, numbers)
{
    static const struct wanted cases[] = {
        {"[01]", 1, 2, "leading zeros"},
        {"[-01]", 1, 2, "leading zeros"},
        {"[+1]", 1, 2, "plus sign"},
        {"[.5]", 1, 2, "before the point"},
        {"[1.]", 1, 2, "after the point"},
        {"[1.e5]", 1, 2, "after the point"},
        {"[1e]", 1, 2, "after the e"},
        {"[1e+]", 1, 2, "after the e"},
        {"[-]", 1, 2, "a number such as"},
        {"[0x1F]", 1, 2, "unit is a text"},
        {"[4bar]", 1, 2, "unit is a text"},
        {"[1-2]", 1, 2, "a number such as"},
        {"[1e400]", 1, 2, "1.8e308"},
        {"[-1e400]", 1, 2, "1.8e308"},
        {"[1_000]", 1, 2, "a number such as"},
        {"[000000000000000000000000000000000000000000000000000000000000000000000000]", 1, 2, "63 characters"},
        {"[1e-400]", 0, 0, ""}, /* underflows to zero: a number all the same */
    };
    EXPECT_ALL(cases);
}

Test(json_scan, words)
{
    static const struct wanted cases[] = {
        {"[True]", 1, 2, "found"},   {"[nul]", 1, 2, "null"},   {"NaN", 1, 1, "NaN"},
        {"[Infinity]", 1, 2, "Inf"}, {"[truefalse]", 1, 2, ""}, {"[undefined]", 1, 2, "undefined"},
    };
    for (size_t i = 1; i < sizeof cases / sizeof cases[0]; i++)
        expect(&cases[i]);
}

Test(json_scan, strings)
{
    static const struct wanted cases[] = {
        {"[\"a\\qb\"]", 1, 4, "an escape such as"},
        {"[\"\\u12\"]", 1, 3, "four hex digits"},
        {"[\"\\u12G4\"]", 1, 3, "four hex digits"},
        {"[\"\\u0000\"]", 1, 3, "without NUL"},
        {"[\"\\uD800\"]", 1, 3, "first half"},
        {"[\"\\uD800\\n\"]", 1, 3, "first half"},
        {"[\"\\uD800\\u0041\"]", 1, 3, "first half"},
        {"[\"\\uDC00\"]", 1, 3, "second half"},
        {"[\"tab\there\"]", 1, 6, "Write \\t"},
        {"[\"esc\x1Bhere\"]", 1, 6, "control character"},
        {"[\"open", 1, 2, "file's end"},
        {"[\"open\n\"]", 1, 2, "line's end"},
        {"[\"back\\", 1, 7, "an escape such as"},
        {"[\"\xC3\"]", 1, 3, "UTF-8"},
        {"[\"\xC0\xAF\"]", 1, 3, "UTF-8"},
        {"[\"\xED\xA0\x80\"]", 1, 3, "UTF-8"},
        {"['a']", 1, 2, "double quotes"},
    };
    EXPECT_ALL(cases);
}

Test(json_scan, structure)
{
    static const struct wanted cases[] = {
        {"", 1, 1, "the end of the file"},
        {"  \n ", 2, 2, "the end of the file"},
        {"[1,]", 1, 3, "after the last element"},
        {"{\"a\":1,}", 1, 7, "after the last element"},
        {"[,1]", 1, 2, "a value"},
        {"[1,,2]", 1, 4, "a value"},
        {"[1 2]", 1, 4, "comma seems to be missing"},
        {"{\"a\":1 \"b\":2}", 1, 8, "comma seems to be missing"},
        {"[1", 1, 3, "the end of the file"},
        {"[1}", 1, 3, "a comma or ]"},
        {"{\"a\"}", 1, 5, "colon"},
        {"{\"a\":}", 1, 6, "a value"},
        {"{a:1}", 1, 2, "name in double quotes"},
        {"{1:1}", 1, 2, "name in double quotes"},
        {"{\"a\" 1}", 1, 6, "colon"},
        {"[] []", 1, 4, "end of the file after the value"},
        {"{}\n}", 2, 1, "end of the file after the value"},
        {"// x\n{}", 1, 1, "no comments"},
        {"{} # x", 1, 4, "end of the file"},
        {"\xEF\xBB\xBF{}", 1, 1, "byte order mark"},
        {"[\xC2\xA0"
         "1]",
         1, 2, "a value"},
        {"\x01", 1, 1, "\\u{0001}"},
        {"]", 1, 1, "a value"},
    };
    EXPECT_ALL(cases);
}

Test(json_scan, columns_count_characters_and_lines_newlines)
{
    static const struct wanted cases[] = {
        {"{\"\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80\": 01}", 1, 9, "leading"},
        {"[\n\n  01]", 3, 3, "leading"},
        {"[\r\n\r\n  01]", 3, 3, "leading"},
        {"[\t01]", 1, 3, "leading"},
    };
    EXPECT_ALL(cases);
}

Test(json_scan, nul_inside_is_no_end)
{
    struct es_findings f = {0};

    cr_expect_eq(scan("[1]\0", 4, &f), ES_BAD_INPUT);
    cr_expect_eq(f.count, 1);
    cr_expect_str_eq(f.items[0].found, "'\\u{0000}'");
    es_findings_free(&f);
    cr_expect_eq(scan("[\"a\0b\"]", 7, &f), ES_BAD_INPUT);
    es_findings_free(&f);
}

Test(json_scan, several_faults_in_one_go)
{
    static const char text[] = "{\n \"a\": 01,\n \"b\": [1,],\n \"c\": \"x\\y\",\n \"d\": tru\n \"e\": 1.\n}";
    struct es_findings f = {0};
    static const unsigned lines[] = {2, 3, 4, 5, 6, 6};

    cr_expect_eq(scan(text, strlen(text), &f), ES_BAD_INPUT);
    cr_assert_eq(f.count, 6);
    for (size_t i = 0; i < f.count; i++)
        cr_expect_eq(f.items[i].line, lines[i], "%zu: %u", i, f.items[i].line);
    es_findings_free(&f);
}

Test(json_scan, depth_of_64_and_no_more)
{
    char text[2 * 65 + 1];

    for (size_t depth = 63; depth <= 65; depth++) {
        struct es_findings f = {0};
        memset(text, '[', depth);
        memset(text + depth, ']', depth);
        cr_expect_eq(scan(text, 2 * depth, &f), depth <= 64 ? ES_OK : ES_BAD_INPUT, "%zu", depth);
        if (depth == 65) {
            cr_assert_eq(f.count, 1);
            cr_expect_eq(f.items[0].column, 65);
        }
        es_findings_free(&f);
    }
}

Test(json_scan, a_binary_file_does_not_drown_the_reader)
{
    static char text[100000];
    struct es_findings f = {0};

    text[0] = '"';
    memset(text + 1, 0xFF, sizeof text - 1);
    cr_expect_eq(scan(text, sizeof text, &f), ES_BAD_INPUT);
    cr_expect_leq(f.count, 51);
    es_findings_free(&f);
}

/* What is shown is cut between characters, also where the text is no UTF-8 at all. */
Test(json_scan, shown_text_is_cut_between_characters)
{
    static const struct wanted cases[] = {
        {"[] "
         "\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC",
         1, 4, "'\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC'"},
        {"[\"\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\"]",
         1, 2, "a byte that is not UTF-8"},
    };
    EXPECT_ALL(cases);
}

/* Cutting a good document anywhere gives a fault and nothing worse. */
Test(json_scan, every_cut_is_a_fault)
{
    static const char text[] = "{\"a\":[1,{\"b\":\"\\u00e9\xC3\xA9\"},true],\"c\":-1.5e3}";

    for (size_t n = 0; n < strlen(text); n++) {
        struct es_findings f = {0};
        cr_expect_eq(scan(text, n, &f), ES_BAD_INPUT, "the first %zu bytes were taken", n);
        es_findings_free(&f);
    }
}

Test(json_scan, marks_are_in_document_order)
{
    static const char text[] = "{\"a\": [1, \"x\"],\n \"b\": {}}";
    struct es_findings f = {0};
    struct es_json_marks m = {0};

    cr_assert_eq(es_json_scan("t.json", text, strlen(text), &f, &m, NULL), ES_OK);
    cr_assert_eq(m.count, 5);
    cr_expect(m.items[0].line == 1 && m.items[0].column == 1 && m.items[0].name_line == 0);
    cr_expect(m.items[1].column == 7 && m.items[1].name_column == 2);
    cr_expect(m.items[2].column == 8 && m.items[2].name_line == 0);
    cr_expect(m.items[3].column == 11 && m.items[3].end - m.items[3].begin == 3);
    cr_expect(m.items[4].line == 2 && m.items[4].column == 7 && m.items[4].name_line == 2 &&
              m.items[4].name_column == 2);
    cr_expect_eq(m.items[0].end, strlen(text));
    free(m.items);
}

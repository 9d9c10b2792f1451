#include <criterion/criterion.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/console/display.h"

static void in_utf8(void)
{
    cr_assert_not_null(setlocale(LC_CTYPE, "C.UTF-8"));
}

TestSuite(display, .init = in_utf8);

Test(display, counts_columns_not_bytes)
{
    cr_assert_eq(es_display_width("abc"), 3);
    cr_assert_eq(es_display_width("±≤ß"), 3);
    cr_assert_eq(es_display_width("e\xCC\x81"), 1); /* e and a combining acute accent */
    cr_assert_eq(es_display_width("弁"), 2);
    cr_assert_eq(es_display_width("\xFFx"), 2);
    cr_assert_eq(es_display_width(""), 0);
}

Test(display, never_cuts_a_character)
{
    size_t width;
    cr_assert_eq(es_display_fit("a±b", 2, &width), 3);
    cr_assert_eq(width, 2);
    cr_assert_eq(es_display_fit("弁弁", 3, &width), 3);
    cr_assert_eq(width, 2);
    cr_assert_eq(es_display_fit("abc", 10, &width), 3);
}

static char *wrapped(const char *text, size_t indent, size_t width)
{
    char *out = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&out, &size);
    es_display_wrap(text, indent, width, to);
    cr_assert_eq(fclose(to), 0);
    return out;
}

Test(display, breaks_at_spaces)
{
    char *out = wrapped("one two three four five six seven", 4, 24);
    cr_assert_str_eq(out, "one two three four\n    five six seven\n");
    free(out);
}

Test(display, keeps_line_feeds_and_cuts_long_words)
{
    char *out = wrapped("a\nb", 0, 40);
    cr_assert_str_eq(out, "a\nb\n");
    free(out);
    out = wrapped("abcdefghijklmnopqrstuvwxyz", 0, 20);
    cr_assert_str_eq(out, "abcdefghijklmnopqrst\nuvwxyz\n");
    free(out);
    out = wrapped("", 0, 20);
    cr_assert_str_eq(out, "\n");
    free(out);
}

Test(display, words_break_after_hyphens_but_numbers_do_not)
{
    size_t next;
    cr_expect_eq(es_display_line("linear-single-acting", 16, &next), 14);
    cr_expect_eq(next, 14);
    cr_expect_eq(es_display_line("from 2026-03-01", 12, &next), 4);
    cr_expect_eq(es_display_line("within -0.3", 9, &next), 6);
}

Test(display, a_number_is_not_parted_from_its_unit)
{
    static const struct {
        const char *text, *wanted;
    } cases[] = {
        {"the unit misses by 57.04 Nl/h.", "the unit misses by\n57.04 Nl/h.\n"},
        {"not more than at most 0.1 % of all", "not more than at\nmost 0.1 % of all\n"},
        {"it now lets out 12.5 l/h ANR there", "it now lets out\n12.5 l/h ANR there\n"},
        {"a large group of 12 units here", "a large group of 12\nunits here\n"},
        {"1234567890123456.123 bar", "1234567890123456.123\nbar\n"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *out = wrapped(cases[i].text, 0, 20);
        cr_expect_str_eq(out, cases[i].wanted, "%s", out);
        free(out);
    }
}

/* A procedure from outside must not move the cursor, ring, or hide what it says. */
Test(display, lines_from_outside_are_harmless)
{
    char *out = NULL;
    size_t size;
    FILE *to = open_memstream(&out, &size);
    cr_assert_not_null(to);
    es_display_lines("one\n\n  \033[31mtw\u00f6\a\r\n\xE2\x80\x8B"
                     "end",
                     to);
    cr_assert_eq(fclose(to), 0);
    cr_expect_str_eq(out, "one\n\n  \\u{001B}[31mtw\u00f6\\u{0007}\\r\n\\u{200B}end\n");
    free(out);
}

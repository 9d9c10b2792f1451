#include <criterion/criterion.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>

#include "rig/console/display.h"
#include "rig/console/table.h"

static void in_utf8(void)
{
    cr_assert_not_null(setlocale(LC_CTYPE, "C.UTF-8"));
}

TestSuite(table, .init = in_utf8);

static const struct es_column columns[] = {
    {.title = "Verdict"},
    {.title = "Measurand", .wraps = true, .least = 18},
    {.title = "Value", .align = ES_ALIGN_RIGHT},
    {.title = "", .gap = 1},
    {.title = "Limits", .wraps = true, .least = 10},
};

static struct es_table *sample(void)
{
    struct es_table *t = es_table_new(columns, 5);
    cr_assert_not_null(t);
    es_table_heading(t, "Relay leak with no input");
    es_table_row(t, ES_PLAIN,
                 (const char *const[]){"✓ pass", "leak of output 1 at minimum supply", "0.12", "± 0.31 Nl/h",
                                       "≤ 5 Nl/h"});
    es_table_row(t, ES_STRONG,
                 (const char *const[]){"✗ FAIL", "leak of output 2 at maximum supply", "123.4", "± 1.1 Nl/h",
                                       "≤ 5 Nl/h"});
    es_table_note(t, 4, "the flow sensor and the pressure rise agree");
    return t;
}

static char *printed(const struct es_table *t, size_t width, bool colour)
{
    char *out = NULL;
    size_t size = 0;
    struct es_error err;
    FILE *to = open_memstream(&out, &size);
    cr_assert_eq(es_table_print(t, width, 0, colour, to, &err), ES_OK);
    cr_assert_eq(fclose(to), 0);
    return out;
}

static void fits(const char *text, size_t width)
{
    char *copy = strdup(text);
    for (char *line = strtok(copy, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        cr_expect_leq(es_display_width(line), width, "%zu columns: %s", es_display_width(line), line);
        cr_expect_neq(line[strlen(line) - 1], ' ', "line ends in a blank: %s", line);
    }
    free(copy);
}

Test(table, wide_enough_is_one_line_a_row)
{
    struct es_table *t = sample();
    char *out = printed(t, 120, false);
    cr_assert_str_eq(out, "Verdict  Measurand                           Value              Limits\n"
                          "\nRelay leak with no input\n"
                          "✓ pass   leak of output 1 at minimum supply   0.12 ± 0.31 Nl/h  ≤ 5 Nl/h\n"
                          "✗ FAIL   leak of output 2 at maximum supply  123.4 ± 1.1 Nl/h   ≤ 5 Nl/h\n"
                          "    the flow sensor and the pressure rise agree\n");
    free(out);
    es_table_free(t);
}

Test(table, wraps_at_60_columns_and_loses_nothing)
{
    struct es_table *t = sample();
    char *out = printed(t, 60, false);
    fits(out, 60);
    cr_assert_not_null(strstr(out, "✗ FAIL"));
    cr_assert_not_null(strstr(out, "supply"));
    cr_assert_not_null(strstr(out, "123.4 ± 1.1 Nl/h"));
    free(out);
    es_table_free(t);
}

Test(table, fits_at_every_width)
{
    struct es_table *t = sample();
    for (size_t width = 24; width <= 140; width++) {
        char *out = printed(t, width, false);
        fits(out, width);
        cr_assert_not_null(strstr(out, "FAIL"), "lost the verdict at %zu", width);
        cr_assert_not_null(strstr(out, "123.4"), "lost the value at %zu", width);
        free(out);
    }
    es_table_free(t);
}

Test(table, too_narrow_is_stacked)
{
    struct es_table *t = sample();
    char *out = printed(t, 40, false);
    cr_assert_str_eq(out, "Relay leak with no input\n"
                          "✓ pass\n"
                          "    leak of output 1 at minimum supply\n"
                          "    0.12 ± 0.31 Nl/h  ≤ 5 Nl/h\n"
                          "✗ FAIL\n"
                          "    leak of output 2 at maximum supply\n"
                          "    123.4 ± 1.1 Nl/h  ≤ 5 Nl/h\n"
                          "    the flow sensor and the pressure\n"
                          "    rise agree\n");
    free(out);
    es_table_free(t);
}

Test(table, spare_columns_give_way_first)
{
    static const struct es_column some[] = {
        {.title = "Channel", .wraps = true, .least = 15},
        {.title = "Value", .align = ES_ALIGN_RIGHT},
        {.title = "Age", .spare = 1},
        {.title = "Due", .spare = 2},
    };
    static const char *const cells[] = {"supply pressure", "4.0", "0.1", "2027-01-31"};
    struct es_table *t = es_table_new(some, 4);
    es_table_row(t, ES_PLAIN, cells);
    char *wide = printed(t, 39, false), *less = printed(t, 38, false), *least = printed(t, 22, false);
    cr_expect_str_eq(wide, "Channel          Value  Age  Due\nsupply pressure    4.0  0.1  2027-01-31\n");
    cr_expect_str_eq(less, "Channel          Value  Due\nsupply pressure    4.0  2027-01-31\n");
    cr_expect_str_eq(least, "Channel          Value\nsupply pressure    4.0\n");
    free(wide);
    free(less);
    free(least);
    es_table_free(t);
}

Test(table, a_block_names_what_does_not_speak_for_itself)
{
    static const struct es_column some[] = {{.title = "Bus"}, {.title = "Hang-ups", .named = true}};
    static const char *const cells[] = {"a bus with a long name", "3"};
    struct es_table *t = es_table_new(some, 2);
    es_table_row(t, ES_PLAIN, cells);
    char *out = printed(t, 30, false);
    cr_expect_str_eq(out, "a bus with a long name\n    Hang-ups 3\n");
    free(out);
    es_table_free(t);
}

Test(table, colour_only_when_asked_for)
{
    struct es_table *t = sample();
    char *plain = printed(t, 100, false), *coloured = printed(t, 100, true);
    cr_assert_null(strchr(plain, '\033'));
    cr_assert_not_null(strstr(coloured, "\033[1m✗ FAIL"));
    free(plain);
    free(coloured);
    es_table_free(t);
}

Test(table, cells_cannot_steer_the_terminal)
{
    static const struct es_column one[] = {{.title = "Serial"}};
    struct es_table *t = es_table_new(one, 1);
    es_table_row(t, ES_PLAIN, (const char *const[]){"\033]0;owned\007 \xE2\x80\xAE 4711\n\xC2\x9B"});
    char *out = printed(t, 100, false);
    cr_assert_null(strchr(out, '\033'));
    cr_assert_null(strchr(out, '\007'));
    cr_assert_null(strstr(out, "\xE2\x80\xAE"));
    cr_assert_null(strstr(out, "\xC2\x9B"));
    cr_assert_not_null(strstr(out, "4711"));
    free(out);
    es_table_free(t);
}

Test(table, empty_and_null_cells)
{
    struct es_table *t = sample();
    es_table_row(t, ES_PLAIN, (const char *const[]){NULL, NULL, "", "", NULL});
    char *out = printed(t, 100, false);
    fits(out, 100);
    free(out);
    es_table_free(t);
    es_table_row(NULL, ES_PLAIN, NULL);
    struct es_error err;
    cr_assert_eq(es_table_print(NULL, 80, 0, false, stdout, &err), ES_NO_MEMORY);
}

/* RFC 4180 section 2. */
Test(table, csv_quotes_as_rfc_4180_says)
{
    char *out = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&out, &size);
    es_csv_row(to, (const char *const[]){"aaa", "b,b", "c\"c", "d\r\nd", NULL, "e"}, 6);
    cr_assert_eq(fclose(to), 0);
    cr_assert_str_eq(out, "aaa,\"b,b\",\"c\"\"c\",\"d\r\nd\",,e\r\n");
    free(out);
}

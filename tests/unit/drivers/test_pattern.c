#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "drivers/line/pattern.h"

static bool match(const char *pattern, const char *text, double *value)
{
    struct es_raw raw = {-99, false};
    bool good = es_pattern_match(pattern, text, strlen(text), &raw);
    *value = raw.valid ? raw.value : NAN;
    return good;
}

Test(pattern, takes_numbers_of_every_form)
{
    static const struct {
        const char *pattern, *text;
        double value;
    } rows[] = {
        {"{number}", "12", 12},
        {"{number}", "+1.250E-02", 0.0125},
        {"{number}", "  -0.5\r\n", -0.5},
        {"{number}", ".5", 0.5},
        {"{number}", "4.", 4},
        {"I={number} mA", "I=12.004 mA", 12.004},
        {"I={number} mA", "I=12.004   mA", 12.004},
        {"{any},{number}", "CURR,4.000", 4},
        {"{any},{any},{number}", "a,b,c,7", 7},
        {"{any},{number},{any}", "x,1.5,y", 1.5},
        {"{number}E", "5E", 5},
        {"{{{number}}", "{3}", 3},
        {"{state}", "on", 1},
        {"{state}", "OFF", 0},
        {"OUT {state}", "OUT 1", 1},
        {"#{any} {number}", "#1 #2 17", 17},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double value;
        cr_expect(match(rows[i].pattern, rows[i].text, &value), "%s on %s", rows[i].pattern, rows[i].text);
        cr_expect_eq(value, rows[i].value, "%s on %s gave %g", rows[i].pattern, rows[i].text, value);
    }
}

Test(pattern, refuses_what_does_not_fit_wholly)
{
    static const struct {
        const char *pattern, *text;
    } rows[] = {{"{number}", ""},        {"{number}", "abc"},       {"{number}", "12x"}, {"{number}", "1,2"},
                {"I={number}", "U=3"},   {"{number} mA", "3"},      {"{number}", "--3"}, {"{number}", "+"},
                {"{state}", "2"},        {"{any},{number}", "a,b"}, {"{number}", "1 2"}, {"{number}", "0x10"},
                {"{number}", "1,234.5"}, {"{number}", "12.5.1"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double value;
        cr_expect_not(match(rows[i].pattern, rows[i].text, &value), "%s took %s", rows[i].pattern,
                      rows[i].text);
    }
}

/* SCPI-99 vol. 1, 7.2.1.4 and 7.2.1.5. */
Test(pattern, numbers_that_mean_none_match_and_are_not_valid)
{
    static const char *const texts[] = {"9.9E37", "-9.9E+37", "9.91E37", "NAN", "INF", "NINF", "1e999"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct es_raw raw = {0, true};
        cr_expect(es_pattern_match("{number}", texts[i], strlen(texts[i]), &raw), "%s", texts[i]);
        cr_expect_not(raw.valid, "%s", texts[i]);
    }
}

Test(pattern, no_match_leaves_the_value)
{
    struct es_raw raw = {5, true};
    cr_expect_not(es_pattern_match("{number} V", "7 A", 3, &raw));
    cr_expect_eq(raw.value, 5);
}

Test(pattern, fills)
{
    char out[40];
    cr_expect(es_pattern_fill("CURR {value}", 12.00449, 4, out, sizeof out));
    cr_expect_str_eq(out, "CURR 12.0045");
    cr_expect(es_pattern_fill("OUTP {state}", 1, 0, out, sizeof out));
    cr_expect_str_eq(out, "OUTP ON");
    cr_expect(es_pattern_fill("A{{{value}}", -2, 0, out, sizeof out));
    cr_expect_str_eq(out, "A{-2}");
    cr_expect_not(es_pattern_fill("OUTP {state}", 0.5, 0, out, sizeof out));
    cr_expect_not(es_pattern_fill("CURR {value}", NAN, 4, out, sizeof out));
    cr_expect_not(es_pattern_fill("CURR {value}", 1, 4, out, 8));
}

/* What is filled in is taken out again. */
Test(pattern, both_ways)
{
    for (int d = 0; d < 9; d++) {
        double value = -123.456789 * pow(10, -d / 2), taken;
        char out[80];
        cr_assert(es_pattern_fill("set {value} ok", value, d, out, sizeof out));
        cr_assert(match("set {number} ok", out, &taken));
        cr_expect_leq(fabs(taken - value), 0.5000001 * pow(10, -d));
    }
}

Test(pattern, faults_are_named)
{
    cr_expect_null(es_pattern_fault("{number}", 1));
    cr_expect_null(es_pattern_fault("plain {any}", 0));
    cr_expect_not_null(es_pattern_fault("plain", 1));
    cr_expect_not_null(es_pattern_fault("{number}{number}", 1));
    cr_expect_not_null(es_pattern_fault("{nummer}", 1));
    cr_expect_not_null(es_pattern_fault("{any}{any}{number}", 1));
    cr_expect_not_null(es_pattern_fault("{", 0));
}

/* A pattern and an answer made to be slow take no time. */
Test(pattern, long_texts_stay_quick, .timeout = 5)
{
    static char text[2000], pattern[1200];
    memset(text, 'a', sizeof text - 1);
    for (size_t i = 0; i + 6 < sizeof pattern; i += 6)
        memcpy(pattern + i, "{any}a", 6);
    memcpy(pattern + 1190, "{any}b", 7);
    double value;
    for (int i = 0; i < 100; i++)
        cr_expect_not(match(pattern, text, &value));
}

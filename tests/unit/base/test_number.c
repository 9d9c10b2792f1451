/* Rounding of results: JCGM 100:2008 7.2.6 (two significant digits of U are enough; the estimate is rounded
 * to be consistent). Published examples: 7.2.2 and H.1 (end gauge). */
#include <criterion/criterion.h>
#include <math.h>

#include "rig/base/number.h"

static void gives(double value, double U, const char *want_value, const char *want_U)
{
    struct es_number_text text;
    es_number_with_uncertainty(value, U, 3, &text);
    cr_expect_str_eq(text.value, want_value, "%g +- %g: value %s, wanted %s", value, U, text.value,
                     want_value);
    cr_expect_str_eq(text.U, want_U, "%g +- %g: U %s, wanted %s", value, U, text.U, want_U);
}

/* JCGM 100 7.2.4: m_S = (100,021 47 +- 0,000 79) g; 7.2.6: 10,057 62 ohm with u = 27 mohm becomes 10,058. */
Test(number, examples_of_jcgm_100)
{
    gives(100.02147, 0.00079, "100.02147", "0.00079");
    gives(10.05762, 0.027, "10.058", "0.027");
}

/* JCGM 100 H.1.6/H.1.7: l = 50 000 838 nm, U = 93 nm (k = 2,92 of u = 32 nm). */
Test(number, end_gauge_of_jcgm_100)
{
    gives(50000838, 92.8, "50000838", "93");
    gives(50.000838, 0.0000928, "50.000838", "0.000093");
}

Test(number, rounds_both_alike)
{
    gives(12.3456, 0.4249, "12.35", "0.42");
    gives(12.3456, 0.996, "12.3", "1.0");
    gives(12.3456, 9.96, "12", "10");
    gives(12.3456, 0.0996, "12.35", "0.10");
    gives(1234.5, 12.4, "1234", "12");
    gives(123456, 1234, "123500", "1200");
    gives(98765, 9960, "99000", "10000");
    gives(-0.0004, 0.012, "0.000", "0.012");
    gives(-3.14159, 0.1, "-3.14", "0.10");
    gives(0, 1e-7, "0.00000000", "0.00000010");
}

Test(number, without_uncertainty_the_fallback_rounds)
{
    gives(1.23456, 0, "1.235", "");
    gives(1.23456, NAN, "1.235", "");
    gives(1.23456, INFINITY, "1.235", "");
    gives(1.23456, -1, "1.235", "");
}

Test(number, no_number_is_said)
{
    gives(NAN, 0.1, "no value", "0.10");
    gives(INFINITY, NAN, "no value", "");
}

Test(number, huge_numbers_stay_short)
{
    char text[ES_NUMBER_SIZE];
    es_number_round(1.7e308, 2, text);
    cr_assert_str_eq(text, "1.7e+308");
    es_number_round(123.456, 200, text);
    cr_assert_str_eq(text, "123.456");
}

Test(number, limits_keep_what_was_written)
{
    char text[ES_NUMBER_SIZE];
    es_number_limit(0.5, text);
    cr_assert_str_eq(text, "0.5");
    es_number_limit(-30, text);
    cr_assert_str_eq(text, "-30");
    es_number_limit(1.3999999999999999, text);
    cr_assert_str_eq(text, "1.4");
    es_number_limit(-0.0, text);
    cr_assert_str_eq(text, "0");
}

Test(number, durations)
{
    char text[ES_NUMBER_SIZE];
    es_number_duration(4.4, text);
    cr_assert_str_eq(text, "4 s");
    es_number_duration(245, text);
    cr_assert_str_eq(text, "4 min 05 s");
    es_number_duration(59.7, text);
    cr_assert_str_eq(text, "1 min 00 s");
    es_number_duration(3720, text);
    cr_assert_str_eq(text, "1 h 02 min");
    es_number_duration(NAN, text);
    cr_assert_str_eq(text, "?");
    es_number_duration(-1, text);
    cr_assert_str_eq(text, "?");
}

/* JCGM 101:2008 5.5.3: a coverage interval need not be symmetric about the value. */
Test(number, uneven_intervals_say_both_sides)
{
    char above[ES_NUMBER_SIZE], below[ES_NUMBER_SIZE];
    cr_assert(es_number_uneven(0.37, 0.07, 0.78, 2, above, below));
    cr_assert_str_eq(above, "0.41");
    cr_assert_str_eq(below, "0.30");
    cr_assert_not(es_number_uneven(0, -3.923, 3.922, 2, above, below), "the same to the digits shown");
    cr_assert_not(es_number_uneven(1, NAN, 2, 1, above, below));
}

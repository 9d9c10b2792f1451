#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

#include "rig/base/quantity.h"
#include "rig/base/role.h"
#include "rig/base/unit_hint.h"
#include "rig/base/unit_spelling.h"
#include "rig/base/units.h"

static double value_of(const char *text)
{
    struct es_quantity q = {0};
    struct es_error err = {0};

    cr_assert_eq(es_quantity_parse(text, &q, &err), ES_OK, "%s: %s", text, err.text);
    return q.value;
}

static void near(double got, double expected, const char *text)
{
    cr_expect(fabs(got - expected) <= 4 * DBL_EPSILON * fabs(expected), "%s: %.17g, not %.17g", text, got,
              expected);
}

Test(quantity, as_written_in_procedures)
{
    static const struct {
        const char *text;
        double value;
    } cases[] = {
        {"4.0 bar", 4e5},
        {"30 s", 30},
        {"12 mA", 0.012},
        {"0.5 %", 0.005},
        {"15 deg", M_PI / 12},
        {"-30 deg", -M_PI / 6},
        {"20 degC", 293.15},
        {"-40 degC", 233.15},
        {"12", 12},
        {"+3.5", 3.5},
        {"  7  ", 7},
        {"1.5e2 mm", 0.15},
        {"2.0 dm3/(s bar)", 2e-8},
        {"250ms", 0.25},
        {"4 min", 240},
        {"1 l/min ANR", 1e-3 / 60},
        {"1 %/s", 0.01},
        {"6 mbar/min", 10},
        {"2 K", 2},
        {"4 bar  ", 4e5},
        {"0e-5000 m", 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        near(value_of(cases[i].text), cases[i].value, cases[i].text);
}

Test(quantity, decimals_as_written)
{
    static const struct {
        const char *text;
        int decimals;
    } cases[] = {{"4 bar", 0},    {"4.00 bar", 2}, {"1.5e2 mm", 0},
                 {"1.5e-3 m", 4}, {"2e3 Pa", 0},   {"2e-3 m", 3}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_quantity q = {0};
        cr_assert_eq(es_quantity_parse(cases[i].text, &q, NULL), ES_OK);
        cr_expect_eq(q.decimals, cases[i].decimals, "%s: %d", cases[i].text, q.decimals);
    }
}

Test(quantity, refused_with_a_reason)
{
    static const struct {
        const char *text;
        const char *part;
    } cases[] = {
        {"", "a number and its unit"},
        {"bar", "a number and its unit"},
        {"4,0 bar", "not a comma"},
        {"1,000 Pa", "not a comma"},
        {"1.000,5 Pa", "not a comma"},
        {"1.2.3 bar", "a number and its unit"},
        {".5 bar", "a number and its unit"},
        {"5. bar", "a number and its unit"},
        {"0x10 bar", "unknown unit \"x10 bar\""},
        {"inf bar", "a number and its unit"},
        {"nan", "a number and its unit"},
        {"1e400 bar", "below 1.8e308"},
        {"1e306 MPa", "below 1.8e308"},
        {"4 Bar", "unknown unit \"Bar\""},
        {"4 bar g", "unknown unit"},
        {"4 - bar", "unknown unit"},
        {"--4 bar", "a number and its unit"},
        {"4e bar", "a number and its unit"},
        {"\xE2\x88\x92"
         "4 bar",
         "a number and its unit"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_quantity q = {.value = 77};
        struct es_error err = {0};
        cr_expect_eq(es_quantity_parse(cases[i].text, &q, &err), ES_BAD_INPUT, "%s was taken", cases[i].text);
        cr_expect_neq(strstr(err.text, cases[i].part), NULL, "%s: %s", cases[i].text, err.text);
        cr_expect_eq(q.value, 77, "out-parameters are written only on success");
    }
}

Test(quantity, dimension_is_demanded)
{
    struct es_quantity q = {0};
    struct es_error err = {0};

    cr_expect_eq(es_quantity_parse_as("4 bar", ES_DIM_PRESSURE, &q, &err), ES_OK);
    cr_expect_eq(es_quantity_parse_as("4 mA", ES_DIM_PRESSURE, &q, &err), ES_BAD_INPUT);
    cr_expect_neq(strstr(err.text, "a unit of current; expected a pressure in one of: bar, Pa"), NULL, "%s",
                  err.text);
    cr_expect_eq(es_quantity_parse_as("4", ES_DIM_PRESSURE, &q, &err), ES_BAD_INPUT);
    cr_expect_neq(strstr(err.text, "without unit"), NULL, "%s", err.text);
    cr_expect_eq(es_quantity_parse_as("4 bra", ES_DIM_PRESSURE, &q, &err), ES_BAD_INPUT);
    cr_expect_neq(
        strstr(err.text, "the unknown unit \"bra\" (did you mean \"bar\"?); expected a pressure in one of"),
        NULL, "%s", err.text);
    cr_expect_eq(es_quantity_parse_as("4 bar", ES_DIM_NUMBER, &q, &err), ES_BAD_INPUT);
    cr_expect_neq(strstr(err.text, "a plain number"), NULL, "%s", err.text);
    cr_expect_eq(es_quantity_parse_as("0.5", ES_DIM_RATIO, &q, &err), ES_BAD_INPUT,
                 "0.5 of what: a ratio needs its %% or 1");
}

/* What people write who know the unit by another spelling, and what they are told. */
Test(quantity, near_misses_are_named)
{
    static const struct {
        const char *text;
        enum es_dimension dimension;
        const char *hint;
    } cases[] = {
        {"4 Bar", ES_DIM_PRESSURE, "write \"bar\""},
        {"4 bars", ES_DIM_PRESSURE, "did you mean \"bar\"?"},
        {"4 barg", ES_DIM_PRESSURE, "gauge unless their name says absolute; write \"bar\""},
        {"60 PSIG", ES_DIM_PRESSURE, "gauge unless their name says absolute; write \"psi\""},
        {"60 PSI", ES_DIM_PRESSURE, "write \"psi\""},
        {"400 KPA", ES_DIM_PRESSURE, "did you mean \"kPa\"?"},
        {"0.4 Mpa", ES_DIM_PRESSURE, "did you mean \"MPa\"?"},
        {"4000 mBar", ES_DIM_PRESSURE, "write \"mbar\""},
        {"5 l/min", ES_DIM_FLOW, "needs its reference state, such as \"l/min ANR\""},
        {"5 l/min", ES_DIM_COUNT, "needs its reference state, such as \"l/min ANR\""},
        {"5 nl/h", ES_DIM_FLOW, "did you mean \"Nl/h\"?"},
        {"5 Nl/hr", ES_DIM_FLOW, "did you mean \"Nl/h\"?"},
        {"5 Nm\xC2\xB3/h", ES_DIM_FLOW, "write \"Nm3/h\""},
        {"5 l/min(ANR)", ES_DIM_FLOW, "did you mean \"l/min ANR\"?"},
        {"5 SCFH", ES_DIM_FLOW, "write \"scfh\""},
        {"5 sccm", ES_DIM_FLOW, "is many states; a unit that tells its own is \"sccm (0 degC)\""},
        {"30 \xC2\xB0", ES_DIM_ANGLE, "write \"deg\""},
        {"30 degrees", ES_DIM_ANGLE, "write \"deg\""},
        {"20 \xC2\xB0"
         "C",
         ES_DIM_TEMPERATURE, "write \"degC\""},
        {"5 percent", ES_DIM_RATIO, "write \"%\""},
        {"5 MM", ES_DIM_LENGTH, "write \"mm\""},
        {"12 ma", ES_DIM_CURRENT, "write \"mA\""},
        {"3 sec", ES_DIM_TIME, "write \"s\""},
        {"3 S", ES_DIM_TIME, "did you mean \"s\"?"},
        {"30 msec", ES_DIM_TIME, "write \"ms\""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_quantity q = {0};
        struct es_error err = {0};
        cr_expect_eq(cases[i].dimension == ES_DIM_COUNT
                         ? es_quantity_parse(cases[i].text, &q, &err)
                         : es_quantity_parse_as(cases[i].text, cases[i].dimension, &q, &err),
                     ES_BAD_INPUT, "%s", cases[i].text);
        cr_expect_neq(strstr(err.text, cases[i].hint), NULL, "%s: %s", cases[i].text, err.text);
        cr_expect_lt(strlen(err.text), sizeof err.text - 1, "%s: cut off", cases[i].text);
    }
}

/* The units of files that others wrote. */
Test(quantity, spellings_of_others)
{
    static const struct {
        const char *written, *unit;
        enum es_unit_state state;
    } cases[] = {
        {"bar", "bar", ES_UNIT_PLAIN},
        {"barg", "bar", ES_UNIT_GAUGE},
        {"bar(a)", "bar", ES_UNIT_ABSOLUTE},
        {"psig", "psi", ES_UNIT_GAUGE},
        {"PSI", "psi", ES_UNIT_PLAIN},
        {"kgf/cm\xc2\xb2", "kgf/cm2", ES_UNIT_PLAIN},
        {"Nm\xc2\xb3/h", "Nm3/h", ES_UNIT_PLAIN},
        {"Nm^3/h", "Nm3/h", ES_UNIT_PLAIN},
        {"Nm\xb3/h", "Nm3/h", ES_UNIT_PLAIN}, /* Latin-1 */
        {"NL/min", "Nl/min", ES_UNIT_PLAIN},
        {"l/min (ANR)", "l/min ANR", ES_UNIT_PLAIN},
        {"SCFH", "scfh", ES_UNIT_PLAIN},
        {"\xc2\xb0", "deg", ES_UNIT_PLAIN},
        {"\xb0", "deg", ES_UNIT_PLAIN},
        {"\xc2\xb0"
         "C",
         "degC", ES_UNIT_PLAIN},
        {"\xe2\x84\x83", "degC", ES_UNIT_PLAIN},
        {"\xc2\xb0/s", "deg/s", ES_UNIT_PLAIN},
        {"\xc2\xb5m", "um", ES_UNIT_PLAIN},
        {"\xce\xbcm", "um", ES_UNIT_PLAIN},
        {"\xe2\x84\xa6", "ohm", ES_UNIT_PLAIN},
        {"k\xce\xa9", "kohm", ES_UNIT_PLAIN},
        {"per cent", "%", ES_UNIT_PLAIN},
        {"sec", "s", ES_UNIT_PLAIN},
        {"msec", "ms", ES_UNIT_PLAIN},
        {"inches", "in", ES_UNIT_PLAIN},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        enum es_unit_state state = ES_UNIT_PLAIN;
        const struct es_unit *unit = es_unit_find_spelled(cases[i].written, strlen(cases[i].written), &state);
        cr_assert_neq(unit, NULL, "%s", cases[i].written);
        cr_expect_str_eq(unit->name, cases[i].unit, "%s: %s", cases[i].written, unit->name);
        cr_expect_eq(state, cases[i].state, "%s", cases[i].written);
    }
}

/* What can be two things is none: milli or mega, which reference state, water of which temperature. */
Test(quantity, spellings_that_mean_several_things)
{
    static const char *const written[] = {
        "mpa", "MA",   "S",     "l/min", "m\xc2\xb3/h", "slpm",
        "cfm", "sccm", "inH2O", "mmHg",  "kg/cm2",      "0123456789012345678901234567890123456789"};
    for (size_t i = 0; i < sizeof written / sizeof written[0]; i++) {
        enum es_unit_state state;
        cr_expect_eq(es_unit_find_spelled(written[i], strlen(written[i]), &state), NULL, "%s", written[i]);
    }
    char hint[ES_UNIT_HINT_SIZE];
    es_unit_hint("inH2O", ES_DIM_PRESSURE, hint);
    cr_expect_neq(strstr(hint, "write \"mbar\""), NULL, "%s", hint);
}

/* A hint names a unit that is one, of the dimension that was asked for. */
Test(quantity, hints_name_units)
{
    static const char *const written[] = {
        "barg", "bara", "psia",  "lbf/in2",  "kg/cm2",  "millibar", "pct",  "C",      "F",
        "inch", "sec",  "hr",    "minutes",  "l/h",     "lpm",      "l/s",  "ml/min", "m3/h",
        "cfh",  "cfm",  "ft3/h", "mbar l/s", "Pa m3/s", "slpm",     "sl/h", "sm3/h"};
    for (size_t i = 0; i < sizeof written / sizeof written[0]; i++) {
        char hint[ES_UNIT_HINT_SIZE];
        es_unit_hint(written[i], ES_DIM_COUNT, hint);
        const char *last = strrchr(hint, '"');
        cr_assert_neq(last, NULL, "%s: no hint", written[i]);
        size_t n = 0;
        while (last[-1 - (ptrdiff_t)n] != '"')
            n++;
        cr_expect_neq(es_unit_find(last - n, n), NULL, "%s: %s", written[i], hint);
    }
    char hint[ES_UNIT_HINT_SIZE];
    es_unit_hint("furlong", ES_DIM_COUNT, hint);
    cr_expect_str_eq(hint, "");
    es_unit_hint("", ES_DIM_PRESSURE, hint);
    cr_expect_str_eq(hint, "");
}

Test(quantity, kelvin_is_a_temperature_or_a_difference_as_asked)
{
    struct es_quantity q = {0};

    cr_assert_eq(es_quantity_parse_as("2 K", ES_DIM_TEMPERATURE_DIFFERENCE, &q, NULL), ES_OK);
    cr_expect_eq(q.unit->dimension, ES_DIM_TEMPERATURE_DIFFERENCE);
    cr_assert_eq(es_quantity_parse_as("2 K", ES_DIM_TEMPERATURE, &q, NULL), ES_OK);
    cr_expect_eq(q.unit->dimension, ES_DIM_TEMPERATURE);
    cr_expect_eq(es_quantity_parse_as("2 degC", ES_DIM_TEMPERATURE_DIFFERENCE, &q, NULL), ES_BAD_INPUT);
}

Test(quantity, offsets_stay_out_of_differences)
{
    const struct es_unit *c = es_unit_find("degC", 4);
    const struct es_unit *f = es_unit_find("degF", 4);

    near(es_from_unit(20, c), 293.15, "20 degC");
    near(es_from_unit_difference(20, c), 20, "difference of 20 degC");
    near(es_to_unit_difference(5, f), 9, "5 K in degF");
    cr_expect_float_eq(es_to_unit(310.15, c), 37, 1e-12);
    cr_expect_float_eq(es_to_unit(310.15, f), 98.6, 1e-12);
}

Test(quantity, every_unit_goes_there_and_back)
{
    for (size_t i = 0; i < es_unit_count; i++) {
        const struct es_unit *u = &es_units[i];
        cr_expect_gt(u->factor, 0);
        cr_expect(isfinite(u->factor) && isfinite(u->offset));
        cr_expect_float_eq(es_to_unit(es_from_unit(12.5, u), u), 12.5, 1e-12, "%s", u->name);
        cr_expect_eq(es_unit_find_as(u->name, strlen(u->name), u->dimension), u, "%s stands twice", u->name);
        cr_expect_eq(u->conditions != NULL, u->dimension == ES_DIM_FLOW, "%s", u->name);
    }
}

/* Only K may stand for two dimensions: any other name must tell its dimension. */
Test(quantity, unit_names_are_unique_but_for_kelvin)
{
    for (size_t i = 0; i < es_unit_count; i++)
        if (strcmp(es_units[i].name, "K") != 0)
            cr_expect_eq(es_unit_find(es_units[i].name, strlen(es_units[i].name)), &es_units[i], "%s",
                         es_units[i].name);
    cr_expect_eq(es_unit_find("bars", 4), NULL);
    cr_expect_eq(es_unit_find("bar", 2), NULL);
    cr_expect_eq(es_unit_find("bar/s", 3), es_unit_find("bar", 3));
}

Test(quantity, every_dimension_has_name_and_unit)
{
    for (int d = 0; d < ES_DIM_COUNT; d++) {
        const struct es_unit *u = es_dimension_unit((enum es_dimension)d);
        cr_assert_neq(u, NULL, "%d", d);
        cr_expect_eq(u->dimension, (enum es_dimension)d);
        cr_expect_neq(es_dimension_name((enum es_dimension)d), NULL);
        for (int e = 0; e < d; e++)
            cr_expect_str_neq(es_dimension_name((enum es_dimension)d),
                              es_dimension_name((enum es_dimension)e));
    }
    cr_expect_str_eq(es_dimension_name(ES_DIM_COUNT), "unknown dimension");
}

Test(quantity, unit_names_come_whole)
{
    char names[400], small[9];

    es_unit_names(ES_DIM_VOLTAGE, names, sizeof names);
    cr_expect_str_eq(names, "V, mV");
    es_unit_names(ES_DIM_PRESSURE, small, sizeof small);
    cr_expect_str_eq(small, "bar, Pa");
    es_unit_names(ES_DIM_FLOW, names, sizeof names);
    cr_expect_lt(strlen(names), sizeof names - 1);
}

static const char *formatted(double value, const char *unit, int decimals)
{
    static char text[400];

    (void)es_quantity_format(value, es_unit_find(unit, strlen(unit)), decimals, text, sizeof text);
    return text;
}

Test(quantity, formats)
{
    cr_expect_str_eq(formatted(4e5, "bar", 2), "4.00 bar");
    cr_expect_str_eq(formatted(0.005, "%", 1), "0.5 %");
    cr_expect_str_eq(formatted(12, "", 0), "12");
    cr_expect_str_eq(formatted(-1e-9, "bar", 1), "0.0 bar");
    cr_expect_str_eq(formatted(-0.06e5, "bar", 1), "-0.1 bar");
    cr_expect_str_eq(formatted(-0.0, "bar", 0), "0 bar");
    cr_expect_str_eq(formatted(NAN, "bar", 1), "no value");
    cr_expect_str_eq(formatted(1.0, "1", -3), "1 1");
    cr_expect_eq(strlen(formatted(DBL_MAX, "", 99)), 309 + 1 + 17);
    cr_expect_str_eq(formatted(INFINITY, "bar", 1), "inf bar");
}

Test(quantity, format_tells_the_length_needed)
{
    char small[5];

    cr_expect_eq(es_quantity_format(4e5, es_unit_find("bar", 3), 2, small, sizeof small), 8);
    cr_expect_str_eq(small, "4.00");
    cr_expect_eq(es_quantity_format(4e5, es_unit_find("bar", 3), 2, NULL, 0), 8);
}

Test(role, table_is_whole)
{
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_role_info *info = es_role_info((enum es_role)i);
        cr_assert_neq(info, NULL);
        cr_assert_neq(info->name, NULL, "role %d has no row", i);
        cr_expect_neq(info->meaning, NULL);
        cr_expect_eq(es_role_find(info->name), (enum es_role)i, "%s stands twice", info->name);
        cr_expect(!info->is_state || info->dimension == ES_DIM_NUMBER);
        cr_expect_eq(info->other_dimension, i == ES_ROLE_TRAVEL ? ES_DIM_ANGLE : ES_DIM_COUNT);
    }
    cr_expect_eq(es_role_find("no such role"), ES_ROLE_NONE);
    cr_expect_eq(es_role_info(ES_ROLE_NONE), NULL);
    cr_expect_eq(es_role_info(ES_ROLE_COUNT), NULL);
}

/* A few directions and dimensions by name, from the header: what a bench writes and what it reads. */
Test(role, directions)
{
    static const char *const outs[] = {"loop demand",         "shaft drive",      "shaft coupling",
                                       "supply demand",       "supply valve",     "output 1 isolating valve",
                                       "output 2 vent valve", "auxiliary supply", "watchdog",
                                       "self-adjustment"};
    static const char *const ins[] = {
        "loop current",      "sensor ratio",     "shaft angle",    "supply pressure",
        "output 2 pressure", "travel",           "emergency stop", "guard",
        "ambient pressure",  "supply dew point", "supply flow"};
    for (size_t i = 0; i < sizeof outs / sizeof outs[0]; i++) {
        cr_assert_neq(es_role_find(outs[i]), ES_ROLE_NONE, "%s", outs[i]);
        cr_expect_eq(es_role_info(es_role_find(outs[i]))->direction, ES_OUT, "%s", outs[i]);
    }
    for (size_t i = 0; i < sizeof ins / sizeof ins[0]; i++) {
        cr_assert_neq(es_role_find(ins[i]), ES_ROLE_NONE, "%s", ins[i]);
        cr_expect_eq(es_role_info(es_role_find(ins[i]))->direction, ES_IN, "%s", ins[i]);
    }
}

Test(quantity, changes_per_second_have_dimensions_of_their_own)
{
    cr_expect_eq(es_dimension_rate(ES_DIM_PRESSURE), ES_DIM_PRESSURE_RATE);
    cr_expect_eq(es_dimension_rate(ES_DIM_CURRENT), ES_DIM_CURRENT_RATE);
    cr_expect_eq(es_dimension_rate(ES_DIM_ANGLE), ES_DIM_ANGLE_RATE);
    cr_expect_eq(es_dimension_rate(ES_DIM_LENGTH), ES_DIM_LENGTH_RATE);
    cr_expect_eq(es_dimension_rate(ES_DIM_RATIO), ES_DIM_RATIO_RATE);
    cr_expect_eq(es_dimension_rate(ES_DIM_NUMBER), ES_DIM_COUNT);
}

/* A channel's conversion: scale, table, 4-20 mA with NE 43, correction, plausibility, and the way back. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rig/bench/bench.h"
#include "rig/bench/write_check.h"

static struct es_bench_channel pressure(void)
{
    return (struct es_bench_channel){.role = ES_ROLE_SUPPLY_PRESSURE,
                                     .unit = es_unit_find("bar", 3),
                                     .factor = 0.01,
                                     .offset = -1,
                                     .plausible_low = -2e5,
                                     .plausible_high = 20e5,
                                     .calibration = {.k = 2, .dof = INFINITY},
                                     .read_back = ES_ROLE_NONE};
}

static enum es_quality convert(const struct es_bench_channel *c, double raw, double *value)
{
    return es_channel_value(c, (struct es_raw){raw, true}, value);
}

Test(channel, linear_scale_in_the_written_unit)
{
    struct es_bench_channel c = pressure();
    double v = 0, raw = 0;
    cr_assert_eq(convert(&c, 500, &v), ES_GOOD); /* 500 * 0.01 - 1 = 4 bar */
    cr_expect_float_eq(v, 4e5, 1e-6);
    cr_assert_eq(es_channel_raw(&c, 4e5, &raw, NULL), ES_OK);
    cr_expect_float_eq(raw, 500, 1e-9);
}

Test(channel, no_value_stays_no_value)
{
    struct es_bench_channel c = pressure();
    double v = 123;
    cr_expect_eq(es_channel_value(&c, (struct es_raw){500, false}, &v), ES_FAILED);
    cr_expect_eq(convert(&c, (double)NAN, &v), ES_FAILED);
    cr_expect_eq(convert(&c, (double)INFINITY, &v), ES_FAILED);
    cr_expect_eq(convert(&c, 2101, &v), ES_OUT_OF_RANGE); /* 20.01 bar */
    cr_expect_eq(convert(&c, -101, &v), ES_OUT_OF_RANGE);
    cr_expect_eq(v, 123, "a bad value must not be written");
}

Test(channel, table_both_ways)
{
    static double raws[] = {0, 100, 300}, written[] = {-1, 0, 10};
    struct es_bench_channel c = pressure();
    c.scale = ES_SCALE_TABLE;
    c.table_count = 3;
    c.table_raw = raws;
    c.table_written = written;
    double v, raw;
    cr_assert_eq(convert(&c, 200, &v), ES_GOOD);
    cr_expect_float_eq(v, 5e5, 1e-6);
    cr_expect_eq(convert(&c, 301, &v), ES_OUT_OF_RANGE);
    cr_expect_eq(convert(&c, -0.1, &v), ES_OUT_OF_RANGE);
    cr_assert_eq(es_channel_raw(&c, 2.5e5, &raw, NULL), ES_OK);
    cr_expect_float_eq(raw, 150, 1e-9);
    struct es_error err;
    cr_expect_eq(es_channel_raw(&c, 10.1e5, &raw, &err), ES_RANGE);
    /* Falling tables too. */
    static double falling[] = {10, 0, -1};
    c.table_written = falling;
    cr_assert_eq(convert(&c, 50, &v), ES_GOOD);
    cr_expect_float_eq(v, 5e5, 1e-6);
    cr_assert_eq(es_channel_raw(&c, 5e5, &raw, NULL), ES_OK);
    cr_expect_float_eq(raw, 50, 1e-9);
}

Test(channel, temperature_scale_keeps_its_offset)
{
    struct es_bench_channel c = pressure();
    c.role = ES_ROLE_AMBIENT_TEMPERATURE;
    c.unit = es_unit_find("degC", 4);
    c.factor = 0.1;
    c.offset = 0;
    c.plausible_low = 233.15;
    c.plausible_high = 353.15;
    double v;
    cr_assert_eq(convert(&c, 205, &v), ES_GOOD);
    cr_expect_float_eq(v, 293.65, 1e-9);
}

/* NAMUR NE 43 (from memory): 3.8 to 20.5 mA value, up to 3.6 and from 21.0 mA failure. */
Test(channel, loop_current_by_ne_43)
{
    struct es_bench_channel c = pressure();
    c.factor = 0.001; /* raw in uA, scale in mA */
    c.offset = 0;
    c.current_signal = true;
    c.signal_low = 0;
    c.signal_high = 10e5;
    c.plausible_low = -INFINITY;
    c.plausible_high = INFINITY;
    static const struct {
        double microampere;
        enum es_quality quality;
    } points[] = {{0, ES_FAILED},           {3600, ES_FAILED},  {3601, ES_OUT_OF_RANGE},
                  {3799, ES_OUT_OF_RANGE},  {3801, ES_GOOD},    {4000, ES_GOOD},
                  {20000, ES_GOOD},         {20499, ES_GOOD},   {20501, ES_OUT_OF_RANGE},
                  {20999, ES_OUT_OF_RANGE}, {21000, ES_FAILED}, {22000, ES_FAILED}};
    for (size_t i = 0; i < sizeof points / sizeof points[0]; i++) {
        double v = 0;
        cr_expect_eq(convert(&c, points[i].microampere, &v), points[i].quality, "%g uA",
                     points[i].microampere);
        if (points[i].quality == ES_GOOD) {
            cr_expect_float_eq(v, (points[i].microampere - 4000) / 16000 * 10e5, 1e-3);
        }
    }
    double raw;
    cr_assert_eq(es_channel_raw(&c, 5e5, &raw, NULL), ES_OK);
    cr_expect_float_eq(raw, 12000, 1e-6);
}

Test(channel, correction_table_and_its_inverse)
{
    static double readings[] = {0, 5e5, 10e5}, corrections[] = {1e3, -2e3, 4e3};
    struct es_bench_channel c = pressure();
    c.factor = 1;
    c.offset = 0;
    c.calibration.number = (char *)(uintptr_t) "C";
    c.calibration.point_count = 3;
    c.calibration.readings = readings;
    c.calibration.corrections = corrections;
    static const struct {
        double reading, value;
    } points[] = {{-1, -0.99}, {0, 0.01}, {2.5, 2.495}, {5, 4.98}, {7.5, 7.51}, {10, 10.04}, {12, 12.04}};
    for (size_t i = 0; i < sizeof points / sizeof points[0]; i++) {
        double v, raw;
        cr_assert_eq(convert(&c, points[i].reading, &v), ES_GOOD);
        cr_expect_float_eq(v, points[i].value * 1e5, 1e-6);
        cr_assert_eq(es_channel_raw(&c, v, &raw, NULL), ES_OK);
        cr_expect_float_eq(raw, points[i].reading, 1e-9);
    }
}

Test(channel, states_are_0_or_1)
{
    struct es_bench_channel c = {.role = ES_ROLE_GUARD,
                                 .state = true,
                                 .unit = es_dimension_unit(ES_DIM_NUMBER),
                                 .factor = 1,
                                 .plausible_low = -INFINITY,
                                 .plausible_high = INFINITY};
    double v;
    cr_expect_eq(convert(&c, 1, &v), ES_GOOD);
    cr_expect_eq(convert(&c, 0, &v), ES_GOOD);
    cr_expect_eq(convert(&c, 2, &v), ES_OUT_OF_RANGE);
}

/* What an overdriven instrument shows: as stated, else the live signal's ends, else inside what is plausible.
 */
Test(channel, range)
{
    struct es_bench_channel c = pressure();
    double low = 0, high = 0;
    cr_assert(es_channel_range(&c, &low, &high));
    cr_expect_float_eq(low, -2e5 + 0.005 * 22e5, 1e-6);
    cr_expect_float_eq(high, 20e5 - 0.005 * 22e5, 1e-6);
    c.current_signal = true;
    c.signal_low = 10e5; /* falls with the current */
    c.signal_high = 0;
    cr_assert(es_channel_range(&c, &low, &high));
    cr_expect_float_eq(low, -0.5 / 16 * 10e5, 1e-6);
    cr_expect_float_eq(high, 10.125e5, 1e-6);
    c.range_low = 0;
    c.range_high = 9e5;
    cr_assert(es_channel_range(&c, &low, &high));
    cr_expect(low == 0 && high == 9e5);
    c = pressure();
    c.plausible_high = INFINITY;
    cr_expect_not(es_channel_range(&c, &low, &high));
    c = pressure();
    c.state = true;
    cr_expect_not(es_channel_range(&c, &low, &high));
    cr_expect(low == 0 && high == 9e5, "untouched");
}

/* JCGM 100 4.3.3: u = U/k; 4.3.9 and 5.1.2: independent parts add in squares; G.4.1: degrees of freedom. */
Test(channel, uncertainty_from_certificate_and_further_parts)
{
    struct es_bench_channel c = pressure();
    c.u_further = 300;
    c.calibration = (struct es_calibration){
        .number = (char *)(uintptr_t) "C", .U_offset = 800, .U_gain = 4e-4, .k = 2, .dof = 10};
    struct es_channel_uncertainty u = es_channel_uncertainty(&c);
    cr_expect_float_eq(u.offset, 500, 1e-9);
    cr_expect_float_eq(u.gain, 2e-4, 1e-15);
    cr_expect_float_eq(u.dof, 10 * pow(500.0 / 400, 4), 1e-9);
    c.calibration.number = NULL;
    u = es_channel_uncertainty(&c);
    cr_expect_float_eq(u.offset, 300, 1e-9);
    cr_expect(isinf(u.dof));
}

Test(channel, writes_beyond_any_ceiling_are_refused)
{
    struct es_bench_channel c = {.role = ES_ROLE_SUPPLY_DEMAND,
                                 .writable = true,
                                 .unit = es_unit_find("bar", 3),
                                 .factor = 1,
                                 .plausible_low = -INFINITY,
                                 .plausible_high = INFINITY,
                                 .read_back = ES_ROLE_NONE};
    struct es_ceiling ceiling = {ES_ROLE_SUPPLY_DEMAND, 7e5, 0, 1e5};
    struct es_bench_station s = {.name = (char *)(uintptr_t) "1",
                                 .channels = &c,
                                 .channel_count = 1,
                                 .ceilings = &ceiling,
                                 .ceiling_count = 1};
    struct es_error err;
    double raw;
    cr_expect_eq(es_write_check(&s, ES_ROLE_SUPPLY_DEMAND, 7e5, &raw, &err), ES_OK);
    cr_expect_eq(es_write_check(&s, ES_ROLE_SUPPLY_DEMAND, nextafter(7e5, 8e5), &raw, &err), ES_RANGE);
    cr_expect_eq(es_write_check(&s, ES_ROLE_SUPPLY_DEMAND, -1e-9, &raw, &err), ES_RANGE);
    cr_expect_eq(es_write_check(&s, ES_ROLE_SUPPLY_DEMAND, (double)INFINITY, &raw, &err), ES_RANGE);
    cr_expect_eq(es_write_check(&s, ES_ROLE_SUPPLY_DEMAND, (double)NAN, &raw, &err), ES_RANGE);
    cr_expect_eq(es_write_check(&s, ES_ROLE_LOOP_DEMAND, 0.01, &raw, &err), ES_NOT_FOUND);
    cr_expect_float_eq(es_write_slew(&s, ES_ROLE_SUPPLY_DEMAND, 0, 4e5, 0.5), 0.5e5, 1e-6);
    cr_expect_float_eq(es_write_slew(&s, ES_ROLE_SUPPLY_DEMAND, 4e5, 0, 0.5), 3.5e5, 1e-6);
    cr_expect_eq(es_write_slew(&s, ES_ROLE_SUPPLY_DEMAND, 3.8e5, 4e5, 0.5), 4e5);
}

/* Units against figures from outside.
 *
 * NIST SP 811 (2008), App. B.8: factors as printed there, seven digits (from memory).
 * Gas reference states: ISO 8778 (ANR), DIN 1343, ISO 2533; the figures marked "recomputed" were computed
 * independently from those states; "published" ones stand in vendors' and standards bodies' leak-rate tables.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rig/base/quantity.h"

static const struct es_unit *unit(const char *name, enum es_dimension d)
{
    const struct es_unit *u = es_unit_find_as(name, strlen(name), d);

    cr_assert_neq(u, NULL, "%s", name);
    return u;
}

static void close_to(double got, double expected, double relative, const char *what)
{
    cr_expect(fabs(got - expected) <= relative * fabs(expected), "%s: %.12g, not %.12g", what, got, expected);
}

Test(conversions, factors_of_nist_sp_811)
{
    static const struct {
        const char *name;
        enum es_dimension dimension;
        double factor;
    } printed[] = {
        {"bar", ES_DIM_PRESSURE, 1.0e5},
        {"mbar", ES_DIM_PRESSURE, 1.0e2},
        {"psi", ES_DIM_PRESSURE, 6.894757e3},
        {"kgf/cm2", ES_DIM_PRESSURE, 9.80665e4},
        {"in", ES_DIM_LENGTH, 2.54e-2},
        {"in3", ES_DIM_VOLUME, 1.638706e-5},
        {"ft3", ES_DIM_VOLUME, 2.831685e-2},
        {"l", ES_DIM_VOLUME, 1.0e-3},
        {"deg", ES_DIM_ANGLE, 1.745329e-2},
        {"min", ES_DIM_TIME, 60},
        {"h", ES_DIM_TIME, 3600},
        {"d", ES_DIM_TIME, 86400},
    };
    for (size_t i = 0; i < sizeof printed / sizeof printed[0]; i++)
        close_to(unit(printed[i].name, printed[i].dimension)->factor, printed[i].factor, 5e-7,
                 printed[i].name);
}

/* The units that people use at a bench, each against its definition: SI prefixes (SP 811 table 5) and units
 * accepted beside the SI (table 6: minute, hour, degree, litre; B.8: bar), per cent (SP 811 7.10.2: 0.01). */
static const struct {
    const char *name;
    enum es_dimension dimension;
    double factor;
} bench_units[] = {
    {"bar", ES_DIM_PRESSURE, 1e5},
    {"kPa", ES_DIM_PRESSURE, 1e3},
    {"MPa", ES_DIM_PRESSURE, 1e6},
    {"mbar", ES_DIM_PRESSURE, 1e2},
    {"psi", ES_DIM_PRESSURE, 0.45359237 * 9.80665 / (0.0254 * 0.0254)},
    {"Nl/h", ES_DIM_FLOW, 1e-3 / 3600 * (101325.0 / 100000) * (293.15 / 273.15)},
    {"Nm3/h", ES_DIM_FLOW, 1.0 / 3600 * (101325.0 / 100000) * (293.15 / 273.15)},
    {"l/min ANR", ES_DIM_FLOW, 1e-3 / 60},
    {"scfh", ES_DIM_FLOW, 0.028316846592 / 3600 * (101325.0 / 100000) * (293.15 / (519.67 / 1.8))},
    {"deg", ES_DIM_ANGLE, 0.017453292519943295},
    {"%", ES_DIM_RATIO, 0.01},
    {"mm", ES_DIM_LENGTH, 1e-3},
    {"mA", ES_DIM_CURRENT, 1e-3},
    {"s", ES_DIM_TIME, 1},
    {"ms", ES_DIM_TIME, 1e-3},
};

Test(conversions, units_of_the_bench)
{
    for (size_t i = 0; i < sizeof bench_units / sizeof bench_units[0]; i++)
        close_to(unit(bench_units[i].name, bench_units[i].dimension)->factor, bench_units[i].factor, 1e-15,
                 bench_units[i].name);
}

/* There and back over sixteen decades and both signs; and as text with its digits, read again. */
Test(conversions, there_and_back)
{
    for (size_t i = 0; i < sizeof bench_units / sizeof bench_units[0]; i++) {
        const struct es_unit *u = unit(bench_units[i].name, bench_units[i].dimension);
        for (int e = -8; e <= 8; e++)
            for (int sign = -1; sign <= 1; sign += 2) {
                double v = sign * 1.2345678901234567 * pow(10, e);
                close_to(es_to_unit(es_from_unit(v, u), u), v, 4e-16, u->name);
                close_to(es_to_unit_difference(es_from_unit_difference(v, u), u), v, 4e-16, u->name);
            }
        char text[64];
        struct es_quantity q;
        cr_assert_lt(es_quantity_format(es_from_unit(12.345, u), u, 3, text, sizeof text), sizeof text);
        cr_assert_eq(es_quantity_parse_as(text, bench_units[i].dimension, &q, NULL), ES_OK, "%s", text);
        close_to(es_to_unit(q.value, q.unit), 12.345, 4e-16, text);
    }
}

/* SP 811 B.8: cubic foot per minute 4.719474E-04 m3/s, of the air as it is; as scfm it is counted at ANR. */
Test(conversions, cubic_foot_a_minute)
{
    const double anr = 101325.0 / 100000 * 293.15 / (519.67 / 1.8);

    close_to(unit("scfm", ES_DIM_FLOW)->factor / anr, 4.719474e-4, 2e-7, "ft3/min");
}

/* psi from its definition (exact pound, inch and standard gravity): 6894.757 293 168 Pa (recomputed). */
Test(conversions, psi_to_twelve_digits)
{
    close_to(es_from_unit(1, unit("psi", ES_DIM_PRESSURE)), 6894.757293168, 1e-13, "psi");
    close_to(es_to_unit(es_from_unit(3, unit("psi", ES_DIM_PRESSURE)), unit("bar", ES_DIM_PRESSURE)),
             0.2068427188, 1e-9, "3 psi");
    close_to(es_to_unit(es_from_unit(15, unit("psi", ES_DIM_PRESSURE)), unit("bar", ES_DIM_PRESSURE)),
             1.034213594, 1e-9, "15 psi");
    close_to(es_to_unit(es_from_unit(20, unit("psi", ES_DIM_PRESSURE)), unit("bar", ES_DIM_PRESSURE)),
             1.378951459, 1e-9, "20 psi");
}

/* SP 811 B.8: T/K = t/degC + 273.15; T/K = (t/degF + 459.67)/1.8. */
Test(conversions, temperatures)
{
    close_to(es_from_unit(0, unit("degC", ES_DIM_TEMPERATURE)), 273.15, 1e-15, "0 degC");
    close_to(es_from_unit(60, unit("degF", ES_DIM_TEMPERATURE)), 288.705555555556, 1e-13, "60 degF");
    close_to(es_from_unit(32, unit("degF", ES_DIM_TEMPERATURE)), 273.15, 1e-14, "32 degF");
    close_to(es_from_unit(-40, unit("degF", ES_DIM_TEMPERATURE)),
             es_from_unit(-40, unit("degC", ES_DIM_TEMPERATURE)), 1e-14, "-40 is -40");
}

static double flow(double amount, const char *from, const char *to)
{
    return es_to_unit(es_from_unit(amount, unit(from, ES_DIM_FLOW)), unit(to, ES_DIM_FLOW));
}

/* 1 mbar l/s of gas at 20 degC in every unit of flow (recomputed). */
Test(conversions, leak_rate_of_gas_at_20_degrees)
{
    static const struct {
        const char *to;
        double value;
    } table[] = {
        {"l/h ANR", 3.6},
        {"Nl/h", 3.310527461},
        {"Nml/min", 55.17545768},
        {"sccm (0 degC)", 55.17545768},
        {"l/h ISO 2533", 3.492324685},
        {"scfh", 0.1235680641},
        {"Pa m3/s (20 degC)", 0.1},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        close_to(flow(1, "mbar l/s (20 degC)", table[i].to), table[i].value, 5e-10, table[i].to);
}

/* Published: 1 mbar l/s of gas at 0 degC is 59.2 ml/min (0 degC, 101.325 kPa), and 1e-2 mbar l/s is 0.6; 1
 * sccm is 1.68875e-3 Pa m3/s at 0 degC. Gas at 0 degC holds 293.15/273.15 times the amount of gas at 20 degC.
 */
Test(conversions, published_leak_rates_of_gas_at_0_degrees)
{
    const double denser = 293.15 / 273.15;

    cr_expect_float_eq(denser * flow(1, "mbar l/s (20 degC)", "Nml/min"), 59.2, 0.05);
    cr_expect_float_eq(denser * flow(1e-2, "mbar l/s (20 degC)", "Nml/min"), 0.6, 0.05);
    close_to(flow(1, "sccm (0 degC)", "Pa m3/s (20 degC)") / denser, 1.68875e-3, 5e-7, "1 sccm");
}

/* (recomputed) */
Test(conversions, volumes_of_the_same_amount)
{
    close_to(flow(1, "Nl/h", "l/h ANR"), 1.087440005, 5e-10, "1 Nl in l ANR");
    close_to(flow(1, "scfh", "Nl/h"), 26.79112507, 5e-10, "1 scf in Nl");
    close_to(flow(1, "scfh", "l/h ANR"), 29.13374119, 5e-10, "1 scf in l ANR");
    close_to(flow(1, "Nl/h", "mbar l/s (20 degC)"), 0.3020666682, 5e-10, "1 Nl/h in mbar l/s");
    close_to(flow(60, "Nl/h", "Nl/min"), 1, 1e-14, "hour and minute");
    close_to(flow(1000, "Nl/h", "Nm3/h"), 1, 1e-14, "litre and cubic metre");
    close_to(flow(60, "scfh", "scfm"), 1, 1e-14, "scfh and scfm");
}

/* The amount itself, by pV = nRT with the SI's exact R: 1 Nl/h = 1.239306484e-5 mol/s (recomputed). */
Test(conversions, normal_litre_an_hour_in_moles)
{
    const double R = 8.31446261815324;
    double anr = es_from_unit(1, unit("Nl/h", ES_DIM_FLOW)); /* m3/s at 100 kPa, 293.15 K */

    close_to(100e3 * anr / (R * 293.15), 1.239306484e-5, 5e-10, "1 Nl/h in mol/s");
}

/* ISO 6358 worked figure (recomputed): C = 2.0 dm3/(s bar) choked at 7 bar absolute lets 840 l/min ANR
 * through. */
Test(conversions, conductance_and_pressure_give_a_flow)
{
    struct es_quantity c, p;

    cr_assert_eq(es_quantity_parse_as("2.0 dm3/(s bar)", ES_DIM_CONDUCTANCE, &c, NULL), ES_OK);
    cr_assert_eq(es_quantity_parse_as("7 bar", ES_DIM_PRESSURE, &p, NULL), ES_OK);
    close_to(es_to_unit(c.value * p.value, unit("l/min ANR", ES_DIM_FLOW)), 840, 1e-13, "840 l/min ANR");
}

/* Every flow tells its reference state: a figure without it means nothing. */
Test(conversions, flows_tell_their_state)
{
    cr_expect_neq(strstr(unit("Nl/h", ES_DIM_FLOW)->conditions, "0 degC, 101.325 kPa"), NULL);
    cr_expect_neq(strstr(unit("l/h ANR", ES_DIM_FLOW)->conditions, "20 degC, 100 kPa"), NULL);
    cr_expect_neq(strstr(unit("l/h ISO 2533", ES_DIM_FLOW)->conditions, "15 degC, 101.325 kPa"), NULL);
    cr_expect_neq(strstr(unit("scfh", ES_DIM_FLOW)->conditions, "60 degF, 101.325 kPa (14.696 psi"), NULL);
}

/* Units and their conversion factors.
 *
 * Factors that NIST SP 811 (2008) App. B.8 prints in bold are exact and stand here in full: bar 1e5 Pa, inch
 * 25.4 mm, foot 0.3048 m, degree pi/180 rad, kilogram-force 9.80665 N; psi = lbf/in2 follows from
 * lb = 0.453 592 37 kg (exact).
 *
 * Flow of gas counts an amount of gas, written as a volume at a reference state. The program counts it in
 * m3/s at ANR (ISO 8778: 20 degC, 100 kPa). Equal amounts of (ideal) gas take volumes as T/p, so
 *     1 m3 at (p, T) = p/100 kPa * 293.15 K/T m3 ANR.
 * Reference states: ANR ISO 8778; "N" (normal) DIN 1343: 0 degC, 101.325 kPa; ISO 2533 (also ISO 13443):
 * 15 degC, 101.325 kPa; standard cubic foot: 60 degF and one atmosphere, 101.325 kPa, which is customarily
 * rounded to 14.696 psi (other "standard" states exist, which is why each unit tells its own). Humidity is
 * left out of all of them. */
#include "rig/base/units.h"

#define PI      3.14159265358979323846
#define INCH    0.0254
#define FOOT3   (0.3048 * 0.3048 * 0.3048)
#define GRAVITY 9.80665
#define PSI     (0.45359237 * GRAVITY / (INCH * INCH))
#define DEGREE  (PI / 180.0)
#define LITRE   1e-3

#define ANR_PRESSURE    100e3
#define ANR_TEMPERATURE 293.15
/* m3 at ANR for 1 m3 at the state (Pa, K). */
#define AMOUNT(p, t) ((p) / ANR_PRESSURE * (ANR_TEMPERATURE / (t)))
#define NORMAL       AMOUNT(101325.0, 273.15)
#define ISO_2533     AMOUNT(101325.0, 288.15)
#define SCF          (FOOT3 * AMOUNT(101325.0, (60.0 + 459.67) / 1.8))

#define ANR_TEXT      "20 degC, 100 kPa (ANR, ISO 8778)"
#define NORMAL_TEXT   "0 degC, 101.325 kPa (DIN 1343)"
#define ISO_2533_TEXT "15 degC, 101.325 kPa (ISO 2533)"
#define SCF_TEXT      "60 degF, 101.325 kPa (14.696 psi absolute)"
#define LEAK_TEXT     "pressure times volume per time, gas at 20 degC"

#define UNIT(name_, dim_, factor_)                                                                           \
    {                                                                                                        \
        .name = (name_), .dimension = (dim_), .factor = (factor_)                                            \
    }
#define GAS(name_, factor_, conditions_)                                                                     \
    {                                                                                                        \
        .name = (name_), .dimension = ES_DIM_FLOW, .factor = (factor_), .conditions = (conditions_)          \
    }

/* The first unit of a dimension is the one used when none is asked for. */
const struct es_unit es_units[] = {
    UNIT("", ES_DIM_NUMBER, 1.0),

    UNIT("%", ES_DIM_RATIO, 1e-2),
    UNIT("1", ES_DIM_RATIO, 1.0),
    UNIT("ppm", ES_DIM_RATIO, 1e-6),

    UNIT("bar", ES_DIM_PRESSURE, 1e5),
    UNIT("Pa", ES_DIM_PRESSURE, 1.0),
    UNIT("hPa", ES_DIM_PRESSURE, 1e2),
    UNIT("kPa", ES_DIM_PRESSURE, 1e3),
    UNIT("MPa", ES_DIM_PRESSURE, 1e6),
    UNIT("mbar", ES_DIM_PRESSURE, 1e2),
    UNIT("psi", ES_DIM_PRESSURE, PSI),
    UNIT("kgf/cm2", ES_DIM_PRESSURE, GRAVITY * 1e4),

    UNIT("mA", ES_DIM_CURRENT, 1e-3),
    UNIT("A", ES_DIM_CURRENT, 1.0),
    UNIT("uA", ES_DIM_CURRENT, 1e-6),

    UNIT("V", ES_DIM_VOLTAGE, 1.0),
    UNIT("mV", ES_DIM_VOLTAGE, 1e-3),

    UNIT("ohm", ES_DIM_RESISTANCE, 1.0),
    UNIT("kohm", ES_DIM_RESISTANCE, 1e3),

    UNIT("deg", ES_DIM_ANGLE, DEGREE),
    UNIT("rad", ES_DIM_ANGLE, 1.0),
    UNIT("mrad", ES_DIM_ANGLE, 1e-3),

    UNIT("mm", ES_DIM_LENGTH, 1e-3),
    UNIT("m", ES_DIM_LENGTH, 1.0),
    UNIT("cm", ES_DIM_LENGTH, 1e-2),
    UNIT("um", ES_DIM_LENGTH, 1e-6),
    UNIT("in", ES_DIM_LENGTH, INCH),

    UNIT("s", ES_DIM_TIME, 1.0),
    UNIT("us", ES_DIM_TIME, 1e-6),
    UNIT("ms", ES_DIM_TIME, 1e-3),
    UNIT("min", ES_DIM_TIME, 60.0),
    UNIT("h", ES_DIM_TIME, 3600.0),
    UNIT("d", ES_DIM_TIME, 86400.0),

    UNIT("Hz", ES_DIM_FREQUENCY, 1.0),
    UNIT("kHz", ES_DIM_FREQUENCY, 1e3),

    {.name = "degC", .dimension = ES_DIM_TEMPERATURE, .factor = 1.0, .offset = 273.15},
    UNIT("K", ES_DIM_TEMPERATURE, 1.0),
    {.name = "degF", .dimension = ES_DIM_TEMPERATURE, .factor = 1.0 / 1.8, .offset = 459.67 / 1.8},

    UNIT("K", ES_DIM_TEMPERATURE_DIFFERENCE, 1.0),
    UNIT("mK", ES_DIM_TEMPERATURE_DIFFERENCE, 1e-3),

    GAS("l/h ANR", LITRE / 3600.0, ANR_TEXT),
    GAS("l/min ANR", LITRE / 60.0, ANR_TEXT),
    GAS("l/s ANR", LITRE, ANR_TEXT),
    GAS("dm3/s ANR", LITRE, ANR_TEXT),
    GAS("ml/min ANR", LITRE / 60e3, ANR_TEXT),
    GAS("m3/h ANR", 1.0 / 3600.0, ANR_TEXT),
    GAS("m3/s ANR", 1.0, ANR_TEXT),
    GAS("Nl/h", NORMAL *LITRE / 3600.0, NORMAL_TEXT),
    GAS("Nl/min", NORMAL *LITRE / 60.0, NORMAL_TEXT),
    GAS("Nl/s", NORMAL *LITRE, NORMAL_TEXT),
    GAS("Nml/min", NORMAL *LITRE / 60e3, NORMAL_TEXT),
    GAS("Nm3/h", NORMAL / 3600.0, NORMAL_TEXT),
    GAS("sccm (0 degC)", NORMAL *LITRE / 60e3, NORMAL_TEXT),
    GAS("l/h ISO 2533", ISO_2533 *LITRE / 3600.0, ISO_2533_TEXT),
    GAS("l/min ISO 2533", ISO_2533 *LITRE / 60.0, ISO_2533_TEXT),
    GAS("m3/h ISO 2533", ISO_2533 / 3600.0, ISO_2533_TEXT),
    GAS("scfh", SCF / 3600.0, SCF_TEXT),
    GAS("scfm", SCF / 60.0, SCF_TEXT),
    GAS("mbar l/s (20 degC)", 100.0 * LITRE / ANR_PRESSURE, LEAK_TEXT),
    GAS("Pa m3/s (20 degC)", 1.0 / ANR_PRESSURE, LEAK_TEXT),

    UNIT("l", ES_DIM_VOLUME, LITRE),
    UNIT("ml", ES_DIM_VOLUME, 1e-6),
    UNIT("m3", ES_DIM_VOLUME, 1.0),
    UNIT("dm3", ES_DIM_VOLUME, 1e-3),
    UNIT("cm3", ES_DIM_VOLUME, 1e-6),
    UNIT("in3", ES_DIM_VOLUME, INCH *INCH *INCH),
    UNIT("ft3", ES_DIM_VOLUME, FOOT3),

    UNIT("dm3/(s bar)", ES_DIM_CONDUCTANCE, 1e-3 / 1e5),
    UNIT("l/(min bar)", ES_DIM_CONDUCTANCE, 1e-3 / 60.0 / 1e5),
    UNIT("m3/(s Pa)", ES_DIM_CONDUCTANCE, 1.0),

    UNIT("bar/s", ES_DIM_PRESSURE_RATE, 1e5),
    UNIT("Pa/s", ES_DIM_PRESSURE_RATE, 1.0),
    UNIT("kPa/s", ES_DIM_PRESSURE_RATE, 1e3),
    UNIT("mbar/s", ES_DIM_PRESSURE_RATE, 1e2),
    UNIT("mbar/min", ES_DIM_PRESSURE_RATE, 1e2 / 60.0),
    UNIT("bar/min", ES_DIM_PRESSURE_RATE, 1e5 / 60.0),
    UNIT("psi/s", ES_DIM_PRESSURE_RATE, PSI),

    UNIT("mA/s", ES_DIM_CURRENT_RATE, 1e-3),
    UNIT("A/s", ES_DIM_CURRENT_RATE, 1.0),
    UNIT("mA/min", ES_DIM_CURRENT_RATE, 1e-3 / 60.0),

    UNIT("deg/s", ES_DIM_ANGLE_RATE, DEGREE),
    UNIT("rad/s", ES_DIM_ANGLE_RATE, 1.0),
    UNIT("deg/min", ES_DIM_ANGLE_RATE, DEGREE / 60.0),

    UNIT("mm/s", ES_DIM_LENGTH_RATE, 1e-3),
    UNIT("m/s", ES_DIM_LENGTH_RATE, 1.0),
    UNIT("mm/min", ES_DIM_LENGTH_RATE, 1e-3 / 60.0),

    UNIT("%/s", ES_DIM_RATIO_RATE, 1e-2),
    UNIT("1/s", ES_DIM_RATIO_RATE, 1.0),
    UNIT("%/min", ES_DIM_RATIO_RATE, 1e-2 / 60.0),
};

const size_t es_unit_count = sizeof es_units / sizeof es_units[0];

/* The members of every object in a bench file, one row each. */
#include <stddef.h>
#include <string.h>

#include "rig/bench/bench_reader.h"

#define AT(type, member) offsetof(struct es_##type##_text, member)
#define COUNT(rows)      (sizeof(rows) / sizeof((rows)[0]))

static const struct es_field file_rows[] = {
    {"endstop", ES_FIELD_TEXT, true, AT(file, format), 0, 1, 40, NULL, NULL, "the format: \"bench/1\""},
    {"name", ES_FIELD_TEXT, true, AT(file, name), 0, 1, 120, NULL, NULL,
     "name of the bench, on certificates"},
    {"place", ES_FIELD_TEXT, true, AT(file, place), 0, 1, 240, NULL, NULL,
     "where it stands (ISO/IEC 17025 7.8.2.1 c), on certificates"},
    {"virtual", ES_FIELD_BOOL, false, AT(file, is_virtual), 0, 0, 0, "false", NULL,
     "true: these are simulated instruments, and every certificate says so"},
    {"buses", ES_FIELD_ARRAY, true, AT(file, buses), 0, 1, 64, NULL, NULL, "serial lines and connections"},
    {"instruments", ES_FIELD_ARRAY, true, AT(file, instruments), 0, 1, 512, NULL, NULL,
     "things on the buses"},
    {"stations", ES_FIELD_ARRAY, true, AT(file, stations), 0, 1, 64, NULL, NULL, "places for one unit each"},
};

static const struct es_field bus_rows[] = {
    {"name", ES_FIELD_TEXT, true, AT(bus, name), 0, 1, 60, NULL, NULL, "name of the bus"},
    {"driver", ES_FIELD_TEXT, true, AT(bus, driver), 0, 1, 40, NULL, NULL, "which driver speaks on it"},
    {"settings", ES_FIELD_OBJECT, false, AT(bus, settings), 0, 0, 0, NULL, NULL,
     "the driver's settings of a bus"},
};

static const struct es_field instrument_rows[] = {
    {"name", ES_FIELD_TEXT, true, AT(instrument, name), 0, 1, 60, NULL, NULL, "name of the instrument"},
    {"bus", ES_FIELD_TEXT, true, AT(instrument, bus), 0, 1, 60, NULL, NULL, "name of the bus it is on"},
    {"description", ES_FIELD_TEXT, false, AT(instrument, description), 0, 0, 240, NULL, NULL,
     "what it is, for people"},
    {"identity", ES_FIELD_TEXT, false, AT(instrument, identity), 0, 1, 120, NULL, NULL,
     "text that its own identification must contain (serial number); another answer and it is not used"},
    {"timeout", ES_FIELD_QUANTITY, false, AT(instrument, timeout), ES_DIM_TIME, 0.001, 30, "0.5 s", NULL,
     "longest wait for one answer"},
    {"retries", ES_FIELD_INTEGER, false, AT(instrument, retries), 0, 0, 10, "1", NULL,
     "further tries of a read before it counts as silent; writes are never repeated blindly"},
    {"latency", ES_FIELD_QUANTITY, false, AT(instrument, latency), ES_DIM_TIME, 0, 10, "0 s", NULL,
     "from the request's arrival to the moment the value is taken (serial lines)"},
    {"latency uncertainty", ES_FIELD_QUANTITY, false, AT(instrument, u_latency), ES_DIM_TIME, 0, 10, "0 s",
     NULL, "standard uncertainty of the latency"},
    {"turn-around", ES_FIELD_QUANTITY, false, AT(instrument, turn_around), ES_DIM_TIME, 0, 60, "0 s", NULL,
     "longest time from a request to the end of its answer, however late; the quiet time of a suspect bus. "
     "0 s: twice the timeout"},
    {"settings", ES_FIELD_OBJECT, false, AT(instrument, settings), 0, 0, 0, NULL, NULL,
     "the driver's settings of an instrument"},
};

static const struct es_field channel_rows[] = {
    {"role", ES_FIELD_TEXT, true, AT(channel, role), 0, 1, 60, NULL, NULL, "what the signal is for"},
    {"instrument", ES_FIELD_TEXT, true, AT(channel, instrument), 0, 1, 60, NULL, NULL,
     "name of its instrument"},
    {"address", ES_FIELD_OBJECT, true, AT(channel, address), 0, 0, 0, NULL, NULL,
     "where in the instrument, by the driver's rows"},
    {"unit", ES_FIELD_TEXT, false, AT(channel, unit), 0, 1, 40, NULL, NULL,
     "unit of the scaled value; needed unless the role is a state or a number"},
    {"scale", ES_FIELD_OBJECT, false, AT(channel, scale), 0, 0, 0, NULL, NULL,
     "from the raw number to the unit; without it the raw number is in the unit"},
    {"signal", ES_FIELD_OBJECT, false, AT(channel, signal), 0, 0, 0, NULL, NULL,
     "the scale gives mA of a current loop, which stands for the value"},
    {"plausible", ES_FIELD_OBJECT, false, AT(channel, plausible), 0, 0, 0, NULL, NULL,
     "outside, the value is refused as out of range; needed for analogue inputs without `signal`"},
    {"range", ES_FIELD_OBJECT, false, AT(channel, range), 0, 0, 0, NULL, NULL,
     "the ends of what the instrument can show at all: nothing is measured from values that stand at one. "
     "Without it: 3.8 and 20.5 mA of a `signal`, else the plausible ends less 0.5 % of what is between them"},
    {"resolution", ES_FIELD_ANY, false, AT(channel, resolution), 0, 0, 0, NULL, NULL,
     "quantity: smallest step of the reading"},
    {"rate", ES_FIELD_QUANTITY, false, AT(channel, rate), ES_DIM_FREQUENCY, 0.01, 1000, NULL, NULL,
     "how often it is read; without it 10 Hz, and the setting of an output 5 Hz"},
    {"stale after", ES_FIELD_QUANTITY, false, AT(channel, stale_after), ES_DIM_TIME, 0, 600, "0 s", NULL,
     "older values are not used, and a run that needs the channel ends. 0 s: four sampling intervals, the "
     "instrument's tries and its turn-around"},
    {"refresh", ES_FIELD_QUANTITY, false, AT(channel, refresh), ES_DIM_TIME, 0, 60, "0 s", NULL,
     "the instrument's own interval between fresh values"},
    {"lag", ES_FIELD_QUANTITY, false, AT(channel, lag), ES_DIM_TIME, 0, 600, "0 s", NULL,
     "first-order response time of the instrument"},
    {"noise", ES_FIELD_ANY, false, AT(channel, noise), 0, 0, 0, NULL, NULL,
     "quantity: standard deviation of the reading at rest"},
    {"further uncertainty", ES_FIELD_ANY, false, AT(channel, further), 0, 0, 0, NULL, NULL,
     "quantity: standard uncertainty from drift since calibration, mounting, temperature"},
    {"repeatability", ES_FIELD_ANY, false, AT(channel, repeatability), 0, 0, 0, NULL, NULL,
     "quantity: standard deviation of the whole act of connecting, settling and reading"},
    {"calibration", ES_FIELD_OBJECT, false, AT(channel, calibration), 0, 0, 0, NULL, NULL,
     "from its calibration certificate"},
    {"read back", ES_FIELD_OBJECT, false, AT(channel, read_back), 0, 0, 0, NULL, NULL,
     "of an output: the input that proves a write"},
    {"watched", ES_FIELD_BOOL, false, AT(channel, watched), 0, 0, 0, "true", NULL,
     "of an output: during a run its setting is asked for and must stay what was written, where its address "
     "says how it is read back; false: others may change it"},
};

static const struct es_field scale_rows[] = {
    {"factor", ES_FIELD_NUMBER, false, AT(scale, factor), 0, 0, 0, "1", NULL,
     "value = raw * factor + offset"},
    {"offset", ES_FIELD_NUMBER, false, AT(scale, offset), 0, 0, 0, "0", NULL, "see factor; in the unit"},
    {"table", ES_FIELD_ARRAY, false, AT(scale, table), 0, 2, 256, NULL, NULL,
     "instead of factor and offset: [raw, value in the unit] pairs, raw rising, straight lines between, "
     "refused outside"},
};

static const char *const signal_kinds[] = {"4-20 mA", NULL};
static const struct es_field signal_rows[] = {
    {"kind", ES_FIELD_CHOICE, true, AT(signal, kind), 0, 0, 0, NULL, signal_kinds,
     "4-20 mA: up to 3.6 mA and from 21 mA the sensor has failed, between that and 3.8 to 20.5 mA the value "
     "is out of range (NAMUR NE 43)"},
    {"low", ES_FIELD_ANY, true, AT(signal, low), 0, 0, 0, NULL, NULL, "quantity at 4 mA"},
    {"high", ES_FIELD_ANY, true, AT(signal, high), 0, 0, 0, NULL, NULL, "quantity at 20 mA"},
};

static const struct es_field plausible_rows[] = {
    {"low", ES_FIELD_ANY, true, AT(range, low), 0, 0, 0, NULL, NULL, "quantity"},
    {"high", ES_FIELD_ANY, true, AT(range, high), 0, 0, 0, NULL, NULL, "quantity"},
};

static const struct es_field calibration_rows[] = {
    {"certificate", ES_FIELD_TEXT, true, AT(calibration, certificate), 0, 1, 120, NULL, NULL,
     "number of the calibration certificate"},
    {"date", ES_FIELD_TEXT, true, AT(calibration, date), 0, 10, 10, NULL, NULL, "when, \"2026-02-01\""},
    {"due", ES_FIELD_TEXT, true, AT(calibration, due), 0, 10, 10, NULL, NULL,
     "last day on which it is valid; after it, no certificate without a named person's reason"},
    {"U", ES_FIELD_ANY, true, AT(calibration, U), 0, 0, 0, NULL, NULL,
     "quantity: expanded uncertainty, the part that does not depend on the reading"},
    {"U of reading", ES_FIELD_QUANTITY, false, AT(calibration, U_reading), ES_DIM_RATIO, 0, 1, "0 %", NULL,
     "expanded uncertainty, the part in proportion to the reading"},
    {"k", ES_FIELD_NUMBER, false, AT(calibration, k), 0, 1, 10, "2", NULL, "coverage factor of both"},
    {"degrees of freedom", ES_FIELD_NUMBER, false, AT(calibration, dof), 0, 1, 1e9, NULL, NULL,
     "of the stated uncertainty; without it: many"},
    {"corrections", ES_FIELD_ARRAY, false, AT(calibration, corrections), 0, 1, 256, NULL, NULL,
     "[reading, correction] pairs in the channel's unit, reading rising: value = reading + correction, "
     "straight lines between, the end values outside"},
};

static const struct es_field read_back_rows[] = {
    {"role", ES_FIELD_TEXT, true, AT(read_back, role), 0, 1, 60, NULL, NULL,
     "the input that shows the effect"},
    {"within", ES_FIELD_ANY, true, AT(read_back, within), 0, 0, 0, NULL, NULL,
     "quantity: largest difference between what was written and what is read"},
    {"after", ES_FIELD_QUANTITY, true, AT(read_back, after), ES_DIM_TIME, 0.001, 60, NULL, NULL,
     "longest time until it shows"},
};

static const struct es_field station_rows[] = {
    {"name", ES_FIELD_TEXT, true, AT(station, name), 0, 1, 40, NULL, NULL, "name of the station"},
    {"channels", ES_FIELD_ARRAY, true, AT(station, channels), 0, 1, ES_ROLE_COUNT, NULL, NULL,
     "its signals, one a role"},
    {"ceilings", ES_FIELD_ARRAY, true, AT(station, ceilings), 0, 0, ES_ROLE_COUNT, NULL, NULL,
     "what no procedure and no person can exceed; one for every analogue output"},
    {"safe state", ES_FIELD_OBJECT, true, AT(station, safe_state), 0, 0, 0, NULL, NULL,
     "where the interlock puts the station"},
    {"watchdog", ES_FIELD_OBJECT, false, AT(station, watchdog), 0, 0, 0, NULL, NULL,
     "of the bench's own hardware; goes with the role `watchdog`"},
    {"facts", ES_FIELD_ARRAY, false, AT(station, facts), 0, 0, 64, NULL, NULL,
     "known quantities: volumes and the like"},
};

static const struct es_field ceiling_rows[] = {
    {"role", ES_FIELD_TEXT, true, AT(ceiling, role), 0, 1, 60, NULL, NULL,
     "an output: no write beyond; an input: the interlock trips beyond"},
    {"highest", ES_FIELD_ANY, true, AT(ceiling, highest), 0, 0, 0, NULL, NULL, "quantity"},
    {"lowest", ES_FIELD_ANY, false, AT(ceiling, lowest), 0, 0, 0, NULL, NULL, "quantity; needed for outputs"},
    {"slew", ES_FIELD_ANY, false, AT(ceiling, slew), 0, 0, 0, NULL, NULL,
     "quantity a second, outputs only: a larger change is written as a ramp of small ones"},
};

static const struct es_field safe_rows[] = {
    {"within", ES_FIELD_QUANTITY, true, AT(safe, within), ES_DIM_TIME, 0.05, 120, NULL, NULL,
     "longest time allowed from the cause to the last write"},
    {"writes", ES_FIELD_ARRAY, true, AT(safe, writes), 0, 1, 32, NULL, NULL,
     "in this order; every output has one"},
};

static const struct es_field safe_write_rows[] = {
    {"role", ES_FIELD_TEXT, true, AT(safe_write, role), 0, 1, 60, NULL, NULL, "an output of the station"},
    {"value", ES_FIELD_ANY, true, AT(safe_write, value), 0, 0, 0, NULL, NULL,
     "quantity, or 0 or 1 for a state"},
    {"wait", ES_FIELD_QUANTITY, false, AT(safe_write, wait), ES_DIM_TIME, 0, 60, "0 s", NULL,
     "pause before the next write"},
};

static const struct es_field watchdog_rows[] = {
    {"period", ES_FIELD_QUANTITY, true, AT(watchdog, period), ES_DIM_TIME, 0.05, 600, NULL, NULL,
     "without a write for so long the hardware makes itself safe; it is written four times as often"},
};

static const struct es_field fact_rows[] = {
    {"name", ES_FIELD_TEXT, true, AT(fact, name), 0, 1, 60, NULL, NULL, "\"output 1 volume\""},
    {"value", ES_FIELD_ANY, true, AT(fact, value), 0, 0, 0, NULL, NULL, "quantity"},
    {"uncertainty", ES_FIELD_ANY, true, AT(fact, uncertainty), 0, 0, 0, NULL, NULL,
     "quantity: standard uncertainty"},
    {"degrees of freedom", ES_FIELD_NUMBER, false, AT(fact, dof), 0, 1, 1e9, NULL, NULL,
     "of the uncertainty; without it: many"},
};

static const struct es_bench_rows all_rows[] = {
    {"bench file", "The whole file.", file_rows, COUNT(file_rows)},
    {"bus", "One serial line or one connection.", bus_rows, COUNT(bus_rows)},
    {"instrument", "One thing that answers on a bus.", instrument_rows, COUNT(instrument_rows)},
    {"station", "One place for one unit.", station_rows, COUNT(station_rows)},
    {"channel", "One signal of an instrument.", channel_rows, COUNT(channel_rows)},
    {"scale", "From the raw number to the unit.", scale_rows, COUNT(scale_rows)},
    {"signal", "A value carried as a loop current.", signal_rows, COUNT(signal_rows)},
    {"plausible", "What a healthy instrument can show.", plausible_rows, COUNT(plausible_rows)},
    {"range", "Where an overdriven instrument stops.", plausible_rows, COUNT(plausible_rows)},
    {"calibration", "What its calibration certificate says.", calibration_rows, COUNT(calibration_rows)},
    {"read back", "Proof of a write.", read_back_rows, COUNT(read_back_rows)},
    {"ceiling", "A limit that holds whoever asks.", ceiling_rows, COUNT(ceiling_rows)},
    {"safe state", "The ordered writes that make the station safe.", safe_rows, COUNT(safe_rows)},
    {"safe write", "One of them.", safe_write_rows, COUNT(safe_write_rows)},
    {"watchdog", "The bench's own hardware watchdog.", watchdog_rows, COUNT(watchdog_rows)},
    {"fact", "A known quantity with its uncertainty.", fact_rows, COUNT(fact_rows)},
};

const struct es_bench_rows *es_bench_rows_list(size_t *count)
{
    *count = COUNT(all_rows);
    return all_rows;
}

const struct es_bench_rows *es_bench_rows_find(const char *object)
{
    for (size_t i = 0; i < COUNT(all_rows); i++) {
        if (!strcmp(all_rows[i].object, object)) {
            return &all_rows[i];
        }
    }
    return NULL;
}

/* Quantities with their units. Inside the program every number is in the coherent unit of its dimension
 * (SI; ratios as 1, not per cent); units appear only where people read or write.
 * Conversion factors: NIST SP 811 App. B.8; DIN 1343, ISO 8778 (ANR) for gas reference states.
 * All functions are pure and thread-safe; es_unit pointers are static. The programs stay in the C locale:
 * the decimal sign is a point. */
#ifndef ES_BASE_QUANTITY_H
#define ES_BASE_QUANTITY_H

#include <stddef.h>

#include "rig/base/error.h"

enum es_dimension {
    ES_DIM_NUMBER,                 /* pure number, count, state */
    ES_DIM_RATIO,                  /* 1; written % */
    ES_DIM_PRESSURE,               /* Pa. Gauge unless the role or name says absolute */
    ES_DIM_CURRENT,                /* A */
    ES_DIM_VOLTAGE,                /* V */
    ES_DIM_RESISTANCE,             /* ohm */
    ES_DIM_ANGLE,                  /* rad */
    ES_DIM_LENGTH,                 /* m */
    ES_DIM_TIME,                   /* s */
    ES_DIM_FREQUENCY,              /* Hz */
    ES_DIM_TEMPERATURE,            /* K (thermodynamic; written degC) */
    ES_DIM_TEMPERATURE_DIFFERENCE, /* K */
    ES_DIM_FLOW,                   /* m3/s at ANR (ISO 8778: 20 degC, 100 kPa) */
    ES_DIM_VOLUME,                 /* m3 */
    ES_DIM_CONDUCTANCE,            /* m3/(s Pa), ISO 6358 C at ANR */
    ES_DIM_PRESSURE_RATE,          /* Pa/s */
    ES_DIM_CURRENT_RATE,           /* A/s */
    ES_DIM_ANGLE_RATE,             /* rad/s */
    ES_DIM_LENGTH_RATE,            /* m/s */
    ES_DIM_RATIO_RATE,             /* 1/s; written %/s */
    ES_DIM_COUNT
};

struct es_unit {
    const char *name; /* as written, e.g. "bar", "Nl/h", "l/min ANR" */
    enum es_dimension dimension;
    double factor; /* coherent value = written * factor + offset */
    double offset;
    const char *conditions; /* reference state for flows and volumes of gas; else NULL */
};

const char *es_dimension_name(enum es_dimension d);           /* "pressure" */
const struct es_unit *es_dimension_unit(enum es_dimension d); /* the unit used when none is asked for */
enum es_dimension es_dimension_rate(enum es_dimension d);     /* of a change per second; ES_DIM_COUNT: none */

/* NULL when unknown. Exact spelling, case counts. "K" stands for a temperature here; where the dimension is
 * known, es_unit_find_as tells it from a difference of temperatures. */
const struct es_unit *es_unit_find(const char *name, size_t length);
const struct es_unit *es_unit_find_as(const char *name, size_t length, enum es_dimension d);

/* Writes the names of all units of a dimension, ", " between them; always terminated. */
void es_unit_names(enum es_dimension d, char *out, size_t size);

struct es_quantity {
    double value;               /* coherent */
    const struct es_unit *unit; /* as written */
    int decimals;               /* digits after the point as written */
};

/* Reads "4.0 bar", "-30 deg", "0.5 %", "12". A number (point, no thousands marks, no exponent needed but
 * allowed), spaces, a unit. No unit means ES_DIM_NUMBER. Fails with ES_BAD_INPUT and a text that says
 * what was found and expected. Not finite: refused. */
enum es_status es_quantity_parse(const char *text, struct es_quantity *out,
                                 struct es_error *err) ES_MUST_CHECK;

/* As above, and the dimension must be `d`. */
enum es_status es_quantity_parse_as(const char *text, enum es_dimension d, struct es_quantity *out,
                                    struct es_error *err) ES_MUST_CHECK;

double es_to_unit(double coherent, const struct es_unit *unit);
double es_from_unit(double written, const struct es_unit *unit);
/* A difference (uncertainty, span): the offset is left out. */
double es_to_unit_difference(double coherent, const struct es_unit *unit);
double es_from_unit_difference(double written, const struct es_unit *unit);

/* "4.00 bar": `decimals` digits after the point. NaN: "no value". Always terminated when size > 0; returns
 * the length needed. */
size_t es_quantity_format(double coherent, const struct es_unit *unit, int decimals, char *out, size_t size);

/* text[at] is a blank between a number and its unit, or within a unit ("l/h ANR"): no place to break a line.
 */
bool es_unit_belongs(const char *text, size_t at);

#endif

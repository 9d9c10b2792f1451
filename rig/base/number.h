/* Measured numbers as text: the expanded uncertainty to two significant digits, the value to the same
 * decimal place (JCGM 100:2008 7.2.6). Pure. */
#ifndef ES_BASE_NUMBER_H
#define ES_BASE_NUMBER_H

#include <stdbool.h>
#include <stddef.h>

#include "rig/base/quantity.h"

#define ES_NUMBER_SIZE 40

struct es_number_text {
    char value[ES_NUMBER_SIZE]; /* "4.013" */
    char U[ES_NUMBER_SIZE];     /* "0.012"; "" when there is none */
    int decimals;               /* place of the last digit: 3; negative: tens, hundreds */
};

/* Decimal place of the second significant digit of U (U > 0): 0.012 -> 3, 1.2 -> 1, 12 -> 0, 1234 -> -2.
 * Takes account of rounding up to the next power of ten (0.0996 -> 2, written 0.10). */
int es_number_place(double U);

/* Rounds to a decimal place, half to even on the exact binary value; never "-0". */
void es_number_round(double value, int decimals, char out[static ES_NUMBER_SIZE]);

/* Value and U, both already in the unit in which they are shown. U that is 0, negative or not finite:
 * no uncertainty is shown and `fallback_decimals` rounds the value. A value that is not finite gives
 * "no value". */
void es_number_with_uncertainty(double value, double U, int fallback_decimals, struct es_number_text *out);

/* How far a 95 % interval reaches above and below the value, to as many decimals (JCGM 101:2008 5.5.3: the
 * interval need not be symmetric). False: both read the same, or an end is not finite; then U says it all. */
bool es_number_uneven(double value, double low, double high, int decimals, char above[static ES_NUMBER_SIZE],
                      char below[static ES_NUMBER_SIZE]);

/* A limit's number: as few digits as keep it exact to 6 significant digits ("0.5", "30", "1.4"). */
void es_number_limit(double value, char out[static ES_NUMBER_SIZE]);

/* "4 min 05 s", "12 s", "1 h 02 min". Not finite or negative: "?". */
void es_number_duration(double seconds, char out[static ES_NUMBER_SIZE]);

#endif

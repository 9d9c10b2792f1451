/* Patterns of text lines, both ways: to take a number out of an answer and to put one into a command.
 *
 *   {number}  IEEE 488.2 numeric response data: NR1, NR2, NR3; also nan, inf and SCPI's 9.9E37 and 9.91E37,
 *             which match but are not valid
 *   {state}   0, 1, OFF, ON (any case); put in as OFF or ON
 *   {value}   same as {number}; the name to use in commands
 *   {any}     any characters, as few as needed
 *   {{        one brace
 *   blank     one or more blanks or tabs
 *   other     itself, exactly
 *
 * The whole text must match; blanks at its ends are ignored. Pure functions, safe from any thread. */
#ifndef ES_DRIVERS_LINE_PATTERN_H
#define ES_DRIVERS_LINE_PATTERN_H

#include "drivers/driver.h"

/* NULL when the pattern is well formed and has `numbers` of {number}, {value} and {state} together; else one
 * sentence that says what is wrong. */
const char *es_pattern_fault(const char *pattern, size_t numbers);

/* True when `length` bytes of text match; *value is set when the pattern has a number or a state. */
bool es_pattern_match(const char *pattern, const char *text, size_t length, struct es_raw *value);

/* Writes the pattern with `value` put in, `digits` after the point ({any} gives nothing). False when it does
 * not fit, when value is not finite, or when a {state} is neither 0 nor 1. */
bool es_pattern_fill(const char *pattern, double value, int digits, char *out, size_t size);

#endif

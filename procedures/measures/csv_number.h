/* Numbers as people's programs write them: which mark is the decimal one, and what each number is.
 *
 * A mark followed by exactly three digits with one to three before it ("1.003") can be read in two ways. Only
 * numbers that allow a single reading count as evidence ("0.000", "12.5", "1234.567", "1.003,5", "1.003.000"
 * for a grouping mark). Where evidence lacks or contradicts itself, the number is a fault, not a guess. Pure.
 */
#ifndef ES_MEASURES_CSV_NUMBER_H
#define ES_MEASURES_CSV_NUMBER_H

#include <stdbool.h>
#include <stddef.h>

enum es_csv_reading {
    ES_CSV_NUMBER,    /* a number */
    ES_CSV_MISSING,   /* empty, NaN, "-", "n/a", "NA", "null" */
    ES_CSV_AMBIGUOUS, /* two readings */
    ES_CSV_MALFORMED  /* no number in the style of the file */
};

/* What one cell says about the marks. */
struct es_csv_marks {
    bool number;        /* looks like a number at all: digits, marks, sign, exponent */
    bool decimal_point; /* only a decimal point makes sense of it */
    bool decimal_comma;
    bool open_point; /* one point that could be either */
    bool open_comma;
    bool many_points; /* several points, all groups of three: "1.003.000" */
};

struct es_csv_style {
    char decimal;            /* '.' or ',' */
    bool grouped_by_decimal; /* this column uses the decimal mark between thousands too: its last one is the
                                decimal one */
};

void es_csv_marks_of(const char *text, size_t length, struct es_csv_marks *out);
/* With more digits than a double holds, so that a unit's factor can be applied before rounding. Finite as a
 * double. */
enum es_csv_reading es_csv_number_read(const char *text, size_t length, const struct es_csv_style *style,
                                       long double *out);
/* Digits with at most this one mark, and a minus: a number that says nothing new once this mark is known to
 * be the decimal one. */
bool es_csv_is_plain(const char *text, size_t length, char decimal);
bool es_csv_is_missing(const char *text, size_t length);

#endif

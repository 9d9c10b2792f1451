/* Dates and times of day in a text table, after ISO 8601: "2025-03-01T10:00:00.25Z", "2025-03-01
 * 10:00:00,25", "2025-03-01T10:00+01:00", "10:00:00.25". Pure. */
#ifndef ES_MEASURES_CSV_CLOCK_H
#define ES_MEASURES_CSV_CLOCK_H

#include <stdbool.h>
#include <stddef.h>

struct es_csv_clock {
    bool dated, zoned;
    long day;      /* since 1970-01-01; 0 without a date */
    double second; /* of the day, s; in UTC when zoned, then perhaps below 0 or above 86400 */
};

/* Begins like a date or a time of day: digits with ':' or two '-'. */
bool es_csv_like_clock(const char *text, size_t length);

/* False when it is none, or no day of the calendar. */
bool es_csv_clock_read(const char *text, size_t length, struct es_csv_clock *out);

/* s from a to b; both written in the same form. */
double es_csv_clock_between(const struct es_csv_clock *a, const struct es_csv_clock *b);

#endif

/* Time only through this seam. Monotonic nanoseconds; wall-clock time only for what people read. */
#ifndef ES_BASE_CLOCK_H
#define ES_BASE_CLOCK_H

#include <stdint.h>

#include "rig/base/error.h"

#define ES_NS_PER_S INT64_C(1000000000)

typedef int64_t es_time; /* ns since an arbitrary origin; never negative in use */

static inline double es_seconds(es_time ns)
{
    return (double)ns / (double)ES_NS_PER_S;
}
static inline es_time es_from_seconds(double s)
{
    return (es_time)(s * (double)ES_NS_PER_S + (s < 0 ? -0.5 : 0.5));
}

es_time es_clock_now(void); /* CLOCK_MONOTONIC */

/* Sleeps to an absolute deadline; returns at once when it has passed. Restarts after signals. */
void es_clock_sleep_until(es_time deadline);

/* Wall clock as RFC 3339 UTC with milliseconds, "2026-02-03T10:11:12.345Z"; needs 25 bytes. */
void es_clock_wall_text(char out[static 32]);

/* True when the kernel says that the wall clock is synchronised (adjtimex, not STA_UNSYNC). */
bool es_clock_is_synchronised(void);

/* "2026-02-03" (RFC 3339 full-date), a day that exists; false otherwise. Dates in this form compare as
 * text; today's date is the first ten characters of es_clock_wall_text. */
bool es_date_parse(const char *text, int *year, int *month, int *day);

#endif

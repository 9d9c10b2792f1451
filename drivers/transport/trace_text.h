/* The byte trace's text, which is the replay's too. One event a line:
 *
 *   # anything                        remark
 *   0.012345 > 01 03 00 00 00 01      written (seconds since the trace began, direction, bytes in
 * hexadecimal) 0.019002 < 01 03 02               read 3.500000 !                        the line hung up
 *   4.000000 +                        the line was opened again
 *
 * Pure; safe from any thread. */
#ifndef ES_DRIVERS_TRACE_TEXT_H
#define ES_DRIVERS_TRACE_TEXT_H

#include <stddef.h>
#include <stdint.h>

#include "rig/base/error.h"

#define ES_TRACE_BYTES 4096 /* most of one event */

enum es_trace_kind { ES_TRACE_REMARK, ES_TRACE_WRITTEN, ES_TRACE_READ, ES_TRACE_HANGUP, ES_TRACE_REOPENED };

struct es_trace_event {
    enum es_trace_kind kind;
    double time; /* s */
    size_t count;
    uint8_t bytes[ES_TRACE_BYTES];
};

/* One line, without its line end. ES_BAD_INPUT says what is wrong and at which column. */
enum es_status es_trace_parse(const char *line, size_t length, struct es_trace_event *out,
                              struct es_error *err) ES_MUST_CHECK;

/* Text of a line with its line end. `size` of at least 3 * count + 32 holds every event. */
size_t es_trace_format(enum es_trace_kind kind, double time, const uint8_t *bytes, size_t count, char *out,
                       size_t size);

#endif

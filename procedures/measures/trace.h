/* A trace: what was recorded in one recording, in memory.
 * Every series keeps its own time stamps: instruments on different buses are not sampled together.
 * Pure data; one owner; read-only while measures look at it. */
#ifndef ES_MEASURES_TRACE_H
#define ES_MEASURES_TRACE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rig/base/clock.h"
#include "rig/base/role.h"

/* Quality of a value. Nothing that is not GOOD may be used as a number. */
enum es_quality {
    ES_GOOD,
    ES_STALE,        /* older than allowed, or the bus is suspect */
    ES_OUT_OF_RANGE, /* outside the instrument's plausible range (e.g. NAMUR NE 43) */
    ES_FAILED        /* no value */
};

/* What is known of a channel's errors, apart from the noise that the trace itself shows.
 * Standard uncertainties (k = 1), coherent units. */
struct es_channel_uncertainty {
    double offset;        /* calibration and further contributions, the same for all samples */
    double gain;          /* relative to the reading, the same for all samples */
    double dof;           /* degrees of freedom of the two above; INFINITY when not stated */
    double resolution;    /* width of one step of the reading */
    double time;          /* s: of the time stamps, common to the series */
    double refresh;       /* s: the instrument's own refresh interval; 0 when faster than sampling */
    double lag;           /* s: first-order response time of the instrument; 0 when negligible */
    double repeatability; /* of the whole act (connect, fill, settle, read), from the bench's own repeats */
};

struct es_series {
    enum es_role role;
    enum es_dimension dimension;
    size_t count;
    double *t;        /* s from the trace's start, non-decreasing; when the instrument took the value */
    double *y;        /* coherent */
    uint8_t *quality; /* enum es_quality */
    struct es_channel_uncertainty u;
    double low, high; /* coherent: the ends of what the instrument can show; a value at one of them may be cut
                         off (es_at_end). Not known unless low < high */
};

/* A write to the bench while recording: the origin of step responses. */
struct es_command {
    enum es_role role;
    double t;        /* s from the trace's start: when the write was acknowledged or known to act */
    double u_t;      /* s, standard */
    double from, to; /* coherent */
};

struct es_trace {
    char *name;      /* the recording's name in its procedure; allocated */
    double duration; /* s */
    char *unfit; /* why nothing may be measured from it, a sentence: the bench did not hold what the recording
                    counts on; NULL when it did; allocated */
    struct es_series *series;
    size_t series_count;
    struct es_command *commands;
    size_t command_count;
};

void es_trace_free(struct es_trace *trace); /* NULL allowed; frees everything in it and itself */

/* True when y stands at an end of the series' range, by its resolution and a thousandth of the range: the
 * instrument may be overdriven, and what it would show is not known. False where the range is not known. */
bool es_at_end(const struct es_series *series, double y);

/* NULL when the trace has no such series. */
const struct es_series *es_trace_series(const struct es_trace *trace, enum es_role role);

#endif

/* Are the outputs where they were put? Two ways of knowing: the setting that an instrument tells when asked
 * (a Modbus coil, a holding register, a text-line query), and an input that shows the effect ("read back" of
 * the bench file). No thread, no clock; the station's core feeds it. Inside of rig/bench only. */
#ifndef ES_BENCH_OUTPUT_WATCH_H
#define ES_BENCH_OUTPUT_WATCH_H

#include "procedures/engine/port.h"
#include "rig/bench/bench.h"

/* A setting is another's work when this many answers in a row say so, all taken after the write and its
 * acting time (`lag` and `refresh` of the output's channel). At 5 Hz: within 0.4 s. */
#define ES_SETTINGS_IN_A_ROW 2

/* An effect is missing when this many readings in a row, taken after `read_back_after`, lie outside
 * `read_back_within`: one or two noisy readings mean nothing. */
#define ES_EFFECTS_IN_A_ROW 3

struct es_output_watch {
    bool writing;          /* a write is under way: nothing that is read meanwhile counts */
    unsigned off, missing; /* in a row */
    es_time off_since, missing_since;
    es_time looked; /* at this reading of the effect, not to count it twice */
};

/* What the output was told last. */
struct es_output_told {
    double value; /* coherent; NAN: nobody knows */
    es_time at;
};

/* A setting as it was read, a raw number. True when it was changed by somebody else: *since and the sentence.
 */
bool es_output_changed(struct es_output_watch *w, const struct es_bench *bench,
                       const struct es_bench_channel *out, const struct es_output_told *told,
                       struct es_raw raw, es_time taken, es_time *since, char *text, size_t size);

/* The newest reading of the input that shows the effect (channel `in`). True when it does not follow. */
bool es_output_missing(struct es_output_watch *w, const struct es_bench_channel *out,
                       const struct es_bench_channel *in, const struct es_output_told *told,
                       const struct es_reading *newest, es_time *since, char *text, size_t size);

#endif

/* Where a demand was left alone: the stretches between its writes. Writes that follow each other sooner than
 * `settle` are one movement (a ramp is many writes). Pure. */
#ifndef ES_MEASURES_HOLDS_H
#define ES_MEASURES_HOLDS_H

#include "procedures/measures/trace.h"
#include "rig/base/error.h"

struct es_hold {
    double from, to; /* s: the write that began it acted; surely before the next one, or the end */
    double demand;   /* as written, coherent; NAN before the first write when it is not known */
    int way;         /* +1 reached rising, -1 falling, 0 not known: nothing was written yet */
};

struct es_holds {
    struct es_hold *items;
    size_t count;
};

/* `end`: s, of the recording. count may come out 0. Free with es_holds_free. */
enum es_status es_holds_find(const struct es_trace *trace, enum es_role demand, double settle, double end,
                             struct es_holds *out, struct es_error *err) ES_MUST_CHECK;
void es_holds_free(struct es_holds *h); /* leaves it empty */

/* The last write of `role`; NULL when there is none. */
const struct es_command *es_last_write(const struct es_trace *trace, enum es_role role);

/* When the series ends, s; 0 for an empty one or NULL. */
double es_series_end(const struct es_series *series);

#endif

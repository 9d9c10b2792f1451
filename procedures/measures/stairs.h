/* A staircase of the demand and what answered: at each hold, the settled response less what it should be; and
 * the holds of the same demand taken together, by the direction from which they were reached. Definitions at
 * the head of measure_staircase.c. Pure; the caller frees. */
#ifndef ES_MEASURES_STAIRS_H
#define ES_MEASURES_STAIRS_H

#include <stdbool.h>

#include "procedures/measures/holds.h"
#include "procedures/measures/rest_level.h"
#include "procedures/measures/span.h"

struct es_stairs_input {
    const struct es_trace *trace;
    enum es_role demand, read_back, response;
    struct es_span demand_span, span;
    double settle;  /* s left out after each write */
    double still;   /* share of span: movement over a hold above which it has not settled */
    bool all;       /* also the hold before the first write (way 0), and those beyond the demand's span */
    bool pass_over; /* holds that moved by more than `still` are left out, not all refused */
};

/* One hold. Shares of span. */
struct es_stair_reading {
    double demand, error;     /* what the demand was; response less demand */
    double response, current; /* coherent: response, demand (read back where recorded) */
    int way;                  /* +1 reached rising, -1 falling */
    struct es_budget noise;   /* of the error, repeats */
    double u, u_moved;        /* noise and resolution; what it moved within the hold: standard */
    double u_step;            /* of u: steps of the reading, which repeat themselves */
    double t, drift;          /* s: middle of the samples; shares of span a second over them */
    bool unsettled_before;    /* a hold right before it was passed over */
    size_t point;
    size_t first, last; /* samples of the response */
};

/* Holds of one demand. */
struct es_stair_point {
    double demand;          /* share of span, mean */
    double up, down, error; /* mean errors; error: mean of the two, or of the one there is */
    double u_up, u_down, u; /* noise of these means */
    double range, u_range; /* largest less smallest error among the readings of one direction; noise of one */
    size_t ups, downs;
};

struct es_stairs {
    struct es_stair_reading
        *readings; /* in order of time; without those of unknown direction and beyond the span, unless all */
    size_t count, unsettled;       /* unsettled: passed over */
    struct es_stair_point *points; /* by rising demand */
    size_t point_count;
    double u;         /* noise of one reading, over all of them */
    bool read_back;   /* the demand was read back */
    char reason[160]; /* why count is 0, or "" */
};

enum es_status es_stairs_find(const struct es_stairs_input *in, struct es_stairs *out,
                              struct es_error *err) ES_MUST_CHECK;
void es_stairs_free(struct es_stairs *s); /* leaves it empty */

#endif

/* One step of a demand and the answer to it: the figures of a step response with their budgets.
 * Definitions at the head of measure_step_response.c. Pure. */
#ifndef ES_MEASURES_STEP_ANALYSIS_H
#define ES_MEASURES_STEP_ANALYSIS_H

#include "procedures/measures/budget.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"

enum es_step_figure {
    ES_STEP_DEAD_TIME,
    ES_STEP_T63,
    ES_STEP_T86,
    ES_STEP_T98,
    ES_STEP_SHARE, /* the share asked for */
    ES_STEP_SETTLING,
    ES_STEP_OVERSHOOT,
    ES_STEP_FIGURES
};

struct es_estimate {
    bool valid;
    char reason[160];
    double value;
    struct es_budget budget;
};

struct es_step_input {
    const struct es_samples *samples; /* from before the command to the end of its part */
    double rest_before;               /* s: rest begins here, at or after the first sample */
    double origin, u_origin;          /* s: command acted */
    double end;                       /* s: next command, or end of the recording */
    double rest;                      /* share of origin..end that is taken as the steady state */
    double band;                      /* of the settling time, ratio of the step */
    size_t many;                      /* steps of the set, of which the largest figure is taken; 0: one */
    double share;                     /* of ES_STEP_SHARE, 0 < share < 1; 0: not asked for */
    struct es_channel_uncertainty u;
};

struct es_step {
    bool carried; /* false: nothing but `reason` is known */
    char reason[160];
    struct es_plateau before, after;
    double size;    /* response, signed */
    double stirred; /* movement before the command, ratio of the size; 0 when none is seen */
    double u_rest;  /* standard: of what the response may still have to go at the end */
    double refresh; /* s: interval at which the values really change; 0 when each sample is new */
    struct es_estimate figures[ES_STEP_FIGURES];
};

void es_step_analyse(const struct es_step_input *in, struct es_step *out);

#endif

/* A sensor swept to and fro: reference angle and sensor reading paired in time, and the legs between the
 * turning points. Pure; the caller frees. */
#ifndef ES_MEASURES_SWEEP_LEGS_H
#define ES_MEASURES_SWEEP_LEGS_H

#include "procedures/measures/samples.h"

#define ES_SWEEP_MAX_LEGS 64

struct es_sweep_point {
    double t, angle, ratio;
    bool paired; /* the reference is known at this time */
    bool good;   /* the sensor's reading is a number */
    bool odd;    /* set by es_sweep_find_odd: not where its surroundings are */
};

struct es_sweep_leg {
    size_t first, last; /* points */
    int direction;      /* +1 angle rising, -1 falling */
    double speed;       /* rad/s, > 0: median over the middle */
    double low, high;   /* rad */
};

struct es_sweep {
    struct es_sweep_point *points;
    size_t n;
    struct es_sweep_leg legs[ES_SWEEP_MAX_LEGS];
    size_t leg_count;
    double low, high;    /* rad: swept by every leg */
    double least, most;  /* rad: swept by any */
    double sample_angle; /* rad: usual distance between two points while moving */
    double interval;     /* s between sensor samples */
};

/* Pairs the series, sensor taken to be `delay` s late, and finds the legs that cover at least 0.8 of the
 * whole range. `text` gets the reason when there are none to speak of (leg_count = 0). */
enum es_status es_sweep_pair(const struct es_series *angle, const struct es_series *sensor, double delay,
                             struct es_sweep *out, char text[static 160], struct es_error *err) ES_MUST_CHECK;
void es_sweep_free(struct es_sweep *s); /* leaves it empty */

#endif

/* A sensor swept to and fro: reference angle and sensor reading paired in time, and the legs between the
 * turning points. Pure; the caller frees. */
#ifndef ES_MEASURES_SWEEP_LEGS_H
#define ES_MEASURES_SWEEP_LEGS_H

#include "procedures/measures/samples.h"

#define ES_SWEEP_MAX_LEGS 64

struct es_sweep_point {
    double t, angle, ratio;
    size_t sample; /* in the sensor's series */
    bool paired;   /* the reference is known at this time */
    bool good;     /* the sensor's reading is a number */
    bool odd;      /* set by es_sweep_find_odd: not where its surroundings are */
};

struct es_sweep_leg {
    size_t first, last; /* points */
    int direction;      /* +1 angle rising, -1 falling */
    double speed;       /* rad/s, > 0: median over the middle */
    double low, high;   /* rad */
    double course[5];   /* by es_sweep_find_odd: polynomial in the angle, see es_sweep_course_at */
};

#define ES_SWEEP_BLOCK 32 /* points whose angles are bounded together */

struct es_sweep_bounds {
    double low, high; /* rad: of the paired ones among them; low > high where there are none */
};

struct es_sweep {
    struct es_sweep_point *points;
    size_t n;
    struct es_sweep_bounds *bounds; /* of each ES_SWEEP_BLOCK points */
    struct es_sweep_leg legs[ES_SWEEP_MAX_LEGS];
    size_t leg_count;
    double low, high;    /* rad: swept by every leg, but for what the recording's ends cut off */
    double least, most;  /* rad: swept by any */
    double sample_angle; /* rad: usual distance between two points while moving */
    double interval;     /* s between sensor samples */
};

/* Pairs the series, sensor taken to be `delay` s late, and finds the legs that cover at least 0.8 of the
 * whole range. `text` gets the reason when there are none to speak of (leg_count = 0). */
enum es_status es_sweep_pair(const struct es_series *angle, const struct es_series *sensor, double delay,
                             struct es_sweep *out, char text[static 160], struct es_error *err) ES_MUST_CHECK;
void es_sweep_free(struct es_sweep *s); /* leaves it empty */

/* Bounds of the points' angles anew. */
enum es_status es_sweep_bound(struct es_sweep *s, struct es_error *err) ES_MUST_CHECK;

/* Angles and readings of the good points of one leg (NULL: of all points) with from <= angle <= to, in order
 * of time, odd ones only when `odd_too`; room for all of them. `angle` may be NULL. Returns how many. */
size_t es_sweep_gather(const struct es_sweep *s, const struct es_sweep_leg *leg, double from, double to,
                       bool odd_too, double *angle, double *ratio);

#endif

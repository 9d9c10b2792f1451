/* The unit's position sensor: a track with a wiper; ratio of wiper to track voltage. */
#include <math.h>

#include "drivers/virtual/model.h"
#include "drivers/virtual/random.h"

double es_sensor_track(const struct es_sensor_parameters *s, double angle)
{
    const double half = 58 * ES_RAD_PER_DEG;
    const double x = fmax(-1, fmin(1, angle / half));
    const double ratio = 0.5 + s->slope * angle + s->bow * sin(3.141592653589793 * x);
    return fmax(s->dead_low, fmin(s->dead_high, ratio));
}

/* Share of the ratio that is left where the track is worn: the wiper chatters, anew every millisecond. */
static double contact(const struct es_virtual *v, double angle)
{
    const struct es_sensor_parameters *s = &v->p.sensor;
    const double off = fabs(angle - s->worn_angle) / s->worn_width;
    if (s->worn_depth <= 0 || off >= 1) {
        return 1;
    }
    const double chatter = es_random_uniform(v->seed, ES_STREAM_WIPER, (uint64_t)(v->t / ES_MS));
    return 1 - s->worn_depth * (0.4 + 0.6 * chatter) * fmin(1, 3 * (1 - off));
}

void es_sensor_step(struct es_virtual *v)
{
    const struct es_sensor_parameters *s = &v->p.sensor;
    if (s->unplugged || v->p.electronics.adaptor) {
        v->ratio = 0;
        return;
    }
    v->ratio = es_sensor_track(s, v->shaft.wiper + s->zero + s->shift) * contact(v, v->shaft.wiper);
}

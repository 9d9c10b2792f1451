/* Does the reference itself hang behind what turns the shaft? Play in the coupling of the bench's encoder
 * looks as if the unit's sensor had hysteresis. Two witnesses: the shaft motor's set angle, written while
 * recording, and the sensor, which cannot move before the shaft does. Pure. */
#ifndef ES_MEASURES_REFERENCE_PLAY_H
#define ES_MEASURES_REFERENCE_PLAY_H

#include "procedures/measures/sweep_curve.h"

struct es_reference_play {
    bool known;     /* the drive's writes were recorded, at two speeds */
    double play, u; /* rad: of the reference against the drive, delay taken out */
};

/* `count` angles, as in es_sweep_delay_of. Not known without error where the trace has no such writes. */
enum es_status es_reference_play_of(const struct es_trace *trace, enum es_role drive,
                                    const struct es_series *angle, size_t count,
                                    struct es_reference_play *out, struct es_error *err) ES_MUST_CHECK;

/* The part of it that the sensor does not share, rad; 0 where nothing stands out by three standard
 * uncertainties. A play that sensor and reference show alike is the drive's own and harms nothing. `sensor`:
 * of the sensor against the reference; negative hysteresis is a sensor that moves first. */
double es_reference_play_blamed(const struct es_reference_play *play, const struct es_sweep_delay *sensor);

#endif

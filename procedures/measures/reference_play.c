#include "procedures/measures/reference_play.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PASSES   3    /* pairings, each with the delay that the last one left */
#define INSET    0.06 /* of what was swept: away from the turns */
#define ALIKE    0.15 /* of the play: less between sensor and reference and they hang alike */
#define SURE     3.0
#define NO_DELAY 1.0 /* s: more is no delay of a drive */

/* The drive's set angle as a series: its writes; between two of a ramp the motor moves evenly. */
static enum es_status set_angles(const struct es_trace *trace, enum es_role drive, struct es_series *out,
                                 struct es_error *err)
{
    size_t room = trace->command_count + 1;
    memset(out, 0, sizeof *out);
    out->role = drive;
    out->dimension = ES_DIM_ANGLE;
    out->t = malloc(room * sizeof *out->t);
    out->y = malloc(room * sizeof *out->y);
    out->quality = calloc(room, sizeof *out->quality);
    if (!out->t || !out->y || !out->quality)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu writes.", room);
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        if (c->role != drive)
            continue;
        out->t[out->count] = c->t;
        out->y[out->count] = c->to;
        out->quality[out->count++] = ES_GOOD;
    }
    return ES_OK;
}

static enum es_status one_pass(const struct es_series *set, const struct es_series *angle, double shift,
                               size_t count, struct es_sweep_delay *d, struct es_error *err)
{
    struct es_sweep sweep;
    char text[160];
    *d = (struct es_sweep_delay){0};
    enum es_status status = es_sweep_pair(set, angle, shift, &sweep, text, err);
    if (status != ES_OK)
        return status;
    double inset = INSET * (sweep.high - sweep.low);
    if (!text[0] && sweep.leg_count >= 4)
        status = es_sweep_delay_of(&sweep, sweep.low + inset, sweep.high - inset, count, d, err);
    es_sweep_free(&sweep);
    return status;
}

enum es_status es_reference_play_of(const struct es_trace *trace, enum es_role drive,
                                    const struct es_series *angle, size_t count,
                                    struct es_reference_play *out, struct es_error *err)
{
    struct es_series set;
    struct es_sweep_delay d = {0};
    double shift = 0;
    *out = (struct es_reference_play){0};
    enum es_status status = set_angles(trace, drive, &set, err);
    for (int pass = 0; pass < PASSES && status == ES_OK && set.count > 0; pass++) {
        status = one_pass(&set, angle, shift, count, &d, err);
        if (!d.known || fabs(d.value) > NO_DELAY)
            break;
        shift += d.value;
    }
    if (status == ES_OK && d.known && fabs(d.value) < NO_DELAY)
        *out = (struct es_reference_play){true, d.hysteresis, d.u_hysteresis};
    free(set.t);
    free(set.y);
    free(set.quality);
    return status;
}

double es_reference_play_blamed(const struct es_reference_play *play, const struct es_sweep_delay *sensor)
{
    if (!sensor->known)
        return 0;
    double apart = sensor->hysteresis, u = sensor->u_hysteresis;
    double first = apart < -SURE * u ? -apart : 0; /* the sensor moves before its reference */
    bool stands = play->known && play->play > SURE * play->u;
    bool alike = fabs(apart) < fmax(SURE * u, ALIKE * play->play);
    return fmax(first, stands && !alike ? play->play : 0);
}

/* The unit's self-adjustment: it drives its actuator to both ends, takes the sensor's angles there for 0 and
 * 100 %, and tries a few positions. It keeps its old ends when it is broken off or finds none.
 *
 *   idle -> down <-> up -> trying -> idle      each way out of it: stop()
 *
 * Common practice, no published source. */
#include <math.h>

#include "drivers/virtual/model.h"

#define STANDING  (2 * ES_NS_PER_S)  /* without movement: the end is reached */
#define TOO_LONG  (60 * ES_NS_PER_S) /* on the way to an end */
#define MOVEMENT  (0.25 * ES_RAD_PER_DEG)
#define LEAST     (10 * ES_RAD_PER_DEG) /* between the ends */
#define TRY       (3 * ES_NS_PER_S)
#define ROUND_MAX 1000000

static const double tries[] = {0.5, 0.6, 0.4};
#define TRY_COUNT (int)(sizeof tries / sizeof tries[0])

static void enter(struct es_virtual *v, enum es_adjusting phase)
{
    struct es_adjustment *a = &v->adjustment;
    a->phase = phase;
    a->since = a->moved = v->t;
    a->angle = es_electronics_angle(v);
}

void es_adjustment_stop(struct es_virtual *v)
{
    v->adjustment.phase = ES_ADJUST_IDLE;
    v->adjustment.asked = v->written[ES_ROLE_SELF_ADJUSTMENT] != 0; /* heard, and done with */
}

/* Round trips that it takes; a unit that does not trust what it finds starts again and again. */
static int rounds_wanted(const struct es_virtual *v)
{
    const double doubt = v->p.electronics.doubt;
    return doubt >= 1 ? ROUND_MAX : (int)fmin(ROUND_MAX, 2 / ((1 - doubt) * (1 - doubt)));
}

static bool standing(struct es_virtual *v)
{
    struct es_adjustment *a = &v->adjustment;
    const double angle = es_electronics_angle(v);
    if (fabs(angle - a->angle) > MOVEMENT) {
        a->angle = angle;
        a->moved = v->t;
    }
    return v->t - a->moved >= STANDING;
}

static void end_reached(struct es_virtual *v)
{
    struct es_adjustment *a = &v->adjustment;
    a->found[a->phase == ES_ADJUST_UP] = es_electronics_angle(v);
    if (a->phase == ES_ADJUST_DOWN) {
        enter(v, ES_ADJUST_UP);
    } else if (fabs(a->found[1] - a->found[0]) < LEAST) {
        es_adjustment_stop(v);
    } else if (++a->round < rounds_wanted(v)) {
        enter(v, ES_ADJUST_DOWN);
    } else {
        a->known = true;
        a->low = a->found[0];
        a->high = a->found[1];
        a->round = 0;
        enter(v, ES_ADJUST_TRYING);
    }
}

/* Asked for anew, called off. */
static void hear(struct es_virtual *v)
{
    struct es_adjustment *a = &v->adjustment;
    const bool asked = v->written[ES_ROLE_SELF_ADJUSTMENT] != 0;
    if (asked && !a->asked) {
        a->round = 0;
        a->asked = true;
        enter(v, ES_ADJUST_DOWN);
    } else if (!asked) {
        es_adjustment_stop(v);
    }
}

bool es_adjustment_tick(struct es_virtual *v, double *drive, double *demand)
{
    struct es_adjustment *a = &v->adjustment;
    hear(v);
    if (a->phase == ES_ADJUST_DOWN || a->phase == ES_ADJUST_UP) {
        if (standing(v)) {
            end_reached(v);
        } else if (v->t - a->since > TOO_LONG) {
            es_adjustment_stop(v);
        }
    } else if (a->phase == ES_ADJUST_TRYING && v->t - a->since >= TRY) {
        enter(v, ++a->round < TRY_COUNT ? ES_ADJUST_TRYING : ES_ADJUST_IDLE);
    }
    if (a->phase == ES_ADJUST_TRYING) {
        *demand = tries[a->round];
        return false;
    }
    *drive = a->phase == ES_ADJUST_DOWN ? -1 : 1;
    return a->phase != ES_ADJUST_IDLE;
}

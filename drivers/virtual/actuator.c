/* The test actuator and its linkage to the unit's shaft.
 * Friction after Karnopp: at rest it holds against any force up to adhesion; sliding it is Coulomb's plus
 * what is left of adhesion at that velocity (Stribeck) plus viscous. End stops take up all momentum. */
#include <math.h>

#include "drivers/virtual/model.h"

static double driving_force(const struct es_virtual *v)
{
    const struct es_actuator_parameters *a = &v->p.actuator;
    const double *p = v->air.p;
    const double spring = a->spring_rate > 0 ? a->preload + a->spring_rate * v->actuator.position : 0;
    return (p[ES_CHAMBER_1] - p[ES_CHAMBER_2]) * a->area - spring;
}

static double sliding_friction(const struct es_actuator_parameters *a, double speed)
{
    const double x = speed / a->stribeck;
    return a->coulomb + (x < 20 ? (a->adhesion - a->coulomb) * exp(-x) : 0);
}

bool es_actuator_at_stop(const struct es_virtual *v)
{
    const struct es_actuator *s = &v->actuator;
    return (s->position <= 0 && s->force < 0) || (s->position >= v->p.actuator.length && s->force > 0);
}

/* New velocity after h seconds; 0 when it sticks. */
static double new_velocity(struct es_virtual *v, double h)
{
    const struct es_actuator_parameters *a = &v->p.actuator;
    struct es_actuator *s = &v->actuator;
    if (s->velocity == 0 && (fabs(s->force) <= a->adhesion || es_actuator_at_stop(v))) {
        return 0;
    }
    const double sign = s->velocity != 0 ? copysign(1, s->velocity) : copysign(1, s->force);
    const double friction = s->velocity == 0 ? a->coulomb : sliding_friction(a, fabs(s->velocity));
    const double next =
        (s->velocity + h / a->mass * (s->force - sign * friction)) / (1 + h * a->viscous / a->mass);
    /* Friction stops, it never reverses; and there is no slow creeping, but sticking and slipping. */
    return next * sign > a->stribeck / 10 ? next : 0;
}

void es_actuator_step(struct es_virtual *v, double h, double dV[ES_AIR_INNER])
{
    const struct es_actuator_parameters *a = &v->p.actuator;
    struct es_actuator *s = &v->actuator;
    const double force = driving_force(v);
    s->force_rate = (force - s->force) / h;
    s->force = force;
    s->velocity = new_velocity(v, h);
    s->sticking = s->velocity == 0;
    if (s->sticking) {
        return;
    }
    const double before = s->position;
    s->position += h * s->velocity;
    if (s->position <= 0 || s->position >= a->length) {
        s->position = s->position <= 0 ? 0 : a->length;
        s->velocity = 0;
    }
    const double moved = s->position - before;
    s->travelled += fabs(moved);
    dV[ES_CHAMBER_1] = moved * a->area;
    dV[ES_CHAMBER_2] = v->kind->double_acting ? -moved * a->area : 0;
}

double es_play(double follower, double leader, double width)
{
    return fmin(fmax(follower, leader - width / 2), leader + width / 2);
}

static double toward(double from, double to, double most)
{
    return fabs(to - from) <= most ? to : from + copysign(most, to - from);
}

void es_shaft_step(struct es_virtual *v, double h)
{
    struct es_shaft *s = &v->shaft;
    const double lever = es_linkage_angle(&v->p.linkage, v->p.actuator.length, v->actuator.position);
    s->lever = es_play(s->lever, lever, v->p.linkage.backlash);
    const double before = s->angle;
    if (v->written[ES_ROLE_SHAFT_COUPLING] == 0) {
        s->angle = toward(s->angle, s->lever, 20 * h); /* let go, the lever's spring brings it back */
    } else if (v->happening[ES_ROLE_EMERGENCY_STOP] != 0) {
        s->angle = toward(s->angle, s->target, v->drive_speed * h);
    }
    const double stop = v->p.sensor.shaft_stop;
    s->angle = fmin(fmax(s->angle, -stop), stop);
    s->moving = s->angle != before;
    s->wiper = es_play(s->wiper, s->angle, v->p.sensor.slack);
    s->encoder = es_play(s->encoder, s->angle, v->p.bench.encoder_slack);
}

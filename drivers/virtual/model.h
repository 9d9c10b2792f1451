/* The station's state and the parts that move it. Internal to drivers/virtual.
 *
 * One step, in order (step.c): valves, regulator, loop -> relay -> air with moving pistons -> actuator and
 * linkage -> sensor -> instruments; the electronics acts every ES_ELECTRONICS_TICK. */
#ifndef ES_VIRTUAL_MODEL_H
#define ES_VIRTUAL_MODEL_H

#include "drivers/virtual/air.h"
#include "drivers/virtual/parameters.h"

#define ES_FAULT_COUNT      34
#define ES_MS               INT64_C(1000000)
#define ES_ELECTRONICS_TICK (10 * ES_MS)

/* Streams of es_random_*: 1 unit's spread, 2 volumes, then: */
enum es_stream {
    ES_STREAM_WIPER = 3,
    ES_STREAM_CONVERTER,
    ES_STREAM_WALL,
    ES_STREAM_INSTRUMENT = 100,
    ES_STREAM_END = 1000
};

struct es_actuator {
    double position, velocity; /* from the lower end */
    double force, force_rate;  /* without friction */
    bool sticking;
    double travelled;
};

struct es_shaft {
    double angle;   /* the unit's shaft */
    double lever;   /* the actuator's lever, after its play */
    double wiper;   /* the sensor's, after its play */
    double encoder; /* the reference encoder's, after its play */
    double target;  /* of the motor */
    bool moving;
};

struct es_relay {
    double position; /* -1 .. 1 */
    bool moving;
};

struct es_electronics {
    bool alive;
    es_time alive_since;
    double demand;   /* share of travel, filtered */
    double position; /* share of travel */
    double rate;
    double drive;
    bool resting; /* within tolerance */
    bool shut_down;
};

enum es_adjusting { ES_ADJUST_IDLE, ES_ADJUST_DOWN, ES_ADJUST_UP, ES_ADJUST_TRYING };

struct es_adjustment {
    enum es_adjusting phase;
    bool asked;           /* what the digital channel says */
    es_time since, moved; /* in this phase; last movement */
    double angle;         /* rad: where it was at the last movement */
    double found[2];
    int round;
    bool known; /* the ends below take the place of those that it came with */
    double low, high;
};

struct es_valve {
    double open; /* 0 .. 1 */
};

/* One instrument at work. */
struct es_gauge {
    struct es_virtual_instrument about;
    double *readings; /* owned copies of the correction table */
    double *corrections;
    double offset, gain; /* drawn */
    double before;       /* what there was to see at the last step */
    double seen;         /* after the lag */
    double held;         /* at the last refresh */
    es_time taken, next;
    es_time refresh;  /* ns */
    bool direct;      /* neither lag nor refresh */
    double follow[3]; /* 1 - exp(-h/lag) for the usual steps of h */
};

enum {
    ES_EDGE_SOURCE,
    ES_EDGE_SUPPLY_OUT,
    ES_EDGE_SUPPLY_1,
    ES_EDGE_EXHAUST_1,
    ES_EDGE_SUPPLY_2,
    ES_EDGE_EXHAUST_2,
    ES_EDGE_BETWEEN,
    ES_EDGE_ISOLATING_1,
    ES_EDGE_ISOLATING_2,
    ES_EDGE_VENT_1,
    ES_EDGE_VENT_2,
    ES_EDGE_CHAMBER_1,
    ES_EDGE_CHAMBERS,
    ES_EDGE_COUNT
};

enum {
    ES_VALVE_SUPPLY,
    ES_VALVE_ISOLATING_1,
    ES_VALVE_ISOLATING_2,
    ES_VALVE_VENT_1,
    ES_VALVE_VENT_2,
    ES_VALVE_COUNT
};

struct es_virtual {
    enum es_virtual_type type;
    const struct es_virtual_type_about *kind; /* of that type */
    uint64_t seed;
    struct es_parameters base, p;                             /* without and with faults */
    double grown[ES_FAULT_COUNT], per_stroke[ES_FAULT_COUNT]; /* severity now, and how it grows */
    bool growing;
    double grown_at; /* strokes at the last growth */

    struct es_virtual_supply *common; /* NULL: a source of its own */
    double source_share;              /* of the source's pressure: what the faults leave */

    es_time now;        /* as asked for */
    es_time t;          /* as computed; at most one step behind */
    es_time fine_until; /* something was switched: short steps until then */
    uint64_t steps;
    int pace; /* index of the step in use */

    struct es_air air;
    double pressure_rate; /* largest relative change of a pressure in the last step, 1/s */
    struct es_valve valves[ES_VALVE_COUNT];
    bool valves_moving;
    double regulator; /* Pa gauge: set point as it is now */
    double loop;      /* A */
    double loop_voltage;
    struct es_relay relay;
    struct es_actuator actuator;
    struct es_shaft shaft;
    struct es_electronics electronics;
    struct es_adjustment adjustment;
    double ratio; /* sensor */

    double written[ES_ROLE_COUNT];
    double happening[ES_ROLE_COUNT]; /* emergency stop, guard, ambient */
    bool watchdog_armed;
    double watchdog_period;
    es_time watchdog_last;
    double drive_speed;
    double wall_drift; /* K/s, rms */

    double truth[ES_ROLE_COUNT];
    struct es_gauge gauges[ES_ROLE_COUNT];
    enum es_role lagging[ES_ROLE_COUNT]; /* gauges that must be followed while time passes */
    int lagging_count;
    uint64_t act; /* counts switchings: each draws repeatability anew */
};

/* Usual steps, ns: the shortest while something moves, the longest at rest. */
extern const es_time es_paces[3];

/* True for the first `share` of every period: something that is interrupted now and then. */
static inline bool es_interrupted(es_time t, es_time period, double share)
{
    return share >= 1 || (share > 0 && (double)(t % period) < share * (double)period);
}

/* relay.c: h seconds; position follows the drive; then conductances into the air's edges. */
void es_relay_step(struct es_virtual *v, double h);
bool es_relay_will_move(const struct es_virtual *v);
void es_relay_ports(struct es_virtual *v);

/* actuator.c */
/* Moves for h seconds under the present pressures; fills dV of both chambers. */
void es_actuator_step(struct es_virtual *v, double h, double dV[ES_AIR_INNER]);
bool es_actuator_at_stop(const struct es_virtual *v); /* and pressed against it */
void es_shaft_step(struct es_virtual *v, double h);
double es_play(double follower, double leader, double width);

/* sensor.c */
double es_sensor_track(const struct es_sensor_parameters *s,
                       double angle); /* ratio, without wear and noise */
void es_sensor_step(struct es_virtual *v);

/* electronics.c */
void es_loop_step(struct es_virtual *v, double h);
void es_electronics_tick(struct es_virtual *v);
double es_electronics_angle(const struct es_virtual *v); /* rad, as the electronics sees it */

/* self_adjustment.c: called every tick of a living unit. True: it moves by *drive; else *demand is what to
 * control to, changed while it tries positions. */
bool es_adjustment_tick(struct es_virtual *v, double *drive, double *demand);
void es_adjustment_stop(struct es_virtual *v);

/* instrument.c */
enum es_status es_gauge_init(struct es_virtual *v, enum es_role role,
                             const struct es_virtual_instrument *about, struct es_error *err);
void es_gauge_free(struct es_gauge *g);
void es_gauges_step(struct es_virtual *v, double h);
double es_gauge_reading(const struct es_virtual *v, enum es_role role, es_time *taken);
/* An output: what the hardware makes of a written value. */
double es_gauge_effect(const struct es_virtual *v, enum es_role role, double written);

/* common_supply.c: takes `member` to `when`, and all others on the same supply with it. */
void es_virtual_supply_advance(struct es_virtual_supply *s, const struct es_virtual *member, es_time when);

/* step.c */
void es_virtual_derive(struct es_virtual *v);               /* after a change of faults */
void es_virtual_source(struct es_virtual *v, double gauge); /* the source's pressure from now on, Pa */
void es_virtual_settle(struct es_virtual *v); /* computes up to v->now, before something is written */
void es_virtual_run(struct es_virtual *v, es_time target);
void es_virtual_truths(struct es_virtual *v);
void es_virtual_outside(struct es_virtual *v); /* the truths that come from outside */

#endif

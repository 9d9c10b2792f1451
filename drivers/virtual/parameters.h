/* Every figure of one bench, unit and mounting. Made in three layers: nominal for the type, spread drawn
 * from the seed, faults on top. Coherent units. Pure data. */
#ifndef ES_VIRTUAL_PARAMETERS_H
#define ES_VIRTUAL_PARAMETERS_H

#include "drivers/virtual/virtual_bench.h"

#define ES_RAD_PER_DEG 0.017453292519943295
#define ES_BAR         1e5

/* Conductance (m3/(s Pa) ANR) of a leak that lets out `nl_h` normal litres an hour (DIN 1343) from 5 bar
 * gauge to the atmosphere: choked, hence Q = C p1 with p1 = 6.01325 bar; 1 Nl = 1.087440005 l ANR. */
double es_virtual_leak(double nl_h);

struct es_relay_parameters {
    double C_supply, C_exhaust; /* fully open, each output */
    double b;
    double lag;             /* s: coil and nozzle */
    double overlap;         /* of the spool, share of its travel; negative: ports open at rest */
    double stick;           /* share of travel by which the drive must differ before the spool starts */
    double gain;            /* coil: share of travel for full drive */
    double reach_up;        /* largest position upwards */
    double open_share;      /* share of the time in which the coil's circuit is interrupted */
    double leak_seat[2];    /* supply -> output */
    double leak_exhaust[2]; /* output -> exhaust */
    double leak_between;    /* output 1 <-> output 2 */
    double leak_air;        /* output 1 side -> surroundings */
    double bleed;           /* supply -> surroundings: what the nozzle consumes */
    bool crossed;
    bool joined; /* no relay but a self-proof block: supply open to both outputs, nothing to exhaust */
};

struct es_actuator_parameters {
    double area;                       /* m2, or m3/rad */
    double length;                     /* m or rad: between the end stops */
    double mass;                       /* kg or kg m2 */
    double preload, spring_rate;       /* N, N/m (N m, N m/rad), closing */
    double coulomb, adhesion, viscous; /* sliding friction, what holds at rest, per velocity */
    double stribeck;                   /* velocity at which adhesion has mostly gone */
    double dead_volume[2];
    double leak; /* chamber 1 -> surroundings (single-acting) or -> chamber 2 */
    double hA;   /* W/K each chamber */
};

struct es_linkage_parameters {
    bool lever;          /* false: direct */
    double lever_length; /* m */
    double offset;       /* rad: of the shaft at mid travel */
    double backlash;     /* rad, whole play */
};

struct es_sensor_parameters {
    double slope;                  /* ratio per rad */
    double zero;                   /* rad: electrical against mechanical middle */
    double shift;                  /* rad: by which it was disturbed after adjustment */
    double bow;                    /* ratio: non-linearity, largest deviation */
    double dead_low, dead_high;    /* ratios at which the track ends */
    double slack;                  /* rad, whole play between shaft and wiper */
    double noise;                  /* ratio */
    double worn_angle, worn_width; /* rad */
    double worn_depth;             /* share of the ratio lost in the worn place */
    double shaft_stop;             /* rad, each way */
    bool unplugged;
};

struct es_electronics_parameters {
    double minimum_current;
    double burden_voltage, burden_resistance;
    double low, high;         /* A: 0 and 100 % */
    double tolerance;         /* share of travel within which it leaves the relay at rest */
    double gain, rate_gain;   /* drive per share of travel; per share/s */
    double jump;              /* least drive that it gives, to cross the spool's overlap */
    double cut_low, cut_high; /* demand beyond which the relay is driven fully */
    double start_time;        /* s after power-up */
    double feedback_offset, feedback_gain;
    double dead_share;                  /* share of the time in which it does nothing */
    double adjusted_low, adjusted_high; /* sensor angles it takes for the travel's ends */
    double doubt;                       /* of its self-adjustment in what it finds; 1: never content */
    bool shutdown_module, shutdown_open;
    bool feedback; /* has a position feedback */
    bool adaptor;  /* no electronics: an adaptor block drives the coil by the loop's current */
};

struct es_air_supply_parameters {
    double source; /* Pa gauge */
    double C_filter, C_regulator, C_valve, C_relief;
    double band; /* Pa: regulator fully open when this far below its set point */
    double lag;  /* s: electronic regulator */
    double hA_supply, hA_node;
};

struct es_bench_parameters {
    double C_isolating, C_vent, valve_lag;
    double C_fitting[2];
    double flow_gain, flow_offset; /* drift of both flow sensors: relative, m3/s ANR */
    double loop_gain, loop_offset; /* of the loop source */
    double compliance;             /* V */
    double encoder_slack;          /* rad, whole play */
    double noise;                  /* share of each role's usual span, standard */
    double bus_delay;              /* s by which each exchange takes longer */
};

struct es_parameters {
    struct es_relay_parameters relay;
    struct es_actuator_parameters actuator;
    struct es_linkage_parameters linkage;
    struct es_sensor_parameters sensor;
    struct es_electronics_parameters electronics;
    struct es_air_supply_parameters supply;
    struct es_bench_parameters bench;
    double volume[2]; /* m3: true closed test volumes */
};

/* Nominal and spread layers. */
void es_parameters_draw(const struct es_virtual_config *config, struct es_parameters *out);

/* Fault layer: applies every fault with severity > 0 to *p, then adjusts the electronics to the mounting
 * (not to the unit's faults: it was adjusted before they came). severity: one per row of the fault table. */
void es_parameters_apply(struct es_parameters *p, enum es_virtual_type type, const double *severity);

/* Lever angle, rad, for a position from the lower end. */
double es_linkage_angle(const struct es_linkage_parameters *l, double length, double position);

#endif

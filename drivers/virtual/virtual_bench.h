/* The virtual bench: one station with its air, its unit and its instruments, computed instead of built.
 *
 * Physics in virtual time: nothing moves until es_virtual_advance is called. One struct holds everything;
 * no globals, so that many stations can be computed at once, one thread each. The same configuration (seed
 * included) and the same writes at the same times give the same numbers, however the time between them is
 * cut into calls of es_virtual_advance.
 *
 * Signals are roles (rig/base/role.h) in coherent units. Air path: source -> filter -> regulator -> three-way
 * supply valve -> supply volume -> the unit's relay -> flow sensor i -> node i (closed test volume with
 * its transducer) -> isolating valve i -> chamber i of the test actuator; vent valve i lets node i out.
 * Equations and their sources: drivers/virtual/README.md. */
#ifndef ES_DRIVERS_VIRTUAL_BENCH_H
#define ES_DRIVERS_VIRTUAL_BENCH_H

#include <stddef.h>
#include <stdint.h>

#include "rig/base/clock.h"
#include "rig/base/error.h"
#include "rig/base/role.h"

/* The kinds of unit, each with the test actuator it is mounted on. Nominal values of a good unit (each unit
 * differs from them by its manufacturing spread, drawn from the seed):
 *
 *                        linear, single-acting            part-turn, double-acting
 *   test actuator        30 mm, spring 0.4 .. 1.2 bar     90 deg
 *   linkage              lever and pin, s = L tan(angle), direct, -45 .. +45 deg
 *                        L = 30 mm: -26.6 .. +26.6 deg
 *   nominal supply       4 bar gauge                      4 bar gauge
 *   sensor               ratio 0.5 + 0.48 angle/58 deg; constant beyond 58 deg; shaft stops at 62 deg
 *   loop                 4 .. 20 mA = 0 .. 100 % of travel; below about 3.6 mA dead; 8 V + 60 ohm burden
 *   relay                rests shut; leaks below 1 Nl/h at rest; C 0.4 dm3/(s bar) fully open
 *   full stroke          about 0.8 s up, 3.5 s down       about 2.3 s each way
 *
 * Linear, double-acting and part-turn, single-acting (spring 0.6 .. 1.5 bar) are put together from these.
 * A relay module stands on an adaptor block in the place of a whole unit: it has relay, coil and nozzle only,
 * no sensor and no position control. The loop's current drives the coil: below about 3.6 mA not at all (both
 * outputs shut), else 4 mA fully down, 12 mA at rest, 20 mA fully up; 5 V + 100 ohm burden.
 * A self-proof block is no unit: a plain block in a unit's place, which joins the supply to both outputs and
 * has a resistor of 250 ohm across the loop's terminals. */
enum es_virtual_type {
    ES_VIRTUAL_LINEAR_SINGLE_ACTING,
    ES_VIRTUAL_PART_TURN_DOUBLE_ACTING,
    ES_VIRTUAL_LINEAR_DOUBLE_ACTING,
    ES_VIRTUAL_PART_TURN_SINGLE_ACTING,
    ES_VIRTUAL_RELAY_MODULE_SINGLE_ACTING, /* beside the linear, single-acting test actuator */
    ES_VIRTUAL_RELAY_MODULE_DOUBLE_ACTING, /* beside the part-turn, double-acting test actuator */
    ES_VIRTUAL_SELF_PROOF_BLOCK,
    ES_VIRTUAL_TYPE_COUNT
};

struct es_virtual_type_about {
    const char *name;   /* "linear-single-acting" */
    bool linear;        /* the test actuator's travel is a length, else an angle */
    bool double_acting; /* else output 2 is plugged */
    bool module;        /* relay module on an adaptor block, or self-proof block; else a whole unit */
    bool block;         /* self-proof block: has no faults of a unit */
};

const struct es_virtual_type_about *es_virtual_type_about(enum es_virtual_type type); /* NULL: no such type */
const char *es_virtual_type_name(enum es_virtual_type type);                          /* of a valid type */
bool es_virtual_type_find(const char *name, enum es_virtual_type *out);               /* false when unknown */

/* What is known of the instrument of one role, in coherent units. The bench file's channel says it; the true
 * errors are drawn once from the seed. For an output (loop demand, regulator) the errors act between what
 * is written and what happens: what is written is its own number, before correction, too. */
struct es_virtual_instrument {
    bool present;
    double low, high;     /* the reading stays within; both 0: no bound */
    double resolution;    /* 0: none */
    double noise;         /* standard deviation of one reading */
    double lag;           /* s, first order, as stated; the true one is drawn within a fifth of it */
    double refresh;       /* s between new values; 0: a new one every millisecond */
    double u_offset;      /* standard uncertainty of the constant part (calibration and further) */
    double u_gain;        /* standard, relative to the reading */
    double repeatability; /* standard; drawn anew with every act of measuring (es_virtual_new_act) */
    size_t point_count;   /* the calibration's correction table: what is to be added to a reading. Copied. */
    const double *readings, *corrections;
};

struct es_virtual_fault_setting {
    int fault;         /* index from es_virtual_fault_find */
    double severity;   /* 0 none .. 1 gross */
    double per_stroke; /* growth with every full stroke up and down; 0: fixed */
};

#define ES_WALL_QUICKEST 40.0  /* s */
#define ES_WALL_SLOWEST  600.0 /* s */

struct es_virtual_config {
    enum es_virtual_type type;
    uint64_t seed;
    double spread;                                 /* of manufacturing: 1 usual, 0 every unit nominal */
    const struct es_virtual_fault_setting *faults; /* copied */
    size_t fault_count;
    struct es_virtual_instrument instruments[ES_ROLE_COUNT];
    double output_volume[2];   /* m3, as the bench's facts state it */
    double u_output_volume[2]; /* m3, standard; the true volume is drawn from it */
    double supply_volume;      /* m3 */
    double source_pressure;    /* Pa gauge, before the regulator */
    double ambient_pressure;   /* Pa absolute */
    double ambient_temperature;
    double ambient_humidity, supply_dew_point;
    double wall_drift;      /* K/s, rms: how quickly the walls of the volumes change their temperature, in
                               waves of ES_WALL_QUICKEST to ES_WALL_SLOWEST */
    double drive_speed;     /* rad/s, of the shaft motor */
    double watchdog_period; /* s; 0: the bench has none */
    bool shutdown_module;   /* the unit shuts down when the auxiliary 24 V is off */
    bool feedback;          /* the unit has a position feedback; without it that current is 0 */
};

/* A usual bench and a good unit: every instrument present, with usual errors. */
void es_virtual_config_init(struct es_virtual_config *config, enum es_virtual_type type);

struct es_virtual; /* one station; one thread at a time */

enum es_status es_virtual_new(const struct es_virtual_config *config, struct es_virtual **out,
                              struct es_error *err) ES_MUST_CHECK;
void es_virtual_free(struct es_virtual *v); /* NULL allowed */

/* At the start: virtual time 0, no air, vents open, everything else off, actuator at its lower end. */
es_time es_virtual_now(const struct es_virtual *v);
void es_virtual_advance(struct es_virtual *v, double seconds);  /* not negative */
void es_virtual_advance_to(struct es_virtual *v, es_time when); /* no effect when that is past */

/* Writes an output. ES_USAGE when the role is none, ES_RANGE when the value is not finite. What the
 * hardware cannot do it does as far as it can (a regulator above its source, a motor at its stop). */
enum es_status es_virtual_write(struct es_virtual *v, enum es_role role, double value,
                                struct es_error *err) ES_MUST_CHECK;

struct es_virtual_reading {
    double value;  /* what the instrument says, before the bench's calibration correction */
    es_time taken; /* when the instrument took it: what a bus cannot see, and a bench must not use */
};

/* What the instrument of an input says now; for an output what was written last. Reading changes nothing. */
struct es_virtual_reading es_virtual_reading(const struct es_virtual *v, enum es_role role);

/* What the bench was drawn from, for what stands beside it and has to be drawn too. */
uint64_t es_virtual_seed(const struct es_virtual *v);

/* A new act of measuring begins (connect, fill, settle, read): every instrument draws its repeatability anew.
 * Switching a valve is one by itself. */
void es_virtual_new_act(struct es_virtual *v);

/* Seconds by which an exchange with an instrument takes longer than it should: for whoever plays the bus. */
double es_virtual_bus_delay(const struct es_virtual *v);

/* What is really so, without instrument. Outputs: what the hardware does (pressure behind the regulator). */
double es_virtual_truth(const struct es_virtual *v, enum es_role role);

/* What the surroundings do: emergency stop, guard (0 or 1), ambient values, dew point; and an output that
 * somebody else sets, by another program or by hand. ES_USAGE for other roles, ES_RANGE outside of what can
 * be. A pressed emergency stop also cuts the power of supply valve and shaft drive, as on a real bench. */
enum es_status es_virtual_happen(struct es_virtual *v, enum es_role role, double value,
                                 struct es_error *err) ES_MUST_CHECK;

/* ---- Faults ---- */

enum es_virtual_place { ES_VIRTUAL_UNIT, ES_VIRTUAL_MOUNTING, ES_VIRTUAL_BENCH };

struct es_virtual_fault {
    const char *name; /* "relay seat leaks to output 1" */
    enum es_virtual_place place;
    unsigned needs;      /* what the unit must have: es_virtual_fault_possible */
    const char *meaning; /* what it does physically, with the figure at severity 1 */
};

const char *es_virtual_place_name(enum es_virtual_place place); /* "unit", "mounting", "bench" */
size_t es_virtual_fault_count(void);
const struct es_virtual_fault *es_virtual_fault_get(int fault); /* static; NULL outside 0..count-1 */
int es_virtual_fault_find(const char *name);                    /* index; -1 when unknown */
bool es_virtual_fault_possible(int fault, enum es_virtual_type type);
const char *
es_virtual_fault_needs_text(int fault); /* " (double-acting only)", "" when any unit can have it */
double es_virtual_fault_severity(const struct es_virtual *v, int fault); /* as grown so far */

/* Takes effect at once. ES_RANGE outside 0..1, ES_USAGE when this type cannot have it. */
enum es_status es_virtual_fault_set(struct es_virtual *v, const struct es_virtual_fault_setting *setting,
                                    struct es_error *err) ES_MUST_CHECK;

/* ---- For tests, studies and demonstrations ---- */

/* What no instrument shows. Pressures absolute, Pa; nodes: supply volume, node 1, node 2, chamber 1, 2. */
enum es_virtual_node {
    ES_NODE_SUPPLY,
    ES_NODE_1,
    ES_NODE_2,
    ES_CHAMBER_1,
    ES_CHAMBER_2,
    ES_VIRTUAL_NODE_COUNT
};

struct es_virtual_inner {
    double pressure[ES_VIRTUAL_NODE_COUNT];    /* Pa absolute */
    double temperature[ES_VIRTUAL_NODE_COUNT]; /* K */
    double mass[ES_VIRTUAL_NODE_COUNT];        /* kg */
    double volume[ES_VIRTUAL_NODE_COUNT];      /* m3 */
    double mass_in, mass_out;                  /* kg: from the source, to the surroundings, since the start */
    double enthalpy_in, enthalpy_out;          /* J, carried by the two above */
    double heat, work;                /* J, from the walls into the air; by the air on the actuator */
    double spool;                     /* -1 .. 1: relay's position */
    double drive;                     /* -1 .. 1: what the electronics asks of the relay */
    double position;                  /* 1: what the electronics takes for the actuator's position */
    double lever_angle, sensor_angle; /* rad */
    double velocity;                  /* of the actuator, m/s or rad/s */
    bool sticking, alive, shut_down, adjusting;
    double strokes; /* full strokes up and down so far */
    uint64_t steps; /* of the integrator so far */
};

void es_virtual_look(const struct es_virtual *v, struct es_virtual_inner *out);

#endif

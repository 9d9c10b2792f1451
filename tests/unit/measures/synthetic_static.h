/* Traces with known truth for the static measures: stairs, strokes with a lever, loops, air. */
#ifndef ES_TESTS_MEASURES_SYNTHETIC_STATIC_H
#define ES_TESTS_MEASURES_SYNTHETIC_STATIC_H

#include "tests/unit/measures/synthetic.h"

/* An invented unit on stairs of its demand: 4 to 20 mA, travel 0 to 20 mm. Shares of span throughout. */
struct syn_stairs {
    const double *demands; /* written one after the other, from t = lead on */
    size_t count;
    double lead, hold, rate;       /* s, s, Hz */
    double tau;                    /* s: how it settles */
    double play, stick;            /* of demand: free on reversal; moves only beyond so much */
    double zero, gain, bow;        /* y = zero + (1 + gain) x + bow 4 x (1 - x) */
    double scatter;                /* standard deviation of where it settles, each time anew */
    double noise, red, resolution; /* of the response */
    double creep;                  /* 1/s after each write */
    double read_noise;             /* of the read-back; < 0: none is recorded */
};

struct es_trace *syn_stairs_trace(const struct syn_stairs *s, uint64_t *seed);

/* Facts of that unit: loop low, loop high, lower end, upper end. */
extern const struct es_facts syn_unit_facts;
#define SYN_TRAVEL 0.020

/* y of a share x without play, zero to bow as above. */
double syn_characteristic(const struct syn_stairs *s, double x);

/* A channel at a constant level for `length` s. */
struct es_trace *syn_flat(enum es_role role, double level, double length, double rate, double noise,
                          double red, uint64_t *seed);

/* Air through a path of conductance C, m3/(s Pa): steady into the open, or out of or into a closed volume. */
struct syn_air {
    double C, b, supply;                        /* Pa gauge, upstream */
    double volume;                              /* m3; 0: steady, against `back` */
    double back, start;                         /* Pa gauge: downstream when steady; in the volume at first */
    double exchange;                            /* W/(K m3): 0 no heat, 1e9 all of it at once */
    double open_at, opening;                    /* s: command, and time constant of the path opening */
    double length, rate, noise_p, noise_q, lag; /* s, Hz, Pa, m3/s, s: of the flow sensor */
    double most_flow;                           /* beyond: out of range; 0: none is */
    bool exhaust;
    bool turbulent;             /* exchange as that of free turbulent convection */
    double refresh, stated_lag; /* s: the flow sensor's; 0: none; as `lag` */
};
struct es_trace *syn_air_trace(const struct syn_air *a, uint64_t *seed);

#endif

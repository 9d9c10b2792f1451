/* Traces with known truth, for tests and measuring programs. */
#ifndef ES_TESTS_MEASURES_SYNTHETIC_H
#define ES_TESTS_MEASURES_SYNTHETIC_H

#include <stdint.h>

#include "procedures/measures/measure.h"

/* Random numbers from a seed (splitmix64). */
double syn_uniform(uint64_t *state); /* 0 <= x < 1 */
double syn_normal(uint64_t *state);

struct es_trace *syn_trace(void);
/* `count` samples at `rate` from t = 0, values 0, all good. The trace owns it; valid until the next add. */
struct es_series *syn_series(struct es_trace *trace, enum es_role role, size_t count, double rate);
void syn_command(struct es_trace *trace, enum es_role role, double t, double from, double to);
void syn_noise(struct es_series *s, double sd, uint64_t *state);
/* First-order autoregressive noise of total standard deviation sd. */
void syn_red_noise(struct es_series *s, double sd, double lag1, uint64_t *state);
void syn_round(struct es_series *s, double step);
/* Holds each value until `interval` has passed, as a slow instrument does. */
void syn_hold(struct es_series *s, double interval, double phase);

/* Unit step responses at time t after the command. */
double syn_first_order(double t, double dead, double tau);
double syn_second_order(double t, double zeta, double omega);

/* A sensor of an invented unit, swept to and fro between -45 and 45 deg by a reference encoder. */
struct syn_sweep {
    double rate;          /* Hz */
    double speeds[4];     /* rad/s, one a round trip; 0 ends */
    double gain;          /* ratio per rad; 0: 0.8 over the 90 deg */
    double bow;           /* ratio: amplitude of a sine over the range */
    double play;          /* rad */
    double delay;         /* s, sensor late */
    double noise;         /* ratio */
    double angle_noise;   /* rad */
    double dropout_at[3]; /* rad; width 0 ends */
    double dropout_width[3];
    double dip_at, dip; /* rad, ratio: a local reversal over 2 deg */
    double refresh;     /* s: the sensor's own */
    double phase;       /* s: the motion begins this much later against the samples */
    double writes;      /* Hz of the drive's set angle, `drive_late` s ahead of the shaft; 0: none recorded */
    double drive_late, drive_play;
    double encoder_play; /* rad: of the reference on the shaft */
};
struct es_trace *syn_sweep_trace(const struct syn_sweep *s, uint64_t *seed);

/* Settings from JSON text through the measure's own rows; aborts on a fault. Free with syn_settings_free. */
void *syn_settings(const struct es_measure *m, const char *json);
void syn_settings_free(const struct es_measure *m, void *settings);

/* Evaluates by name with traces by slot; returns output_count values (free). Aborts on a status but ES_OK. */
struct es_measured *syn_measure(const char *measure, const char *json, const struct es_trace *const *traces,
                                const struct es_facts *facts);
/* Of one recording. */
struct es_measured *syn_measure_one(const char *measure, const char *json, const struct es_trace *trace,
                                    const struct es_facts *facts);
/* An output by name; aborts when there is none. */
const struct es_measured *syn_output(const char *measure, const struct es_measured *values,
                                     const char *output);

#endif

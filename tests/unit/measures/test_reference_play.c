/* Play of the bench's own encoder is told from the unit's and from the drive's. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/reference_play.h"
#include "tests/unit/measures/synthetic.h"

#define DEG 0.017453292519943295

static struct syn_sweep bench(void)
{
    return (struct syn_sweep){.rate = 100,
                              .speeds = {12 * DEG, 36 * DEG},
                              .noise = 1e-4,
                              .angle_noise = 0.005 * DEG,
                              .delay = 0.01,
                              .writes = 40,
                              .drive_late = 0.06};
}

static struct es_measured *measure(const struct syn_sweep *s)
{
    uint64_t seed = 3;
    struct es_trace *t = syn_sweep_trace(s, &seed);
    struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
    es_trace_free(t);
    return m;
}

static const struct es_measured *of(const struct es_measured *m, const char *output)
{
    return syn_output("sensor sweep", m, output);
}

Test(reference_play, found_against_the_drive)
{
    static const double plays[] = {0, 0.1, 0.8, 3};
    for (int k = 0; k < 4; k++) {
        struct syn_sweep s = bench();
        struct es_reference_play play;
        struct es_error err;
        uint64_t seed = 1;
        s.encoder_play = plays[k] * DEG;
        struct es_trace *t = syn_sweep_trace(&s, &seed);
        cr_assert_eq(es_reference_play_of(t, ES_ROLE_SHAFT_DRIVE, &t->series[0], 21, &play, &err), ES_OK);
        cr_assert(play.known);
        cr_assert_float_eq(play.play / DEG, plays[k], 0.03, "%g: %g", plays[k], play.play / DEG);
        es_trace_free(t);
    }
}

/* The unit is good: nothing about its sensor may be said, and the bench is named. */
Test(reference_play, slack_encoder_is_the_benchs)
{
    struct syn_sweep s = bench();
    s.encoder_play = 0.8 * DEG;
    struct es_measured *m = measure(&s);
    static const char *const lines[] = {"usable range", "hysteresis", "dropouts", "linearity independent"};
    for (int i = 0; i < 4; i++) {
        cr_assert_not(of(m, lines[i])->valid, "%s", lines[i]);
        cr_assert_not_null(strstr(of(m, lines[i])->reason, "encoder coupling shows play of 0.8 deg"), "%s",
                           of(m, lines[i])->reason);
    }
    free(m);
    s.writes = 0; /* turned by hand: the sensor moves before its reference */
    m = measure(&s);
    cr_assert_not(of(m, "hysteresis")->valid);
    free(m);
}

Test(reference_play, small_play_is_uncertainty)
{
    struct syn_sweep s = bench(), none = bench();
    s.encoder_play = 0.1 * DEG;
    struct es_measured *m = measure(&s), *k = measure(&none);
    cr_assert(of(m, "hysteresis")->valid, "%s", of(m, "hysteresis")->reason);
    cr_assert_geq(of(m, "hysteresis")->U, 0.1 / 90);
    cr_assert_lt(of(k, "hysteresis")->U, 0.03 / 90);
    free(m);
    free(k);
}

/* Play of the unit's sensor, and play between motor and shaft, are not the encoder's. */
Test(reference_play, sensor_and_drive_are_not_blamed_on_it)
{
    struct syn_sweep s = bench();
    s.play = 0.8 * DEG;
    struct es_measured *m = measure(&s);
    cr_assert(of(m, "hysteresis")->valid, "%s", of(m, "hysteresis")->reason);
    cr_assert_float_eq(of(m, "hysteresis")->value, 0.8 / 90 / 0.94, 5e-4);
    free(m);
    s.drive_play = 1.5 * DEG;
    m = measure(&s); /* both: the drive's makes the shaft late, but not the sensor late of the shaft */
    cr_assert_not(of(m, "hysteresis")->valid, "cannot be told from play of both");
    free(m);
    s.play = 0;
    m = measure(&s);
    cr_assert(of(m, "hysteresis")->valid, "%s", of(m, "hysteresis")->reason);
    cr_assert_lt(of(m, "hysteresis")->value, 5e-4);
    free(m);
}

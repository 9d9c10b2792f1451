/* The walls' temperature drifts as the measures are told: 20 mK (rms) within 15 s, and afresh in a recording
 * of a minute later. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/unit/virtual/helpers.h"

#define BENCHES 150
#define WINDOW  15.0 /* s */

/* K, by which what is shut in has warmed in the next 15 s: of its pressure, it keeps its amount. */
static double warming(struct es_virtual *v)
{
    const double T = truth(v, ES_ROLE_AMBIENT_TEMPERATURE), p = truth(v, ES_ROLE_AMBIENT_PRESSURE);
    const double before = truth(v, ES_ROLE_OUTPUT_1_PRESSURE);
    es_virtual_advance(v, WINDOW);
    return (truth(v, ES_ROLE_OUTPUT_1_PRESSURE) - before) * T / p;
}

Test(walls, drift_as_stated)
{
    double square[2] = {0, 0}, product = 0;
    for (uint64_t i = 0; i < BENCHES; i++) {
        struct es_virtual_config config;
        struct es_virtual *v;
        struct es_error err = {0};
        es_virtual_config_init(&config, ES_VIRTUAL_LINEAR_SINGLE_ACTING);
        config.seed = 500 + i;
        config.wall_drift = 0.020 / WINDOW / 0.958; /* rig/bench/virtual_config.c */
        cr_assert_eq(es_virtual_new(&config, &v, &err), ES_OK, "%s", err.text);
        set(v, ES_ROLE_OUTPUT_1_VENT, 0);
        set(v, ES_ROLE_OUTPUT_1_ISOLATING, 0);
        es_virtual_advance(v, 1);
        const double first = warming(v);
        es_virtual_advance(v, 35 - WINDOW);
        const double second = warming(v);
        square[0] += first * first;
        square[1] += second * second;
        product += first * second;
        es_virtual_free(v);
    }
    const double rms = sqrt((square[0] + square[1]) / (2 * BENCHES));
    cr_expect_float_eq(rms, 0.020, 0.003, "%.4f K in 15 s", rms);
    const double together = product / sqrt(square[0] * square[1]);
    cr_expect_leq(fabs(together), 0.3, "correlation %.2f", together);
}

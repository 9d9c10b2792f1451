/* Step response of a unit that sticks and slips on its way. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

#define STEP 2e-3   /* m */
#define EVEN (-1.0) /* no pause: a first order that passes 98 % at 0.50 s */

/* Share of the step at t after the command: rises to `ledge`, stays there from 0.40 s to 0.52 s, slips on. */
static double ledge_at(double t, double ledge)
{
    if (t < 0.05)
        return 0;
    if (ledge == EVEN)
        return 1 - exp(-(t - 0.05) * log(50) / 0.45);
    if (t < 0.40)
        return ledge * (1 - exp(-(t - 0.05) / 0.08)) / (1 - exp(-0.35 / 0.08));
    return t < 0.52 ? ledge : fmin(1, ledge + (t - 0.52) / 0.01 * 0.02);
}

/* Two steps up and down again, the first with its pause at `ledge`, the other with one at `other`. */
static struct es_trace *sticking(double ledge, double other, double phase, double noise, uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 1600, 100);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] =
            0.01 + STEP * (ledge_at(s->t[i] - 4 - phase, ledge) - ledge_at(s->t[i] - 10 - phase, other));
    syn_noise(s, noise * STEP, seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 4 + phase, 0.01, 0.012);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 10 + phase, 0.012, 0.01);
    return t;
}

/* Of 60 recordings, in how many the interval holds `truth`. */
static int covered(const char *output, double ledge, double other, double truth)
{
    uint64_t seed = 21;
    int n = 0;
    for (int k = 0; k < 60; k++) {
        struct es_trace *t = sticking(ledge, other, k * 0.01 / 60, 0.0014, &seed);
        struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
        const struct es_measured *v = syn_output("step response", m, output);
        cr_assert(v->valid, "%s", v->reason);
        n += fabs(v->value - truth) <= v->U;
        free(m);
        es_trace_free(t);
    }
    return n;
}

/* Within noise of the level nobody can tell on which side of it the pause was: the interval reaches over it.
 */
Test(step_pauses, a_pause_just_below_the_level)
{
    double truth = 0.52 + 0.01 * 0.0015 / 0.02;
    cr_expect_geq(covered("T98", 0.9785, 0.99, truth), 52);
    cr_expect_geq(covered("settling time", 0.9785, 0.99, truth), 52);
}

/* The step that pauses may be the worst, though it does not look it; that it was is the most that the pause
 * leaves open. Without rivals none is covered. */
Test(step_pauses, the_worst_of_two_that_are_known_unequally)
{
    cr_expect_geq(covered("T98", 0.9785, EVEN, 0.52 + 0.01 * 0.0015 / 0.02), 36);
}

/* Readings that repeat while it sticks are no slow channel: its interval would be taken off all times. */
Test(step_pauses, what_sticks_is_no_slow_refresh)
{
    uint64_t seed = 1;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 4000, 500);
    for (size_t i = 0; i < s->count; i++) {
        double after = s->t[i] - 2; /* straight to the end in 0.2 s, but for a rest of 0.1 s on the way */
        double way = after < 0.1 ? after : after < 0.2 ? 0.1 : after - 0.1;
        s->y[i] = 0.01 + STEP * fmax(0, fmin(1, way / 0.2));
    }
    s->u.resolution = 1e-9;
    syn_noise(s, 0, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 2, 0.01, 0.012);
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    const struct es_measured *v = syn_output("step response", m, "T86");
    cr_assert(v->valid, "%s", v->reason);
    cr_expect_float_eq(v->value, 0.1 + 0.2 * 0.865, 2e-4, "%g", v->value);
    cr_expect_lt(v->u, 3e-4);
    free(m);
    es_trace_free(t);
}

/* A recording that ends by the rule of the shipped procedures, as soon as the response has stayed within
 * 0.1 % of its span for 2 s, gives what a longer one gives: no bias beyond three quarters of its own standard
 * uncertainty on the average of many, and intervals that cover. The procedures stop early to save time. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "tests/unit/measures/synthetic.h"

#define RATE  50.0
#define TRIES 60
#define SPAN  0.03 /* m */

struct act {
    double tau;  /* s, after a dead time of 0.1 s */
    double back; /* the way back is commanded at this time; INFINITY: never */
};

/* The change within the last 2 s has shrunk to 0.1 %. */
static double rest_after(double command, double tau)
{
    return command + 0.1 + 2 + tau * log(1000 * (1 - exp(-2 / tau)));
}

/* The unit answers a command at 1 s, and the way back; read with the offset of a calibration of 0.1 %. */
static struct es_trace *answer(const struct act *a, uint64_t seed)
{
    double end = rest_after(isfinite(a->back) ? a->back : 1, a->tau),
           offset = 1e-3 * SPAN * syn_normal(&seed);
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, (size_t)(end * RATE), RATE);
    for (size_t i = 0; i < s->count; i++) {
        double up = syn_first_order(s->t[i] - 1, 0.1, a->tau);
        double down = isfinite(a->back) ? syn_first_order(s->t[i] - a->back, 0.1, a->tau) : 0;
        s->y[i] = SPAN * (up - down) + offset;
    }
    syn_noise(s, 1e-3 * SPAN, &seed);
    s->u.offset = 1e-3 * SPAN;
    syn_command(t, ES_ROLE_LOOP_DEMAND, 1, 0.004, 0.020);
    if (isfinite(a->back))
        syn_command(t, ES_ROLE_LOOP_DEMAND, a->back, 0.020, 0.004);
    return t;
}

static void no_bias(const char *measure, const char *settings, const struct act *a, const char *output,
                    double truth)
{
    double sum = 0, square = 0;
    int covered = 0;
    for (uint64_t k = 0; k < TRIES; k++) {
        struct es_trace *t = answer(a, 100 + k);
        struct es_measured *m = syn_measure_one(measure, settings, t, NULL);
        const struct es_measured *v = syn_output(measure, m, output);
        cr_assert(v->valid, "%s, %s: %s", measure, output, v->reason);
        sum += v->value - truth;
        square += v->u * v->u;
        covered += fabs(v->value - truth) <= v->U;
        free(m);
        es_trace_free(t);
    }
    double bias = sum / TRIES, u = sqrt(square / TRIES);
    cr_expect_lt(fabs(bias), 0.75 * u, "%s, %s, tau %g: bias %g, u %g", measure, output, a->tau, bias, u);
    cr_expect_geq(covered, TRIES * 85 / 100, "%s, %s, tau %g: %d of %d", measure, output, a->tau, covered,
                  TRIES);
}

/* From the command until the share is done. */
static double done(double share, double tau)
{
    return 0.1 - tau * log(1 - share);
}

static const double taus[] = {0.2, 0.4, 0.8};

Test(early_stop, step_response)
{
    for (int i = 0; i < 3; i++) {
        const struct act once = {taus[i], INFINITY};
        no_bias("step response", NULL, &once, "T63", done(0.63, taus[i]));
        no_bias("step response", NULL, &once, "T86", done(0.865, taus[i]));
        no_bias("step response", NULL, &once, "T98", done(0.98, taus[i]));
    }
}

Test(early_stop, stroke)
{
    for (int i = 0; i < 3; i++) {
        const struct act both = {taus[i], rest_after(1, taus[i])};
        no_bias("stroke", NULL, &both, "travel", SPAN);
        no_bias("stroke", NULL, &both, "upper end", SPAN);
        no_bias("stroke", "{\"complete at\": \"95 %\"}", &both, "time up", done(0.95, taus[i]));
        no_bias("stroke", "{\"complete at\": \"95 %\"}", &both, "time down", done(0.95, taus[i]));
    }
}

Test(early_stop, loss)
{
    for (int i = 0; i < 3; i++) {
        const struct act once = {taus[i], INFINITY};
        no_bias("loss", "{\"event\": \"loop demand\"}", &once, "final", SPAN);
    }
}

/* Until what is left is 5 % of the way: half of `movement`. */
Test(early_stop, self_adjustment)
{
    static const char settings[] = "{\"event\": \"loop demand\", \"movement\": \"10 %\", \"quiet\": \"2 s\"}";
    for (int i = 0; i < 3; i++) {
        const struct act once = {taus[i], INFINITY};
        no_bias("self-adjustment", settings, &once, "duration", done(0.95, taus[i]));
    }
}

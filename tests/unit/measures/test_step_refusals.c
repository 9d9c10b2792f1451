/* Step response: sets of steps, and what a recording does not carry. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

static const struct es_measured *get(const struct es_measured *m, const char *output)
{
    const struct es_measured *v = syn_output("step response", m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    return v;
}

static void refused(const struct es_measured *m, const char *output, const char *word)
{
    const struct es_measured *v = syn_output("step response", m, output);
    cr_assert_not(v->valid, "%s is not refused: %g", output, v->value);
    cr_assert_not_null(strstr(v->reason, word), "%s: %s", output, v->reason);
}

/* Up (tau 0.5), down (tau 0.3), up (tau 0.7), 8 s each; before them a command that only takes it to its
 * place. */
static struct es_trace *three(double rate, double noise)
{
    static const double at[] = {2, 10, 18}, tau[] = {0.5, 0.3, 0.7}, sign[] = {1, -1, 1};
    struct es_trace *t = syn_trace();
    uint64_t seed = 4;
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, (size_t)(26 * rate), rate);
    for (size_t i = 0; i < s->count; i++) {
        s->y[i] = 0.01;
        for (int k = 0; k < 3; k++)
            s->y[i] += sign[k] * 0.001 * syn_first_order(s->t[i] - at[k], 0.1, tau[k]);
    }
    syn_noise(s, noise, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 0, 0.004, 0.012);
    for (int k = 0; k < 3; k++)
        syn_command(t, ES_ROLE_LOOP_DEMAND, at[k], sign[k] > 0 ? 0.012 : 0.0128,
                    sign[k] > 0 ? 0.0128 : 0.012);
    return t;
}

Test(step_set, worst_mean_and_direction)
{
    struct es_trace *t = three(200, 1e-7);
    double t63[] = {0.1 + 0.5 * 0.994252273, 0.1 + 0.3 * 0.994252273, 0.1 + 0.7 * 0.994252273};
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    cr_assert_eq(get(m, "steps")->value, 3);
    cr_assert_float_eq(get(m, "T63")->value, t63[2], 0.002);
    cr_assert_geq(t->series[0].t[get(m, "T63")->first], 16);
    free(m);
    m = syn_measure_one("step response", "{\"direction\": \"down\"}", t, NULL);
    cr_assert_eq(get(m, "steps")->value, 1);
    cr_assert_float_eq(get(m, "T63")->value, t63[1], 0.002);
    free(m);
    m = syn_measure_one("step response", "{\"pick\": \"mean\", \"direction\": \"up\"}", t, NULL);
    cr_assert_float_eq(get(m, "T63")->value, 0.5 * (t63[0] + t63[2]), 0.002);
    free(m);
    es_trace_free(t);
}

Test(step_set, one_bad_step_makes_the_worst_unknown)
{
    struct es_trace *t = three(200, 1e-7);
    for (size_t i = 0; i < t->series[0].count; i++)
        if (t->series[0].t[i] > 11 && t->series[0].t[i] < 17)
            t->series[0].quality[i] = ES_FAILED;
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    refused(m, "T63", "step 2 of 3");
    free(m);
    m = syn_measure_one("step response", "{\"direction\": \"down\"}", t, NULL);
    refused(m, "T63", "not good");
    free(m);
    es_trace_free(t);
}

Test(step_refusals, nothing_to_step)
{
    struct es_trace *t = three(200, 1e-7);
    size_t keep = t->command_count;
    t->command_count = 1;
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    refused(m, "T63", "no step");
    free(m);
    t->command_count = keep;
    t->series[0].role = ES_ROLE_SHAFT_ANGLE;
    m = syn_measure_one("step response", NULL, t, NULL);
    refused(m, "T63", "no series");
    free(m);
    es_trace_free(t);
}

Test(step_refusals, no_response)
{
    struct es_trace *t = three(200, 1e-7);
    uint64_t seed = 9;
    for (size_t i = 0; i < t->series[0].count; i++)
        t->series[0].y[i] = 0.01;
    syn_noise(&t->series[0], 1e-5, &seed);
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    refused(m, "T63", "lost");
    refused(m, "overshoot", "lost");
    free(m);
    es_trace_free(t);
}

Test(step_refusals, sampled_too_slowly)
{
    struct es_trace *t = three(4, 0);
    struct es_measured *m = syn_measure_one("step response", "{\"direction\": \"down\"}", t, NULL);
    refused(m, "T63", "slowly");
    free(m);
    es_trace_free(t);
}

/* The time stamp's, the command's and the instrument's own delays are in value and uncertainty. */
Test(step_refusals, timing_terms)
{
    struct es_trace *t = three(200, 1e-7);
    struct es_measured *plain = syn_measure_one("step response", NULL, t, NULL);
    t->series[0].u.time = 0.004;
    t->series[0].u.lag = 0.02;
    for (size_t i = 0; i < t->command_count; i++)
        t->commands[i].u_t = 0.003;
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    cr_assert_float_eq(get(plain, "T63")->value - get(m, "T63")->value, 0.02, 1e-9);
    cr_assert_float_eq(get(m, "T63")->u_common, hypot(0.004, 0.2 * 0.02 / sqrt(3)), 1e-9);
    cr_assert_geq(get(m, "T63")->u_repeat, 0.003);
    free(plain);
    free(m);
    es_trace_free(t);
}

/* Every measure on the real decays of closed chambers: real noise, gaps and times that are not even. What is
 * given must be a number with its uncertainty; what cannot be given is refused with a reason. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/measures.h"
#include "tests/reference/measures/real_decay.h"
#include "tests/unit/measures/synthetic.h"

static const char *const chambers[] = {"pressure-decay/chamber-1.csv", "pressure-decay/chamber-2.csv",
                                       "pressure-decay/chamber-3.csv"};

/* The decay's samples from `from` to `to` as series `role`, times from 0. */
static void take_part(struct es_trace *into, enum es_role role, const struct es_series *decay, double from,
                      double to, double scale)
{
    size_t first = 0, last = decay->count;
    while (first < last && decay->t[first] - decay->t[0] < from)
        first++;
    while (last > first && decay->t[last - 1] - decay->t[0] > to)
        last--;
    struct es_series *s = syn_series(into, role, last - first, 10);
    for (size_t i = first; i < last; i++) {
        s->t[i - first] = decay->t[i] - decay->t[first];
        s->y[i - first] = scale * decay->y[i];
    }
    s->u = decay->u;
    s->u.resolution *= scale;
}

static struct es_trace *part(const struct es_series *decay, double from, double to)
{
    struct es_trace *t = syn_trace();
    take_part(t, ES_ROLE_OUTPUT_1_PRESSURE, decay, from, to, 1);
    return t;
}

static struct es_trace *chamber(size_t which)
{
    struct es_trace *t = real_decay(chambers[which]);
    if (!t)
        cr_skip_test("data beside the checkout are not there");
    return t;
}

static struct es_fact items[] = {{"span", ES_DIM_PRESSURE, 1e5, 0, INFINITY},
                                 {"full travel", ES_DIM_LENGTH, 0.03, 0, INFINITY},
                                 {"output 1 volume", ES_DIM_VOLUME, 5e-4, 5e-7, INFINITY},
                                 {"output 2 volume", ES_DIM_VOLUME, 5e-4, 5e-7, INFINITY},
                                 {"ambient pressure", ES_DIM_PRESSURE, 101325, 100, INFINITY},
                                 {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.3, INFINITY}};
static const struct es_facts facts = {items, 6};

/* The first settings that a measure cannot do without: the pressure for each role. */
static void needed(const struct es_measure *m, char *json, size_t size)
{
    size_t used = (size_t)snprintf(json, size, "{");
    bool first = true;
    for (size_t i = 0; i < m->setting_count; i++)
        if (m->settings[i].required) {
            const char *value =
                strcmp(m->settings[i].name, "reference") == 0 ? "supply pressure" : "output 1 pressure";
            used += (size_t)snprintf(json + used, size - used, "%s\"%s\": \"%s\"", first ? "" : ", ",
                                     m->settings[i].name, value);
            first = false;
        }
    snprintf(json + used, size - used, "}");
}

static void expect_number_or_reason(const struct es_measure *m, const struct es_measured *v, size_t which)
{
    for (size_t o = 0; o < m->output_count; o++) {
        if (v[o].valid)
            cr_expect(isfinite(v[o].value) && isfinite(v[o].u) && v[o].u >= 0 && v[o].U >= v[o].u,
                      "%s, %s, chamber %zu: %g +- %g", m->name, v[o].name, which + 1, v[o].value, v[o].U);
        else
            cr_expect(strlen(v[o].reason) > 5 && isnan(v[o].value), "%s, %s, chamber %zu: \"%s\"", m->name,
                      v[o].name, which + 1, v[o].reason);
    }
}

/* The decay stands for every channel that the measure reads, in every slot, with a command at 20 s. */
Test(real_decays, every_measure_gives_a_number_or_a_reason)
{
    size_t count;
    const struct es_measure *const *list = es_measure_list(&count);
    for (size_t which = 0; which < 3; which++) {
        struct es_trace *decay = chamber(which);
        for (size_t i = 0; i < count; i++) {
            const struct es_measure *m = list[i];
            char json[300];
            needed(m, json, sizeof json);
            void *s = syn_settings(m, json);
            enum es_role roles[8];
            size_t n = m->roles(s, roles);
            struct es_trace *t = syn_trace();
            for (size_t k = 0; k < n; k++)
                take_part(t, roles[k], &decay->series[0], 0, INFINITY, k ? 0.7 : 1);
            syn_command(t, ES_ROLE_LOOP_DEMAND, 20, 0.020, 0.004);
            const struct es_trace *traces[8] = {t, t, t, t};
            struct es_measured *v = calloc(m->output_count, sizeof *v);
            cr_assert_eq(m->evaluate(s, traces, &facts, v, NULL), ES_OK);
            expect_number_or_reason(m, v, which);
            free(v);
            es_trace_free(t);
            syn_settings_free(m, s);
        }
        es_trace_free(decay);
    }
}

static double slope_pa_s(size_t which)
{
    return (which == 0 ? -14.23 : -16.51) * 100 / 60; /* independent analysis, mbar/min */
}

/* The level of a stretch that falls: its mean, with the fall told as uncertainty that a naive one leaves out.
 */
Test(real_decays, level_and_extreme)
{
    for (size_t which = 0; which < 2; which++) {
        struct es_trace *decay = chamber(which), *t = part(&decay->series[0], 20, 60);
        const struct es_series *s = &t->series[0];
        double sum = 0, least = INFINITY, most = -INFINITY;
        for (size_t i = 0; i < s->count; i++) {
            sum += s->y[i];
            least = fmin(least, s->y[i]);
            most = fmax(most, s->y[i]);
        }
        struct es_measured *m = syn_measure_one("level", "{\"channel\": \"output 1 pressure\"}", t, NULL);
        const struct es_measured *v = syn_output("level", m, "value");
        cr_assert(v->valid, "%s", v->reason);
        cr_expect_float_eq(v->value, sum / (double)s->count, 1e-6 * fabs(v->value));
        cr_expect_gt(v->u, 3 * 40 * fabs(slope_pa_s(which)) / sqrt(12 * (double)s->count), "%g", v->u);
        free(m);
        m = syn_measure_one("extreme", "{\"channel\": \"output 1 pressure\", \"over\": \"1 s\"}", t, NULL);
        const struct es_measured *high = syn_output("extreme", m, "largest"),
                                 *low = syn_output("extreme", m, "smallest");
        cr_assert(high->valid && low->valid, "%s %s", high->reason, low->reason);
        cr_expect(least <= low->value && low->value < sum / (double)s->count && high->value <= most &&
                      high->value > sum / (double)s->count,
                  "%g %g", low->value, high->value);
        cr_expect_gt(high->value - low->value, -0.7 * slope_pa_s(which) * 39, "%g", high->value - low->value);
        cr_expect_lt(high->value - low->value, most - least);
        free(m);
        es_trace_free(t);
        es_trace_free(decay);
    }
}

/* From 20 to 60 s to 80 to 120 s the pressure falls by 60 s of the slope; that both fell meanwhile is told.
 */
Test(real_decays, drift_is_the_slope_times_the_time)
{
    for (size_t which = 0; which < 2; which++) {
        struct es_trace *decay = chamber(which);
        struct es_trace *first = part(&decay->series[0], 20, 60), *last = part(&decay->series[0], 80, 120);
        const struct es_trace *traces[8] = {first, last};
        struct es_measured *m = syn_measure("drift", "{\"channel\": \"output 1 pressure\"}", traces, NULL);
        const struct es_measured *v = syn_output("drift", m, "change");
        cr_assert(v->valid, "%s", v->reason);
        cr_expect_float_eq(v->value, 60 * slope_pa_s(which), v->U, "%g +- %g, %g", v->value, v->U,
                           60 * slope_pa_s(which));
        cr_expect_gt(v->U, 20 * fabs(slope_pa_s(which)), "%g", v->U);
        free(m);
        es_trace_free(first);
        es_trace_free(last);
        es_trace_free(decay);
    }
}

/* A pressure that only falls never settles: nothing that presumes rest is given (lesson 9). */
Test(real_decays, what_never_rests_is_refused)
{
    for (size_t which = 0; which < 2; which++) {
        struct es_trace *decay = chamber(which), *t = part(&decay->series[0], 10, 60);
        syn_command(t, ES_ROLE_LOOP_DEMAND, 10, 0.020, 0.004);
        struct es_measured *m =
            syn_measure_one("step response", "{\"response\": \"output 1 pressure\"}", t, &facts);
        static const char *const names[] = {"T63", "T86", "T98", "settling time"};
        for (size_t i = 0; i < 4; i++)
            cr_expect_not(syn_output("step response", m, names[i])->valid, "%s", names[i]);
        free(m);
        m = syn_measure_one("loss", "{\"channel\": \"output 1 pressure\", \"event\": \"loop demand\"}", t,
                            &facts);
        cr_expect_not(syn_output("loss", m, "time")->valid);
        free(m);
        es_trace_free(t);
        es_trace_free(decay);
    }
}

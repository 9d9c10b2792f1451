/* No measure gives a number that it cannot stand behind: every measure meets recordings that nobody would
 * make on purpose. Each output is then either a value with a finite uncertainty or a reason, and never a
 * value where there was nothing to measure. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/measures.h"
#include "tests/unit/measures/synthetic.h"

#define N 600

enum shape {
    LONE,      /* one sample */
    FAILED,    /* none that is good */
    NAN_GOOD,  /* called good, and no numbers */
    SATURATED, /* at the end of the instrument's range throughout */
    NOTHING_UP_TO_HERE,
    PAIR = NOTHING_UP_TO_HERE, /* two samples */
    ONE_TIME,                  /* all stamps are the same */
    CONSTANT,                  /* exactly 0, no noise, no resolution */
    TWO_COUNTS,                /* between two steps of the reading */
    NOISE,
    HUGE_NUMBERS, /* whose squares are beyond a double */
    TINY_NUMBERS,
    INFINITE,
    MOST_LOST, /* nineteen of twenty samples are missing */
    RANDOM_WALK,
    SPIKES,
    SHAPES
};

static const char *const words[] = {"one sample",    "none good",    "NaN",          "saturated",
                                    "two samples",   "one time",     "constant",     "two counts",
                                    "noise",         "huge numbers", "tiny numbers", "infinite",
                                    "most are lost", "random walk",  "spikes"};

static double value_of(enum shape shape, size_t i, double *walk, uint64_t *seed)
{
    switch (shape) {
    case NAN_GOOD:
        return NAN;
    case SATURATED:
        return 10;
    case TWO_COUNTS:
        return 1 + 1e-3 * (i % 3 == 0);
    case HUGE_NUMBERS:
        return i % 2 ? 1e300 : -1e300;
    case TINY_NUMBERS:
        return i % 2 ? 1e-310 : 0;
    case INFINITE:
        return i == N / 2 ? INFINITY : 1;
    case RANDOM_WALK:
        return *walk += syn_normal(seed);
    case SPIKES:
        return i % 97 == 0 ? 1e6 : 1;
    case NOISE:
    case MOST_LOST:
        return syn_normal(seed);
    default:
        return 0;
    }
}

static void add_series(struct es_trace *t, enum es_role role, enum shape shape, uint64_t *seed)
{
    const size_t count = shape == LONE ? 1 : shape == PAIR ? 2 : N;
    struct es_series *s = syn_series(t, role, count, 100);
    double walk = 0;

    s->u = (struct es_channel_uncertainty){.offset = 1e-3, .gain = 1e-3, .dof = INFINITY};
    if (shape == TWO_COUNTS)
        s->u.resolution = 1e-3;
    if (shape == SATURATED) {
        s->low = 0;
        s->high = 10;
    }
    for (size_t i = 0; i < count; i++) {
        s->y[i] = value_of(shape, i, &walk, seed);
        s->t[i] = shape == ONE_TIME ? 1 : s->t[i];
        if (shape == FAILED || (shape == MOST_LOST && i % 20 != 0))
            s->quality[i] = ES_FAILED;
    }
}

static struct es_trace *make(const struct es_measure *m, const void *settings, enum shape shape,
                             uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    enum es_role roles[8];
    const size_t n = m->roles(settings, roles);

    for (size_t i = 0; i < n; i++)
        if (es_trace_series(t, roles[i]) == NULL)
            add_series(t, roles[i], shape, seed);
    if (es_trace_series(t, ES_ROLE_LOOP_CURRENT) == NULL)
        add_series(t, ES_ROLE_LOOP_CURRENT, shape, seed);
    t->duration = N / 100.0;
    for (int i = 1; i < 6; i++)
        syn_command(t, ES_ROLE_LOOP_DEMAND, i, i % 2 ? 8e-3 : 12e-3, i % 2 ? 12e-3 : 8e-3);
    return t;
}

static const struct es_fact known[] = {
    {"output 1 volume", ES_DIM_VOLUME, 2.5e-4, 5e-7, INFINITY},
    {"ambient pressure", ES_DIM_PRESSURE, 101325, 30, INFINITY},
    {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.2, INFINITY},
    {"loop low", ES_DIM_CURRENT, 4e-3, 0, INFINITY},
    {"loop high", ES_DIM_CURRENT, 20e-3, 0, INFINITY},
    {"full travel", ES_DIM_LENGTH, 0.03, 0, INFINITY},
};

static void expect_sound(const struct es_measure *m, const struct es_measured *v, enum shape shape)
{
    if (!v->valid) {
        cr_expect(strlen(v->reason) > 5 && strcmp(v->reason, "not evaluated") != 0, "%s, %s, %s: no reason",
                  m->name, v->name, words[shape]);
        cr_expect(isnan(v->value) && isnan(v->U), "%s, %s, %s: refused, and yet %g +- %g", m->name, v->name,
                  words[shape], v->value, v->U);
        return;
    }
    const bool of_writes = strcmp(v->name, "steps") == 0; /* a count of what was written, not read */
    cr_expect(shape >= NOTHING_UP_TO_HERE || of_writes, "%s, %s, %s: %g out of nothing", m->name, v->name,
              words[shape], v->value);
    cr_expect(isfinite(v->value), "%s, %s, %s: %g", m->name, v->name, words[shape], v->value);
    cr_expect(isfinite(v->U) && v->U >= 0 && v->u >= 0 && v->dof > 0, "%s, %s, %s: %g: u %g, dof %g, U %g",
              m->name, v->name, words[shape], v->value, v->u, v->dof, v->U);
    cr_expect(v->first <= v->last && v->last < N, "%s, %s, %s: from %zu to %zu", m->name, v->name,
              words[shape], v->first, v->last);
}

static void meet(const struct es_measure *m, enum shape shape, uint64_t *seed)
{
    static const char *const given[] = {"travel", "shaft angle"};
    const struct es_facts facts = {known, sizeof known / sizeof known[0]};
    char json[300];
    size_t needed = 0;
    int used = snprintf(json, sizeof json, "{");

    for (size_t i = 0; i < m->setting_count; i++)
        if (m->settings[i].required) {
            cr_assert_lt(needed, 2, "%s needs more settings than this test gives", m->name);
            used += snprintf(json + used, sizeof json - (size_t)used, "%s\"%s\": \"%s\"", needed ? ", " : "",
                             m->settings[i].name, given[needed]);
            needed++;
        }
    (void)snprintf(json + used, sizeof json - (size_t)used, "}");
    void *settings = syn_settings(m, json);
    struct es_trace *t = make(m, settings, shape, seed);
    const struct es_trace *traces[8] = {t, t, t, t};
    struct es_measured *v = calloc(m->output_count, sizeof *v);
    cr_assert_eq(m->evaluate(settings, traces, &facts, v, NULL), ES_OK, "%s, %s", m->name, words[shape]);
    for (size_t o = 0; o < m->output_count; o++)
        expect_sound(m, &v[o], shape);
    free(v);
    es_trace_free(t);
    syn_settings_free(m, settings);
}

Test(hostile, every_measure_meets_every_recording)
{
    size_t count;
    const struct es_measure *const *list = es_measure_list(&count);
    uint64_t seed = 20260101;

    for (size_t i = 0; i < count; i++)
        for (int shape = 0; shape < SHAPES; shape++)
            meet(list[i], (enum shape)shape, &seed);
}

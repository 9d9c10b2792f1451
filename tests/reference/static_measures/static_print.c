/* Prints what check_static.py computes again with numpy and scipy: random stairs with their figures, random
 * levers, random loops. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/lever.h"
#include "tests/unit/measures/synthetic_static.h"

static const char *const outputs[] = {
    "largest error",         "smallest error",       "linearity terminal-based",
    "linearity independent", "linearity zero-based", "hysteresis",
    "repeatability"};

static void stairs(uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 2 * 12 * 30, 10);
    double before = 0.004;
    size_t i = 0;
    printf("stairs");
    for (int h = 0; h < 24; h++) {
        int k = h % 12;
        double demand = k == 0 ? -0.1 : k == 6 ? 1.1 : k < 6 ? (k - 1) * 0.25 : (11 - k) * 0.25;
        double error = 0.01 * syn_normal(seed), to = 0.004 + 0.016 * demand;
        syn_command(t, ES_ROLE_LOOP_DEMAND, s->t[i], before, to);
        before = to;
        printf(" %.3f %.17g", demand, error);
        for (int n = 0; n < 30; n++)
            s->y[i++] = SYN_TRAVEL * (demand + error);
    }
    struct es_measured *m = syn_measure_one("staircase", "{\"settle\": \"1 s\"}", t, &syn_unit_facts);
    printf(" ;");
    for (size_t o = 0; o < sizeof outputs / sizeof outputs[0]; o++)
        printf(" %.17g", syn_output("staircase", m, outputs[o])->value);
    puts("");
    free(m);
    es_trace_free(t);
}

static void lever(uint64_t *seed)
{
    double low = -1.2 + syn_uniform(seed), high = low + 0.3 + syn_uniform(seed);
    int linkage = syn_uniform(seed) < 0.5 ? ES_SLOTTED_LEVER : ES_SLOTTED_STEM;
    struct es_lever l;
    if (es_lever_of((enum es_linkage)linkage, low, high, 0.03, &l))
        printf("lever %d %.17g %.17g ; %.17g %.17g %.17g\n", linkage, low, high, l.non_linearity, l.length,
               l.pin_offset);
}

static void loop(uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    syn_series(t, ES_ROLE_LOOP_CURRENT, 400, 20);
    syn_series(t, ES_ROLE_LOOP_VOLTAGE, 400, 20);
    printf("loop");
    for (size_t i = 0; i < 400; i++) {
        double current = 0.0037 + 0.0169 * (double)i / 399;
        t->series[0].y[i] = current;
        t->series[1].y[i] = 9 + 300 * current + 0.01 * syn_normal(seed);
        printf(" %.17g %.17g", current, t->series[1].y[i]);
    }
    struct es_measured *m = syn_measure_one("burden", NULL, t, NULL);
    printf(" ; %.17g\n", syn_output("burden", m, "resistance")->value);
    free(m);
    es_trace_free(t);
}

int main(void)
{
    uint64_t seed = 20;
    for (int k = 0; k < 60; k++)
        stairs(&seed);
    for (int k = 0; k < 60; k++)
        lever(&seed);
    for (int k = 0; k < 10; k++)
        loop(&seed);
    return 0;
}

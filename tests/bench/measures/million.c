/* Measures on a trace of a million samples. bench-million FILE writes the trace there (time stamps, then
 * values, as doubles) and prints one line a measure: name and seconds, the best of five. numpy_floor.py does
 * the same with numpy on the same samples and prints the ratio. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "tests/unit/measures/synthetic.h"

#define SAMPLES 1000000
#define RATE    50000.0

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static struct es_trace *step_of_a_million(void)
{
    uint64_t seed = 1;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, SAMPLES, RATE);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 0.010 + 0.001 * syn_first_order(s->t[i] - 5, 0.2, 0.5);
    syn_red_noise(s, 5e-6, 0, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 5, 0.012, 0.0128);
    return t;
}

static void time_one(const char *measure, const char *settings, const char *output, const struct es_trace *t)
{
    double best = INFINITY, value = NAN;
    for (int k = 0; k < 5; k++) {
        double began = now();
        struct es_measured *m = syn_measure_one(measure, settings, t, NULL);
        best = fmin(best, now() - began);
        value = syn_output(measure, m, output)->value;
        free(m);
    }
    printf("%s|%.6f|%.12g\n", measure, best, value);
}

int main(int argc, char **argv)
{
    struct es_trace *t = step_of_a_million();
    if (argc > 1) {
        FILE *f = fopen(argv[1], "wb");
        size_t n = f ? fwrite(t->series[0].t, sizeof(double), SAMPLES, f) : 0;
        n += f ? fwrite(t->series[0].y, sizeof(double), SAMPLES, f) : 0;
        if (!f || fclose(f) != 0 || n != 2 * SAMPLES) {
            fprintf(stderr, "bench-million: %s: cannot be written\n", argv[1]);
            return 1;
        }
    }
    time_one("level", "{\"channel\": \"travel\"}", "value", t);
    time_one("extreme", "{\"channel\": \"travel\"}", "largest", t);
    time_one("step response", NULL, "T63", t);
    es_trace_free(t);
    return 0;
}

/* Measures on recordings of a million samples. million-samples writes each recording to FOLDER/MEASURE.bin
 * (time stamps, then values, as doubles, a series after the other) and prints one line a measure: name,
 * samples, seconds of processor time, seconds of the floor, and the outputs asked for. The floor is one pass
 * over the columns (times, values, quality), which no measure can do without. Each the best of several.
 * bench_million.py does the same with numpy on the same samples in the same run and prints the ratios.
 * Use: million-samples FOLDER */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "procedures/measures/numeric/passes.h"
#include "tests/unit/measures/synthetic_static.h"

#define SAMPLES 1000000
#define REPEATS 15
#define OUTPUTS 12 /* most of a measure that are compared */
#define DEG     0.017453292519943295

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

struct task {
    const char *measure, *settings;
    struct es_trace *trace;
    size_t slot;
    const char *outputs[OUTPUTS];
    const struct es_facts *facts;
};

static struct es_trace *level_trace(void)
{
    uint64_t seed = 1;
    return syn_flat(ES_ROLE_TRAVEL, 0.010, SAMPLES / 50e3, 50e3, 5e-6, 0.5, &seed);
}

static struct es_trace *step_trace(void)
{
    uint64_t seed = 1;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, SAMPLES, 50e3);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 0.010 + 0.001 * syn_first_order(s->t[i] - 5, 0.2, 0.5);
    syn_noise(s, 5e-6, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 5, 0.012, 0.0128);
    return t;
}

static struct es_trace *stroke_trace(void)
{
    uint64_t seed = 2;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, SAMPLES, 50e3);
    for (size_t i = 0; i < s->count; i++) {
        double up = fmax(0, s->t[i] - 2.3), down = fmax(0, s->t[i] - 11.4);
        s->y[i] =
            fmin(0.020, 0.008 * up + 0.0005 * up * up) - fmin(0.020, 0.006 * down + 0.0004 * down * down);
    }
    syn_noise(s, 2e-6, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 2, 0.004, 0.020);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 11, 0.020, 0.004);
    return t;
}

static struct es_trace *sweep_trace(void)
{
    uint64_t seed = 3;
    struct syn_sweep s = {.rate = SAMPLES / 2 / 17.8,
                          .speeds = {15 * DEG, 45 * DEG},
                          .bow = 0.004,
                          .play = 0.4 * DEG,
                          .delay = 0.034,
                          .noise = 0.0002,
                          .dropout_at = {20 * DEG},
                          .dropout_width = {1.5 * DEG}};
    return syn_sweep_trace(&s, &seed);
}

static struct es_trace *leak_trace(void)
{
    uint64_t seed = 4;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, SAMPLES, SAMPLES / 60.0);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 40e3 * -expm1(-310 * s->t[i] / 40e3);
    syn_red_noise(s, 20, 0.5, &seed);
    return t;
}

static struct es_trace *stairs_trace(void)
{
    static double demands[24];
    static const double up[] = {-0.05, 0, 0.25, 0.5, 0.75, 1, 1.05};
    size_t n = 0;
    for (int k = 0; k < 2; k++)
        for (int i = 0; i < 12; i++)
            demands[n++] = up[i < 7 ? i : 12 - i];
    uint64_t seed = 5;
    struct syn_stairs s = {.demands = demands,
                           .count = n,
                           .lead = 4,
                           .hold = 8,
                           .rate = SAMPLES / 196.0,
                           .tau = 0.3,
                           .play = 0.005,
                           .bow = 0.01,
                           .noise = 0.001,
                           .read_noise = -1};
    return syn_stairs_trace(&s, &seed);
}

static bool write_series(const char *folder, const struct task *task)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/%s.bin", folder, task->measure);
    FILE *f = fopen(path, "wb");
    bool good = f != NULL;
    for (size_t i = 0; good && i < task->trace->series_count; i++) {
        const struct es_series *s = &task->trace->series[i];
        good = fwrite(s->t, sizeof(double), s->count, f) == s->count &&
               fwrite(s->y, sizeof(double), s->count, f) == s->count;
    }
    return f && fclose(f) == 0 && good;
}

static volatile double kept; /* so that no pass is left out */

static double floor_of(const struct es_trace *t)
{
    double best = INFINITY;
    for (int k = 0; k < REPEATS; k++) {
        double began = now();
        for (size_t i = 0; i < t->series_count; i++) {
            const struct es_series *s = &t->series[i];
            kept = es_plain_sum(s->t, s->count) + es_plain_sum(s->y, s->count) +
                   (es_all_zero(s->quality, s->count) ? 1 : 0);
        }
        best = fmin(best, now() - began);
    }
    return best;
}

static void run(const struct task *task)
{
    const struct es_trace *traces[8] = {NULL};
    double best = INFINITY, values[OUTPUTS] = {0};
    size_t samples = 0;
    traces[task->slot] = task->trace;
    for (int k = 0; k < REPEATS; k++) {
        double began = now();
        struct es_measured *m = syn_measure(task->measure, task->settings, traces, task->facts);
        best = fmin(best, now() - began);
        for (int o = 0; o < OUTPUTS && task->outputs[o]; o++)
            values[o] = syn_output(task->measure, m, task->outputs[o])->value;
        free(m);
    }
    for (size_t i = 0; i < task->trace->series_count; i++)
        samples += task->trace->series[i].count;
    printf("%s|%zu|%.6f|%.6f", task->measure, samples, best, floor_of(task->trace));
    for (int o = 0; o < OUTPUTS && task->outputs[o]; o++)
        printf("|%s=%.12g", task->outputs[o], values[o]);
    putchar('\n');
}

int main(int argc, char **argv)
{
    static const struct es_fact air[] = {{"output 1 volume", ES_DIM_VOLUME, 5e-4, 2e-6, INFINITY},
                                         {"ambient temperature", ES_DIM_TEMPERATURE, 295, 0.3, INFINITY},
                                         {"ambient pressure", ES_DIM_PRESSURE, 101325, 100, INFINITY}};
    struct es_facts of_air = {.items = air, .count = 3};
    struct task tasks[] = {
        {"level", "{\"channel\": \"travel\"}", level_trace(), 0, {"value", "spread"}, NULL},
        {"extreme", "{\"channel\": \"travel\"}", level_trace(), 0, {"largest", "smallest"}, NULL},
        {"step response",
         NULL,
         step_trace(),
         0,
         {"dead time", "T63", "T98", "settling time"},
         &syn_unit_facts},
        {"stroke", NULL, stroke_trace(), 0, {"travel", "time up", "time down"}, NULL},
        {"sensor sweep",
         NULL,
         sweep_trace(),
         0,
         {"linearity terminal-based", "linearity independent", "hysteresis", "repeatability", "smoothness",
          "usable range", "margin low", "margin high", "delay", "noise"},
         NULL},
        {"relay leak", "{\"tare\": \"none\"}", leak_trace(), 1, {"pressure rate"}, &of_air},
        {"staircase", NULL, stairs_trace(), 0, {"inaccuracy", "hysteresis"}, &syn_unit_facts}};
    bool good = argc == 2;
    for (size_t i = 0; i < sizeof tasks / sizeof tasks[0]; i++) {
        good = good && write_series(argv[1], &tasks[i]);
        if (good)
            run(&tasks[i]);
        es_trace_free(tasks[i].trace);
    }
    if (!good)
        fprintf(stderr, "use: million-samples FOLDER, which can be written\n");
    return good ? 0 : 1;
}

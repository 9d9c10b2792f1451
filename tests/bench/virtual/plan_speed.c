/* How much faster than real time the virtual bench is, on one core:
 *   1. the physics alone (strokes without pause; everything at rest),
 *   2. the whole plan after a relay swap, through station, engine, measures and judgement.
 *
 *   bench-virtual-plan [--unit TYPE] [--seed N] [--runs N] [--fault NAME=SEVERITY] [--lines]
 *
 * --lines prints what the plan measured. Nothing here is a test: figures go into docs/. */
#include <getopt.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

struct job {
    enum es_virtual_type type;
    uint64_t seed;
    long runs;
    struct es_virtual_fault_setting fault; /* fault -1: none */
    bool lines;
    struct es_bench *bench;
};

/* Processor time of this thread: other programs do not count. */
static double processor_seconds(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static bool failed(enum es_status s, const struct es_error *err, const struct es_findings *findings)
{
    if (s == ES_OK) {
        return false;
    }
    fprintf(stderr, "bench-virtual-plan: %s\n", err->text);
    if (findings) {
        es_findings_print(findings, stderr);
    }
    return true;
}

static struct es_virtual *unit(const struct job *job, uint64_t seed)
{
    struct es_virtual_config config;
    struct es_virtual *v = NULL;
    struct es_error err;
    es_virtual_config_init(&config, job->type);
    es_virtual_config_from_station(&job->bench->stations[0], &config);
    config.seed = seed;
    config.faults = &job->fault;
    config.fault_count = job->fault.fault >= 0;
    return failed(es_virtual_new(&config, &v, &err), &err, NULL) ? NULL : v;
}

static void put(struct es_virtual *v, enum es_role role, double value)
{
    struct es_error err;
    (void)failed(es_virtual_write(v, role, value, &err), &err, NULL);
}

static void show_ratio(const char *what, double simulated, double processor, uint64_t steps)
{
    printf("%-34s %8.1f s in %8.4f s: %8.0f times real time, %.0f ns a step\n", what, simulated, processor,
           simulated / processor, processor / (double)steps * 1e9);
}

static bool physics_alone(const struct job *job)
{
    struct es_virtual *v = unit(job, job->seed);
    struct es_virtual_inner in;
    if (!v) {
        return false;
    }
    const enum es_role shut[] = {ES_ROLE_OUTPUT_1_VENT, ES_ROLE_OUTPUT_2_VENT};
    const enum es_role open[] = {ES_ROLE_OUTPUT_1_ISOLATING, ES_ROLE_OUTPUT_2_ISOLATING,
                                 ES_ROLE_SUPPLY_VALVE};
    for (int i = 0; i < 2; i++) {
        put(v, shut[i], 0);
    }
    for (int i = 0; i < 3; i++) {
        put(v, open[i], 1);
    }
    put(v, ES_ROLE_SUPPLY_DEMAND, 4e5);
    double begin = processor_seconds();
    for (int i = 0; i < 200; i++) {
        put(v, ES_ROLE_LOOP_DEMAND, i % 2 ? 4e-3 : 20e-3);
        es_virtual_advance(v, 3);
    }
    es_virtual_look(v, &in);
    show_ratio("full strokes without pause", 600, processor_seconds() - begin, in.steps);
    const uint64_t steps = in.steps;
    begin = processor_seconds();
    es_virtual_advance(v, 3600);
    es_virtual_look(v, &in);
    show_ratio("holding a position", 3600, processor_seconds() - begin, in.steps - steps);
    es_virtual_free(v);
    return true;
}

static void show_lines(const struct es_outcome *o)
{
    printf("%s%s%s\n", es_verdict_word(o->verdict),
           o->completed ? "" : ", not completed: ", o->ended_because ? o->ended_because : "");
    for (size_t i = 0; i < o->line_count; i++) {
        const struct es_line *l = &o->lines[i];
        const struct es_unit *u = l->limit.unit;
        if (!l->value.valid || !u) {
            printf("  %-18s %-40s %s: %s\n", l->procedure, l->measurand, es_verdict_word(l->verdict),
                   l->reason ? l->reason : l->value.reason);
            continue;
        }
        printf("  %-18s %-40s %10.4f +- %8.4f %-5s [%g, %g] %s\n", l->procedure, l->measurand,
               es_to_unit(l->value.value, u), es_to_unit_difference(l->value.U, u), u->name,
               es_to_unit(l->limit.lower, u), es_to_unit(l->limit.upper, u), es_verdict_word(l->verdict));
    }
}

/* One run; virtual seconds, or NAN. */
static double run_plan(const struct job *job, uint64_t seed, uint64_t *steps)
{
    static const struct es_run_places places = {.now = "2026-03-20T10:00:00.000Z", .run = "speed"};
    char type_path[512];
    struct es_findings findings = {0};
    struct es_error err;
    struct es_outcome outcome = {0};
    struct es_virtual_station *station = NULL;
    struct es_virtual_inner in;
    double covered = NAN;
    snprintf(type_path, sizeof type_path, "%s/procedures/types/%s.json", ES_SOURCE_DIR,
             es_virtual_type_name(job->type));
    const struct es_run_order order = {.plan_path =
                                           ES_SOURCE_DIR "/procedures/library/after-relay-swap.plan.json",
                                       .type_path = type_path,
                                       .serial = "EX-1",
                                       .person = "speed",
                                       .reason = "speed",
                                       .state = "as left",
                                       .unattended = true,
                                       .ignore_gates = true,
                                       .seed = seed};
    struct es_virtual *v = unit(job, seed);
    if (!v) {
        return NAN;
    }
    enum es_status s = es_virtual_station_open(job->bench, &job->bench->stations[0], v, NULL, &station, &err);
    if (failed(s, &err, NULL)) {
        goto free_unit;
    }
    s = es_run_execute(&order, es_virtual_station_site(station), &places, NULL, &findings, &outcome, NULL,
                       &err);
    if (failed(s, &err, &findings)) {
        goto close_station;
    }
    if (job->lines) {
        show_lines(&outcome);
    }
    es_virtual_look(v, &in);
    *steps += in.steps;
    covered = es_seconds(es_virtual_now(v));
    es_outcome_free(&outcome);
close_station:
    es_virtual_station_close(station);
free_unit:
    es_virtual_free(v);
    es_findings_free(&findings);
    return covered;
}

static bool whole_plan(const struct job *job)
{
    double covered = 0;
    uint64_t steps = 0;
    const double begin = processor_seconds();
    for (long i = 0; i < job->runs; i++) {
        covered += run_plan(job, job->seed + (uint64_t)i, &steps);
    }
    if (!(covered > 0)) {
        return false;
    }
    show_ratio("whole plan after a relay swap", covered / (double)job->runs,
               (processor_seconds() - begin) / (double)job->runs, steps / (uint64_t)job->runs);
    return true;
}

static bool parse(int argc, char **argv, struct job *job)
{
    static const struct option longs[] = {
        {"unit", required_argument, NULL, 'u'}, {"seed", required_argument, NULL, 's'},
        {"runs", required_argument, NULL, 'r'}, {"fault", required_argument, NULL, 'f'},
        {"lines", no_argument, NULL, 'l'},      {NULL, 0, NULL, 0}};
    int which;
    while ((which = getopt_long(argc, argv, "", longs, NULL)) != -1) {
        char *equals = NULL;
        switch (which) {
        case 'u':
            if (!es_virtual_type_find(optarg, &job->type)) {
                return false;
            }
            break;
        case 's':
            job->seed = strtoull(optarg, NULL, 10);
            break;
        case 'r':
            job->runs = strtol(optarg, NULL, 10);
            break;
        case 'f':
            equals = strrchr(optarg, '=');
            if (!equals) {
                return false;
            }
            *equals = '\0';
            job->fault.fault = es_virtual_fault_find(optarg);
            job->fault.severity = strtod(equals + 1, NULL);
            if (job->fault.fault < 0) {
                return false;
            }
            break;
        case 'l':
            job->lines = true;
            break;
        default:
            return false;
        }
    }
    return optind == argc && job->runs > 0;
}

int main(int argc, char **argv)
{
    struct job job = {.seed = 1, .runs = 5, .fault.fault = -1};
    struct es_findings findings = {0};
    struct es_error err;
    if (!parse(argc, argv, &job)) {
        fputs("usage: bench-virtual-plan [--unit TYPE] [--seed N] [--runs N] [--fault NAME=SEVERITY] "
              "[--lines]\n",
              stderr);
        return 2;
    }
    const char *file = job.type == ES_VIRTUAL_LINEAR_SINGLE_ACTING
                           ? ES_SOURCE_DIR "/rig/bench/examples/virtual-bench.json"
                           : ES_SOURCE_DIR "/rig/bench/examples/virtual-bench-part-turn.json";
    if (failed(es_bench_load(file, &findings, &job.bench, &err), &err, &findings)) {
        es_findings_free(&findings);
        return 3;
    }
    const bool done = physics_alone(&job) && whole_plan(&job);
    es_bench_free(job.bench);
    es_findings_free(&findings);
    return done ? 0 : 3;
}

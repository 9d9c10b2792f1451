/* The whole after-relay-swap plan in virtual time: bench seconds computed a second of processor time, on one
 * core.
 *
 *   bench_plan [runs]      aim: at least 500 times real time (issue 2), 2,000 times later */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

#define LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define TYPES   ES_SOURCE_DIR "/procedures/types/"
#define BENCHES ES_SOURCE_DIR "/rig/bench/examples/"

static double processor(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void die(const struct es_error *err)
{
    fprintf(stderr, "%s\n", err->text);
    exit(1);
}

/* One unit through the plan; bench seconds. */
static double run(const struct es_bench *bench, enum es_virtual_type type, const char *sheet, uint64_t seed)
{
    struct es_virtual_config config;
    struct es_virtual *v;
    struct es_virtual_station *station = NULL;
    struct es_findings findings = {0};
    struct es_outcome outcome;
    struct es_error err;
    es_virtual_config_init(&config, type);
    es_virtual_config_from_station(&bench->stations[0], &config);
    config.seed = seed;
    if (es_virtual_new(&config, &v, &err) != ES_OK ||
        es_virtual_station_open(bench, &bench->stations[0], v, NULL, &station, &err) != ES_OK) {
        die(&err);
    }
    struct es_run_order order = {.plan_path = LIBRARY "after-relay-swap.plan.json",
                                 .type_path = sheet,
                                 .serial = "EX-1",
                                 .person = "Ada Example",
                                 .unattended = true,
                                 .seed = seed};
    struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "bench"};
    es_outcome_init(&outcome);
    if (es_run_execute(&order, es_virtual_station_site(station), &places, NULL, &findings, &outcome, NULL,
                       &err) != ES_OK) {
        es_findings_print(&findings, stderr);
        die(&err);
    }
    if (!outcome.completed) {
        fprintf(stderr, "not completed: %s\n", outcome.ended_because);
    }
    double seconds = es_seconds(es_virtual_now(v));
    es_outcome_free(&outcome);
    es_findings_free(&findings);
    es_virtual_station_close(station);
    es_virtual_free(v);
    return seconds;
}

int main(int argc, char **argv)
{
    static const char *const files[] = {BENCHES "virtual-bench.json", BENCHES "virtual-bench-part-turn.json"};
    static const char *const sheets[] = {TYPES "linear-single-acting.json",
                                         TYPES "part-turn-double-acting.json"};
    unsigned long runs = argc > 1 ? strtoul(argv[1], NULL, 10) : 20;
    double worst = 1e9;
    for (int i = 0; i < 2; i++) {
        struct es_findings f = {0};
        struct es_error err;
        struct es_bench *bench;
        if (es_bench_load(files[i], &f, &bench, &err) != ES_OK) {
            die(&err);
        }
        double from = processor(), bench_time = 0;
        for (unsigned long k = 0; k < runs; k++) {
            bench_time += run(bench, (enum es_virtual_type)i, sheets[i], k + 1);
        }
        double took = processor() - from, ratio = bench_time / took;
        printf("%-28s %lu runs, %.0f s of bench time in %.2f s: %.0f times real time\n",
               es_virtual_type_name((enum es_virtual_type)i), runs, bench_time, took, ratio);
        worst = ratio < worst ? ratio : worst;
        es_bench_free(bench);
    }
    printf("aim at least 500: %s\n", worst >= 500 ? "reached" : "MISSED");
    return worst >= 500 ? 0 : 1;
}

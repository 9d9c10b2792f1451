#include "tests/support/plan/plan_run.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "rig/bench/virtual_station.h"

static _Noreturn void die(const struct es_error *err)
{
    fprintf(stderr, "%s\n", err->text);
    exit(1);
}

double es_processor_time(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

struct es_bench *es_plan_bench(const char *file)
{
    struct es_findings findings = {0};
    struct es_bench *bench = NULL;
    struct es_error err = {0};
    if (es_bench_load(file, &findings, &bench, &err) != ES_OK) {
        es_findings_print(&findings, stderr);
        die(&err);
    }
    es_findings_free(&findings);
    return bench;
}

double es_plan_run(const struct es_plan_run *what, void (*seen)(void *self, const struct es_outcome *outcome),
                   void *self)
{
    struct es_virtual_config config;
    struct es_virtual *v = NULL;
    struct es_virtual_station *station = NULL;
    struct es_findings findings = {0};
    struct es_outcome outcome;
    struct es_error err = {0};
    es_virtual_config_init(&config, what->type);
    es_virtual_config_from_station(&what->bench->stations[0], &config);
    config.seed = what->seed;
    if (es_virtual_new(&config, &v, &err) != ES_OK ||
        es_virtual_station_open(what->bench, &what->bench->stations[0], v, NULL, &station, &err) != ES_OK)
        die(&err);
    const struct es_run_order order = {.plan_path = what->plan,
                                       .type_path = what->sheet,
                                       .serial = "EX-1",
                                       .person = "Ada Example",
                                       .unattended = true,
                                       .seed = what->seed};
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "bench"};
    es_outcome_init(&outcome);
    if (es_run_execute(&order, es_virtual_station_site(station), &places, NULL, &findings, &outcome, NULL,
                       &err) != ES_OK) {
        es_findings_print(&findings, stderr);
        die(&err);
    }
    if (!outcome.completed)
        fprintf(stderr, "not completed: %s\n", outcome.ended_because);
    double seconds = es_seconds(es_virtual_now(v));
    if (seen)
        seen(self, &outcome);
    es_outcome_free(&outcome);
    es_findings_free(&findings);
    es_virtual_station_close(station);
    es_virtual_free(v);
    return seconds;
}

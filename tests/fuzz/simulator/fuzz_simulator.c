#include "tests/fuzz/simulator/fuzz_simulator.h"

#include <stdio.h>
#include <stdlib.h>

struct simulator *fuzz_simulator(const char *bench_file)
{
    char path[512];
    struct es_findings findings = {0};
    struct es_bench *bench = NULL;
    struct simulator *sim = NULL;
    struct es_error err;
    const struct sim_setup setup = {.seed = 1, .speed = 1, .without_wires = true};
    snprintf(path, sizeof path, "%s/rig/bench/examples/%s", ES_SOURCE_DIR, bench_file);
    if (es_bench_load(path, &findings, &bench, &err) != ES_OK ||
        sim_new(bench, &setup, &sim, &err) != ES_OK) {
        fprintf(stderr, "%s\n", err.text);
        abort();
    }
    sim->log.fd = -1;
    return sim;
}

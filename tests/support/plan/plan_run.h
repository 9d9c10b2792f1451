/* One good unit through a plan in virtual time, for measuring programs: what goes wrong ends them with a
 * message. */
#ifndef ES_TESTS_PLAN_RUN_H
#define ES_TESTS_PLAN_RUN_H

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/run.h"

#define ES_PLAN_LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define ES_PLAN_TYPES   ES_SOURCE_DIR "/procedures/types/"
#define ES_PLAN_BENCHES ES_SOURCE_DIR "/rig/bench/examples/"

struct es_plan_run {
    const struct es_bench *bench; /* its first station is used */
    enum es_virtual_type type;
    const char *sheet, *plan; /* files */
    uint64_t seed;            /* of unit, instruments and run */
};

struct es_bench *es_plan_bench(const char *file); /* es_bench_free */

/* Bench seconds. `seen` gets the outcome before it is freed; NULL allowed. */
double es_plan_run(const struct es_plan_run *what, void (*seen)(void *self, const struct es_outcome *outcome),
                   void *self);

double es_processor_time(void); /* s, of this process */

#endif

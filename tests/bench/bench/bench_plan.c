/* The whole after-relay-swap plan in virtual time: bench seconds computed a second of processor time, on one
 * core.
 *
 *   bench_plan [runs]      aim: at least 500 times real time (issue 2), 2,000 times later */
#include <stdio.h>
#include <stdlib.h>

#include "tests/support/plan/plan_run.h"

int main(int argc, char **argv)
{
    static const char *const files[] = {ES_PLAN_BENCHES "virtual-bench.json",
                                        ES_PLAN_BENCHES "virtual-bench-part-turn.json"};
    static const char *const sheets[] = {ES_PLAN_TYPES "linear-single-acting.json",
                                         ES_PLAN_TYPES "part-turn-double-acting.json"};
    unsigned long runs = argc > 1 ? strtoul(argv[1], NULL, 10) : 20;
    double worst = 1e9;
    for (int i = 0; i < 2; i++) {
        struct es_bench *bench = es_plan_bench(files[i]);
        double from = es_processor_time(), bench_time = 0;
        for (unsigned long k = 0; k < runs; k++) {
            const struct es_plan_run what = {bench, (enum es_virtual_type)i, sheets[i],
                                             ES_PLAN_LIBRARY "after-relay-swap.plan.json", k + 1};
            bench_time += es_plan_run(&what, NULL, NULL);
        }
        double took = es_processor_time() - from, ratio = bench_time / took;
        printf("%-28s %lu runs, %.0f s of bench time in %.2f s: %.0f times real time\n",
               es_virtual_type_name((enum es_virtual_type)i), runs, bench_time, took, ratio);
        worst = ratio < worst ? ratio : worst;
        es_bench_free(bench);
    }
    printf("aim at least 500: %s\n", worst >= 500 ? "reached" : "MISSED");
    return worst >= 500 ? 0 : 1;
}

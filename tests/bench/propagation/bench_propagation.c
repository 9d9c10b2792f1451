/* What Monte Carlo costs in a whole plan, on one core.
 *
 *   bench-propagation [runs]      aim: under 1 s of processor time a plan (issue 4)
 *
 * Each run puts a good unit through a plan in virtual time; then the values that state a model are propagated
 * again, and timed; and once more as if every line of the plan were nothing but a rectangle, the shape that
 * needs trials most surely. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/propagate.h"
#include "tests/support/plan/plan_run.h"

#define AIM 1.0 /* s */

struct cost {
    double longest, sum, all; /* s: of one plan; of all; were every line drawn */
    size_t lines, stated, drawn, replaced, trials;
};

/* One value again; seconds. */
static double propagate(struct es_measured m, uint64_t seed, struct es_measured *out)
{
    struct es_error err = {0};
    const struct es_draws draws = {seed, 0};
    m.spread = (struct es_spread){0};
    double from = es_processor_time();
    if (es_measured_propagate(&m, &draws, &err) != ES_OK) {
        fprintf(stderr, "%s\n", err.text);
        exit(1);
    }
    *out = m;
    return es_processor_time() - from;
}

static void as_rectangle(struct es_measured *m)
{
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, es_rectangular(1), INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, 0.01, INFINITY);
    es_measured_set(m, 1, &b);
    es_model_sum(m, &b, ES_TERM_REPEAT, 1);
}

static void count(void *self, const struct es_outcome *o)
{
    struct cost *c = self;
    double took = 0, all = 0;
    for (size_t i = 0; i < o->line_count; i++) {
        struct es_measured value = o->lines[i].value, again;
        if (!value.valid)
            continue;
        c->lines++;
        c->stated += value.model.shape != ES_SHAPE_LINEAR;
        c->drawn += !es_model_is_plain(&value);
        took += propagate(value, i + 1, &again);
        c->replaced += again.spread.trials > 0;
        as_rectangle(&value);
        all += propagate(value, i + 1, &again);
        c->trials += again.spread.trials;
    }
    c->sum += took;
    c->longest = took > c->longest ? took : c->longest;
    c->all = all > c->all ? all : c->all;
}

int main(int argc, char **argv)
{
    static const struct {
        const char *bench, *sheet, *plan;
        enum es_virtual_type type;
    } cases[] = {{ES_PLAN_BENCHES "virtual-bench.json", ES_PLAN_TYPES "linear-single-acting.json",
                  "after-relay-swap.plan.json", 0},
                 {ES_PLAN_BENCHES "virtual-bench-part-turn.json",
                  ES_PLAN_TYPES "part-turn-double-acting.json", "after-relay-swap.plan.json", 1},
                 {ES_PLAN_BENCHES "virtual-bench-part-turn.json",
                  ES_PLAN_TYPES "part-turn-double-acting.json", "incoming-complete-unit.plan.json", 1}};
    unsigned long runs = argc > 1 ? strtoul(argv[1], NULL, 10) : 3;
    double worst = 0;
    if (runs == 0) {
        fprintf(stderr, "usage: bench-propagation [runs], at least 1\n");
        return 2;
    }
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct cost c = {0};
        char plan[400];
        snprintf(plan, sizeof plan, ES_PLAN_LIBRARY "%s", cases[i].plan);
        struct es_bench *bench = es_plan_bench(cases[i].bench);
        for (unsigned long k = 0; k < runs; k++)
            (void)es_plan_run(&(struct es_plan_run){bench, cases[i].type, cases[i].sheet, plan, k + 1}, count,
                              &c);
        printf("%s, %s, %lu runs: %zu lines a run, %zu state a model, %zu are drawn, %zu replaced\n",
               cases[i].plan, es_virtual_type_name(cases[i].type), runs, c.lines / runs, c.stated / runs,
               c.drawn / runs, c.replaced / runs);
        printf("  Monte Carlo: %.0f ms a plan, at most %.0f ms; were every line a rectangle: %.0f ms, %zu "
               "trials a value\n",
               1e3 * c.sum / (double)runs, 1e3 * c.longest, 1e3 * c.all, c.lines ? c.trials / c.lines : 0);
        worst = c.longest > worst ? c.longest : worst;
        es_bench_free(bench);
    }
    printf("aim below %.0f s a plan: %s (%.3f s)\n", AIM, worst < AIM ? "reached" : "MISSED", worst);
    return worst < AIM ? 0 : 1;
}

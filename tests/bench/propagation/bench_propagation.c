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
#include <time.h>

#include "drivers/virtual/virtual_bench.h"
#include "procedures/measures/propagate.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

#define LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define TYPES   ES_SOURCE_DIR "/procedures/types/"
#define BENCHES ES_SOURCE_DIR "/rig/bench/examples/"
#define AIM     1.0 /* s */

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
    double from = processor();
    if (es_measured_propagate(&m, &draws, &err) != ES_OK)
        die(&err);
    *out = m;
    return processor() - from;
}

static void as_rectangle(struct es_measured *m)
{
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, es_rectangular(1), INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, 0.01, INFINITY);
    es_measured_set(m, 1, &b);
    es_model_sum(m, &b, ES_TERM_REPEAT, 1);
}

static void count(const struct es_outcome *o, struct cost *c)
{
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

static void run(const struct es_bench *bench, enum es_virtual_type type, const char *sheet, const char *plan,
                uint64_t seed, struct cost *c)
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
        es_virtual_station_open(bench, &bench->stations[0], v, NULL, &station, &err) != ES_OK)
        die(&err);
    struct es_run_order order = {.plan_path = plan,
                                 .type_path = sheet,
                                 .serial = "EX-1",
                                 .person = "Ada Example",
                                 .unattended = true,
                                 .overdue_reason = "a measuring program certifies nothing",
                                 .seed = seed};
    struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "bench"};
    es_outcome_init(&outcome);
    if (es_run_execute(&order, es_virtual_station_site(station), &places, NULL, &findings, &outcome, NULL,
                       &err) != ES_OK) {
        es_findings_print(&findings, stderr);
        die(&err);
    }
    count(&outcome, c);
    es_outcome_free(&outcome);
    es_findings_free(&findings);
    es_virtual_station_close(station);
    es_virtual_free(v);
}

int main(int argc, char **argv)
{
    static const struct {
        const char *bench, *sheet, *plan;
        enum es_virtual_type type;
    } cases[] = {
        {BENCHES "virtual-bench.json", TYPES "linear-single-acting.json", "after-relay-swap.plan.json", 0},
        {BENCHES "virtual-bench-part-turn.json", TYPES "part-turn-double-acting.json",
         "after-relay-swap.plan.json", 1},
        {BENCHES "virtual-bench-part-turn.json", TYPES "part-turn-double-acting.json",
         "incoming-complete-unit.plan.json", 1}};
    unsigned long runs = argc > 1 ? strtoul(argv[1], NULL, 10) : 3;
    double worst = 0;
    if (runs == 0) {
        fprintf(stderr, "usage: bench-propagation [runs], at least 1\n");
        return 2;
    }
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct es_findings f = {0};
        struct es_error err;
        struct es_bench *bench;
        struct cost c = {0};
        char plan[400];
        snprintf(plan, sizeof plan, LIBRARY "%s", cases[i].plan);
        if (es_bench_load(cases[i].bench, &f, &bench, &err) != ES_OK)
            die(&err);
        for (unsigned long k = 0; k < runs; k++)
            run(bench, cases[i].type, cases[i].sheet, plan, k + 1, &c);
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

/* Whole plans on a bench that is slow or shares its air: what the bench lacks is never the unit's fault. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "drivers/virtual/common_supply.h"
#include "tests/system/library/virtual_run.h"

#define PLAN LIBRARY "after-relay-swap.plan.json"

static const char *const types[] = {"linear-single-acting", "part-turn-double-acting"};

/* Completed or not. */
static void run_plan(struct virtual_run *x, const struct es_run_watch *watch)
{
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "test-run"};
    const enum es_status s = es_run_execute(&x->order, es_virtual_station_site(x->station), &places, watch,
                                            &x->findings, &x->outcome, &x->report, &x->err);
    es_findings_print(&x->findings, stderr);
    cr_assert_eq(s, ES_OK, "%s", x->err.text);
}

static void expect_not_blamed(const struct virtual_run *x, const char *what)
{
    for (size_t i = 0; i < x->outcome.line_count; i++) {
        const struct es_line *l = &x->outcome.lines[i];
        cr_expect(l->verdict != ES_FAIL || !l->limit.required, "%s: %s fails", what, l->measurand);
    }
    cr_expect_neq(x->outcome.verdict, ES_FAIL, "%s", what);
}

Test(bench, a_slow_bus_is_no_fault_of_the_unit)
{
    static const double severities[] = {0.05, 0.2, 0.35, 0.6, 1};
    for (size_t i = 0; i < 2; i++) {
        for (size_t k = 0; k < sizeof severities / sizeof severities[0]; k++) {
            struct virtual_run x;
            virtual_run_make(&x, &(struct virtual_case){.type = types[i],
                                                        .plan = PLAN,
                                                        .seed = 31,
                                                        .fault = "slow bus",
                                                        .severity = severities[k]});
            run_plan(&x, NULL);
            expect_not_blamed(&x, types[i]);
            cr_expect(severities[k] < 0.3 || x.outcome.verdict != ES_PASS || !x.outcome.completed,
                      "%s: a bus this slow (%g) cannot give a pass", types[i], severities[k]);
            virtual_run_free(&x);
        }
    }
}

/* A neighbour whose unit is driven to and fro into open vents. */
struct neighbour {
    struct es_virtual *v;
};

static void stroke(void *self, const struct es_reading *by_role)
{
    struct neighbour *n = self;
    struct es_error err;
    (void)by_role;
    const int phase = (int)(es_seconds(es_virtual_now(n->v)) / 4) % 2;
    cr_assert_eq(es_virtual_write(n->v, ES_ROLE_LOOP_DEMAND, phase ? 20e-3 : 0, &err), ES_OK);
}

static struct es_virtual *make_neighbour(void)
{
    struct es_virtual_config config;
    struct es_virtual *v = NULL;
    es_virtual_config_init(&config, ES_VIRTUAL_PART_TURN_DOUBLE_ACTING);
    config.seed = 5;
    cr_assert_eq(es_virtual_new(&config, &v, NULL), ES_OK);
    cr_assert_eq(es_virtual_write(v, ES_ROLE_SUPPLY_DEMAND, 6e5, NULL), ES_OK);
    cr_assert_eq(es_virtual_write(v, ES_ROLE_SUPPLY_VALVE, 1, NULL), ES_OK);
    return v;
}

/* conductance in dm3/(s bar) */
static void beside_a_neighbour(const char *type, double conductance, struct virtual_run *x)
{
    struct es_virtual_supply_config config;
    struct es_virtual_supply *supply = NULL;
    struct neighbour n = {.v = make_neighbour()};
    const struct es_run_watch watch = {.self = &n, .values = stroke};
    es_virtual_supply_config_init(&config);
    config.conductance = conductance * 1e-8;
    config.volume = 0.5e-3;
    virtual_run_make(x, &(struct virtual_case){.type = type, .plan = PLAN, .seed = 31});
    cr_assert_eq(es_virtual_supply_new(&config, &supply, NULL), ES_OK);
    cr_assert_eq(es_virtual_supply_join(supply, x->v, NULL), ES_OK);
    cr_assert_eq(es_virtual_supply_join(supply, n.v, NULL), ES_OK);
    run_plan(x, &watch);
    fprintf(stderr, "%s, line of %g dm3/(s bar): %s%s\n", type, conductance,
            es_verdict_word(x->outcome.verdict), x->outcome.completed ? "" : ", not completed");
    es_virtual_supply_leave(x->v);
    es_virtual_supply_free(supply);
    es_virtual_free(n.v);
}

Test(bench, a_neighbour_on_a_narrow_line_is_no_fault_of_the_unit)
{
    for (size_t i = 0; i < 2; i++) {
        static const double lines[] = {0.4, 0.25, 0.1};
        struct virtual_run x;
        for (size_t k = 0; k < sizeof lines / sizeof lines[0]; k++) {
            beside_a_neighbour(types[i], lines[k], &x);
            expect_not_blamed(&x, types[i]);
            cr_expect(k < 2 || x.outcome.verdict != ES_PASS, "%s: the supply breaks down", types[i]);
            virtual_run_free(&x);
        }
        beside_a_neighbour(types[i], 4, &x);
        cr_expect(x.outcome.completed && x.outcome.verdict == ES_PASS, "%s beside a neighbour on a wide line",
                  types[i]);
        virtual_run_free(&x);
    }
}

/* Outputs that are not where they were put: by their settings and by their effects. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rig/bench/output_watch.h"
#include "tests/support/bench/small_bench.h"

#define MS (ES_NS_PER_S / 1000)

struct fixture {
    struct es_bench *bench;
    const struct es_bench_station *station;
    struct es_output_watch w;
    struct es_output_told told;
    es_time since;
    char text[256];
};

static void make(struct fixture *x)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc;
    memset(x, 0, sizeof *x);
    cr_assert_eq(es_document_parse("b", SMALL_BENCH, strlen(SMALL_BENCH), &f, &doc, &err), ES_OK);
    cr_assert_eq(es_bench_from_document(doc, &f, &x->bench, &err), ES_OK);
    es_document_free(doc);
    x->station = &x->bench->stations[0];
}

static bool told(struct fixture *x, enum es_role role, double raw, bool valid, es_time taken)
{
    return es_output_changed(&x->w, x->bench, es_station_channel(x->station, role), &x->told,
                             (struct es_raw){raw, valid}, taken, &x->since, x->text, sizeof x->text);
}

Test(output_watch, a_valve_that_somebody_shuts)
{
    struct fixture x;
    make(&x);
    x.told = (struct es_output_told){1, 100 * MS};
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 1, true, 200 * MS));
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 400 * MS), "one answer is not enough");
    cr_expect(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 600 * MS));
    cr_expect_eq(x.since, 400 * MS);
    cr_expect_str_eq(x.text,
                     "supply valve is shut, but was commanded open: another program or a person changed it");
    es_bench_free(x.bench);
}

Test(output_watch, a_demand_that_somebody_raises)
{
    struct fixture x;
    make(&x);
    x.told = (struct es_output_told){3e5, 100 * MS};
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_DEMAND, 3, true, 200 * MS));
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_DEMAND, 6, true, 400 * MS));
    cr_expect(told(&x, ES_ROLE_SUPPLY_DEMAND, 6, true, 600 * MS));
    cr_expect_not_null(strstr(x.text, "is set to 6.000 bar, but was commanded 3.000 bar"), "%s", x.text);
    es_bench_free(x.bench);
}

Test(output_watch, right_answers_between_wrong_ones_clear)
{
    struct fixture x;
    make(&x);
    x.told = (struct es_output_told){1, 0};
    for (int i = 1; i < 10; i++) {
        cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, i % 2, true, i * 200 * MS));
    }
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 3000 * MS));
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, false, 3200 * MS), "no number says nothing");
    cr_expect(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 3400 * MS), "and clears nothing");
    es_bench_free(x.bench);
}

/* What is read around one's own write, or within its acting time, is no one else's work. */
Test(output_watch, own_writes_are_not_taken_for_anothers)
{
    struct fixture x;
    make(&x);
    struct es_bench_channel *c =
        (struct es_bench_channel *)(uintptr_t)es_station_channel(x.station, ES_ROLE_SUPPLY_VALVE);
    c->lag = 0.5;
    x.told = (struct es_output_told){0, 0};
    x.w.writing = true;
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 1, true, 2000 * MS));
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 1, true, 2100 * MS));
    x.w.writing = false;
    x.told = (struct es_output_told){1, 2200 * MS};
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 2100 * MS), "taken before the write");
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 2500 * MS), "still acting");
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 2700 * MS), "still acting");
    cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 2800 * MS));
    cr_expect(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, 3000 * MS));
    x.told.value = NAN;
    x.w = (struct es_output_watch){0};
    for (int i = 0; i < 5; i++) {
        cr_expect_not(told(&x, ES_ROLE_SUPPLY_VALVE, 0, true, (4000 + i) * MS),
                      "nobody knows what was written");
    }
    es_bench_free(x.bench);
}

static bool effect(struct fixture *x, double value, enum es_quality q, es_time taken)
{
    const struct es_reading r = {value, q, taken, 1e-3};
    return es_output_missing(&x->w, es_station_channel(x->station, ES_ROLE_LOOP_DEMAND),
                             es_station_channel(x->station, ES_ROLE_LOOP_CURRENT), &x->told, &r, &x->since,
                             x->text, sizeof x->text);
}

Test(output_watch, effect_is_missing_after_three_readings_in_a_row)
{
    struct fixture x;
    make(&x);
    x.told = (struct es_output_told){0.012, 0}; /* within 0.1 mA after 0.3 s */
    cr_expect_not(effect(&x, 0.004, ES_GOOD, 200 * MS), "has its time still");
    cr_expect_not(effect(&x, 0.0122, ES_GOOD, 400 * MS));
    cr_expect_not(effect(&x, 0.0122, ES_GOOD, 400 * MS), "the same reading counts once");
    cr_expect_not(effect(&x, 0.0122, ES_GOOD, 400 * MS));
    cr_expect_not(effect(&x, 0.0122, ES_GOOD, 500 * MS));
    cr_expect_not(effect(&x, 0.0121, ES_GOOD, 600 * MS), "within: clears");
    cr_expect_not(effect(&x, 0.0118, ES_GOOD, 700 * MS));
    cr_expect_not(effect(&x, 0.0118, ES_GOOD, 800 * MS));
    cr_expect_not(effect(&x, 0, ES_OUT_OF_RANGE, 850 * MS), "no number says nothing here");
    cr_expect(effect(&x, 0.0118, ES_GOOD, 900 * MS));
    cr_expect_eq(x.since, 700 * MS);
    cr_expect_not_null(
        strstr(x.text, "\"loop demand\" was told 12.000 mA, but \"loop current\" shows 11.800 mA"), "%s",
        x.text);
    es_bench_free(x.bench);
}

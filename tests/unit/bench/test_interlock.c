/* The interlock's rules and its state machine, without thread or clock. */
#include <criterion/criterion.h>
#include <string.h>

#include "rig/bench/interlock.h"
#include "tests/support/bench/small_bench.h"

#define S ES_NS_PER_S

struct fixture {
    struct es_bench *bench;
    struct es_interlock lock;
    bool needed[ES_ROLE_COUNT];
    es_time now;
};

static void feed(struct fixture *x, es_time now)
{
    x->now = now;
    es_interlock_sample(&x->lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 4e5, now);
    es_interlock_sample(&x->lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 1, now);
    es_interlock_sample(&x->lock, ES_ROLE_LOOP_CURRENT, ES_GOOD, 0.012, now);
}

static void make(struct fixture *x)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc;
    memset(x, 0, sizeof *x);
    cr_assert_eq(es_document_parse("b", SMALL_BENCH, strlen(SMALL_BENCH), &f, &doc, &err), ES_OK);
    cr_assert_eq(es_bench_from_document(doc, &f, &x->bench, &err), ES_OK);
    es_document_free(doc);
    es_interlock_init(&x->lock, &x->bench->stations[0]);
    x->needed[ES_ROLE_SUPPLY_PRESSURE] = true;
    x->needed[ES_ROLE_LOOP_DEMAND] = true;
    es_interlock_made_safe(&x->lock, true);
    feed(x, 10 * S);
}

static void arm(struct fixture *x)
{
    struct es_error err = {0};
    make(x);
    cr_assert_eq(es_interlock_arm(&x->lock, x->needed, x->now, &err), ES_OK, "%s", err.text);
    cr_assert_eq(x->lock.state, ES_LOCK_ARMED);
}

static void expect_tripped(struct fixture *x, const char *word)
{
    cr_expect_eq(x->lock.state, ES_LOCK_TRIPPING);
    cr_expect_not_null(strstr(x->lock.cause, word), "%s", x->lock.cause);
    es_bench_free(x->bench);
}

Test(interlock, unknown_until_made_safe)
{
    struct fixture x;
    struct es_error err;
    make(&x);
    es_interlock_init(&x.lock, &x.bench->stations[0]);
    feed(&x, 10 * S);
    cr_expect_eq(es_interlock_arm(&x.lock, x.needed, x.now, &err), ES_INTERLOCK);
    es_interlock_made_safe(&x.lock, false);
    cr_expect_eq(x.lock.state, ES_LOCK_UNKNOWN);
    es_interlock_made_safe(&x.lock, true);
    cr_expect_eq(es_interlock_arm(&x.lock, x.needed, x.now, &err), ES_OK);
    es_interlock_disarm(&x.lock, false);
    cr_expect_eq(x.lock.state, ES_LOCK_UNKNOWN);
    es_bench_free(x.bench);
}

Test(interlock, emergency_stop_trips_at_the_first_sample)
{
    struct fixture x;
    arm(&x);
    cr_expect(es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 0, x.now + 1));
    expect_tripped(&x, "emergency stop");
}

Test(interlock, emergency_stop_without_a_value_trips_too)
{
    struct fixture x;
    arm(&x);
    cr_expect(es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_FAILED, 0, x.now + 1));
    expect_tripped(&x, "emergency stop");
}

Test(interlock, one_bad_sample_of_a_measuring_channel_does_not_trip)
{
    struct fixture x;
    arm(&x);
    cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_OUT_OF_RANGE, 0, x.now + 1));
    cr_expect_not(es_interlock_tick(&x.lock, x.now + S / 10));
    feed(&x, x.now + S / 5);
    cr_expect_not(es_interlock_tick(&x.lock, x.now));
    es_bench_free(x.bench);
}

Test(interlock, lasting_bad_quality_trips_with_the_time_it_began)
{
    struct fixture x;
    arm(&x);
    es_time began = x.now + S / 50;
    bool tripped = false;
    for (es_time t = began; t < began + S && !tripped; t += S / 50) {
        es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 1, t);
        es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_OUT_OF_RANGE, 0, t);
        tripped = es_interlock_tick(&x.lock, t);
    }
    cr_expect(tripped);
    cr_expect_eq(x.lock.cause_at, began);
    expect_tripped(&x, "plausible");
}

Test(interlock, stale_channel_trips_only_when_needed)
{
    for (int needed = 0; needed < 2; needed++) {
        struct fixture x;
        make(&x);
        struct es_error err;
        x.needed[ES_ROLE_SUPPLY_PRESSURE] = needed;
        cr_assert_eq(es_interlock_arm(&x.lock, x.needed, x.now, &err), ES_OK);
        bool tripped = false;
        for (es_time t = x.now; t < 12 * S && !tripped; t += S / 50) {
            es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 1, t);
            tripped = es_interlock_tick(&x.lock, t);
        }
        cr_expect_eq(tripped, needed);
        cr_expect_eq(strstr(x.lock.cause, "stale") != NULL, needed);
        es_bench_free(x.bench);
    }
}

Test(interlock, ceiling_of_an_output_holds_for_its_reading)
{
    struct fixture x;
    arm(&x);
    /* Demand: 0 to 7 bar; its reading may go 5 % of that range beyond. */
    cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 7.34e5, x.now + 1));
    cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 7.36e5, x.now + 2));
    cr_expect(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 7.36e5, x.now + 3));
    cr_expect_eq(x.lock.cause_at, x.now + 2, "the first one is the cause's time");
    expect_tripped(&x, "ceiling");
}

Test(interlock, one_noisy_reading_beyond_a_ceiling_does_not_trip)
{
    struct fixture x;
    arm(&x);
    for (int i = 0; i < 10; i++) {
        feed(&x, x.now + S / 50);
        cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 7.4e5, x.now + 1));
        feed(&x, x.now + S / 50);
        cr_expect_not(es_interlock_tick(&x.lock, x.now));
    }
    cr_expect_eq(x.lock.state, ES_LOCK_ARMED);
    es_bench_free(x.bench);
}

Test(interlock, far_beyond_a_ceiling_trips_at_once)
{
    struct fixture x;
    arm(&x);
    /* 7.35 bar is the ceiling, 8.085 is far. */
    cr_expect(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 8.1e5, x.now + 1));
    expect_tripped(&x, "ceiling");
}

Test(interlock, beyond_a_ceiling_and_then_no_good_reading_trips)
{
    struct fixture x;
    arm(&x);
    cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 7.4e5, x.now + 1));
    cr_expect(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_OUT_OF_RANGE, 0, x.now + 2));
    expect_tripped(&x, "ceiling");
}

/* Also where the run does not need the channel. */
Test(interlock, beyond_a_ceiling_and_then_silence_trips)
{
    struct fixture x;
    struct es_error err;
    make(&x);
    x.needed[ES_ROLE_SUPPLY_PRESSURE] = false;
    cr_assert_eq(es_interlock_arm(&x.lock, x.needed, x.now, &err), ES_OK);
    es_time began = x.now + 1;
    cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 7.4e5, began));
    bool tripped = false;
    es_time t = began;
    for (; t < began + S && !tripped; t += S / 50) {
        es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 1, t);
        tripped = es_interlock_tick(&x.lock, t);
    }
    cr_expect(tripped && t - began < S / 2);
    cr_expect_eq(x.lock.cause_at, began);
    expect_tripped(&x, "ceiling");
}

Test(interlock, ceiling_below)
{
    struct fixture x;
    arm(&x);
    /* -1.1 mA is the ceiling: 5 % of the demand's range below 0. */
    cr_expect_not(es_interlock_sample(&x.lock, ES_ROLE_LOOP_CURRENT, ES_GOOD, -0.00115, x.now + 1));
    cr_expect(es_interlock_sample(&x.lock, ES_ROLE_LOOP_CURRENT, ES_GOOD, -0.00115, x.now + 2));
    expect_tripped(&x, "ceiling");
}

Test(interlock, bus_away_trips_after_its_grace)
{
    struct fixture x;
    arm(&x);
    es_time away = x.now;
    es_interlock_bus(&x.lock, ES_ROLE_LOOP_DEMAND, false, away);
    bool tripped = false;
    es_time t = x.now;
    for (; t < away + 3 * S && !tripped; t += S / 50) {
        feed(&x, t);
        tripped = es_interlock_tick(&x.lock, t);
    }
    cr_expect(tripped);
    cr_expect(es_seconds(t - away) > ES_INTERLOCK_BUS_GRACE &&
              es_seconds(t - away) < ES_INTERLOCK_BUS_GRACE + 0.1);
    expect_tripped(&x, "bus");
}

Test(interlock, own_deadline_missed)
{
    struct fixture x;
    arm(&x);
    cr_expect_not(es_interlock_tick(&x.lock, x.now + S / 10));
    feed(&x, x.now + S);
    cr_expect(es_interlock_tick(&x.lock, x.now));
    expect_tripped(&x, "deadline");
}

Test(interlock, reset_only_when_the_cause_is_gone)
{
    struct fixture x;
    struct es_error err;
    arm(&x);
    es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 0, x.now + 1);
    cr_expect_eq(es_interlock_reset(&x.lock, x.now + 2, &err), ES_USAGE, "while tripping");
    es_interlock_made_safe(&x.lock, true);
    cr_expect_eq(x.lock.state, ES_LOCK_TRIPPED);
    cr_expect_eq(es_interlock_arm(&x.lock, x.needed, x.now + 2, &err), ES_INTERLOCK);
    cr_expect_eq(es_interlock_reset(&x.lock, x.now + 2, &err), ES_INTERLOCK);
    es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 1, x.now + 3);
    cr_expect_eq(es_interlock_reset(&x.lock, x.now + 3, &err), ES_OK);
    cr_expect_eq(x.lock.state, ES_LOCK_SAFE);
    es_bench_free(x.bench);
}

Test(interlock, arming_looks_first)
{
    struct fixture x;
    struct es_error err;
    make(&x);
    es_interlock_sample(&x.lock, ES_ROLE_EMERGENCY_STOP, ES_GOOD, 0, x.now);
    cr_expect_eq(es_interlock_arm(&x.lock, x.needed, x.now, &err), ES_INTERLOCK);
    feed(&x, x.now);
    cr_expect_eq(es_interlock_arm(&x.lock, x.needed, x.now + 10 * S, &err), ES_INTERLOCK, "all stale");
    es_bench_free(x.bench);
}

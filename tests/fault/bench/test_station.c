/* The station over instruments that misbehave: what the product answers, how fast, and what it says. */
#include <criterion/criterion.h>
#include <math.h>
#include <pthread.h>
#include <string.h>

#include "rig/bench/run.h"
#include "rig/bench/station.h"
#include "tests/support/bench/small_bench.h"
#include "tests/support/bench/test_driver.h"

struct fixture {
    struct test_script *air, *loop;
    struct es_bench *bench;
    struct es_live *live;
    struct es_station *station;
    const struct es_site *site;
    struct es_site_order order;
};

static struct es_bench *read_bench(void)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc;
    struct es_bench *bench = NULL;
    cr_assert_eq(es_document_parse("small.json", SMALL_BENCH, strlen(SMALL_BENCH), &f, &doc, &err), ES_OK);
    cr_assert_eq(es_bench_from_document(doc, &f, &bench, &err), ES_OK, "%s", err.text);
    es_document_free(doc);
    return bench;
}

/* Healthy instruments: emergency stop circuit closed, loop current follows loop demand. */
static void make(struct fixture *x)
{
    memset(x, 0, sizeof *x);
    x->air = test_script_new("air");
    x->loop = test_script_new("loop");
    test_set(x->air, 0, 1, 1);
    x->loop->follow[0][0] = 2;
    x->bench = read_bench();
}

static void start(struct fixture *x)
{
    struct es_error err = {0};
    cr_assert_eq(es_live_open(x->bench, NULL, &x->live, &err), ES_OK, "%s", err.text);
    x->station = es_live_station(x->live, "1");
    cr_assert_not_null(x->station);
    x->site = es_station_site(x->station);
    x->order = (struct es_site_order){.run = "test"};
    static const enum es_role needed[] = {ES_ROLE_SUPPLY_PRESSURE, ES_ROLE_SUPPLY_DEMAND,
                                          ES_ROLE_SUPPLY_VALVE, ES_ROLE_LOOP_DEMAND, ES_ROLE_LOOP_CURRENT};
    for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++) {
        x->order.needed[needed[i]] = true;
    }
}

static void begin(struct fixture *x)
{
    struct es_error err = {0};
    cr_assert_eq(x->site->begin(x->site->self, &x->order, &err), ES_OK, "%s", err.text);
}

static void finish(struct fixture *x)
{
    es_live_close(x->live);
    cr_expect_eq(x->air->overlaps, 0, "two calls of one driver at once");
    cr_expect_eq(x->air->opens, x->air->closes);
    cr_expect_eq(x->loop->opens, x->loop->closes);
    es_bench_free(x->bench);
    test_script_free(x->air);
    test_script_free(x->loop);
}

static enum es_status put(struct fixture *x, enum es_role role, double value, struct es_error *err)
{
    es_time acted;
    return x->site->port.write(x->site->port.self, role, value, &acted, err);
}

static enum es_status doze(struct fixture *x, double seconds, struct es_error *err)
{
    const struct es_port *p = &x->site->port;
    return p->sleep_until(p->self, p->now(p->self) + es_from_seconds(seconds), err);
}

/* Safe values of all outputs, as the instruments hold them. */
static void expect_safe(struct fixture *x)
{
    cr_expect_eq(test_get(x->air, 1, 2), 0, "supply valve");
    cr_expect_eq(test_get(x->air, 1, 4), 0, "supply demand");
    cr_expect_eq(test_get(x->air, 1, 3), 1, "vent");
    cr_expect_eq(test_get(x->loop, 0, 0), 0, "loop demand");
}

static void lock_set(struct test_script *s, bool *flag, bool value)
{
    pthread_mutex_lock(&s->lock);
    *flag = value;
    pthread_mutex_unlock(&s->lock);
}

Test(station, start_makes_safe_in_the_configured_order)
{
    struct fixture x;
    make(&x);
    test_set(x.air, 1, 2, 1); /* left open by a program that was killed */
    test_set(x.loop, 0, 0, 12);
    start(&x);
    struct es_station_status s;
    es_station_status(x.station, &s);
    cr_assert_eq(s.state, ES_LOCK_SAFE);
    cr_assert(s.safe.reached, "%s", s.safe.sentence);
    cr_assert(s.safe.seconds < 2.0);
    expect_safe(&x);
    static const long order[] = {2, 4, 3};
    cr_assert_geq(x.air->write_count, 3);
    for (size_t i = 0; i < 3; i++) {
        cr_expect_eq(x.air->writes[i].reg, order[i]);
    }
    /* The wait after the first write is kept. */
    cr_expect_geq(es_seconds(x.air->writes[1].at - x.air->writes[0].at), 0.02);
    finish(&x);
}

Test(station, values_are_scaled_corrected_and_age)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x);
    test_set(x.air, 0, 0, 5000); /* 5.000 bar read; the certificate says: add 0.02 bar */
    start(&x);
    begin(&x);
    cr_assert_eq(doze(&x, 0.1, &err), ES_OK, "%s", err.text);
    struct es_reading r;
    cr_assert_eq(x.site->port.read(x.site->port.self, ES_ROLE_SUPPLY_PRESSURE, &r, &err), ES_OK);
    cr_expect_eq(r.quality, ES_GOOD);
    cr_expect_float_eq(r.value, 5.02e5, 1e-3);
    struct es_channel_status c[16];
    cr_assert_eq(es_station_channels(x.station, c, 16), 7);
    cr_expect_eq(c[0].role, ES_ROLE_SUPPLY_PRESSURE);
    cr_expect(c[0].age < 0.3);
    struct es_safe_report report;
    x.site->end(x.site->self, &report);
    cr_expect(report.reached, "%s", report.sentence);
    finish(&x);
}

Test(station, a_write_is_checked_slewed_acknowledged_and_recorded)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x);
    start(&x);
    begin(&x);
    const struct es_port *p = &x.site->port;
    int handle;
    static const enum es_role roles[] = {ES_ROLE_LOOP_CURRENT, ES_ROLE_SUPPLY_PRESSURE};
    cr_assert_eq(p->record_start(p->self, "rec", roles, 2, 50, &handle, &err), ES_OK, "%s", err.text);
    cr_expect_eq(put(&x, ES_ROLE_LOOP_DEMAND, 0.0221, &err), ES_RANGE);
    cr_expect_not_null(strstr(err.text, "ceiling"));
    cr_expect_eq(put(&x, ES_ROLE_SUPPLY_VALVE, 0.5, &err), ES_RANGE);
    cr_expect_eq(put(&x, ES_ROLE_LOOP_CURRENT, 0.01, &err), ES_NOT_FOUND);
    cr_expect_eq(put(&x, ES_ROLE_LOOP_DEMAND, (double)NAN, &err), ES_RANGE);
    cr_expect_eq(test_get(x.loop, 0, 0), 0);
    cr_expect_eq(put(&x, ES_ROLE_LOOP_DEMAND, 0.012, &err), ES_OK, "%s", err.text);
    cr_expect_float_eq(test_get(x.loop, 0, 0), 12, 1e-9);
    /* 6 bar at 100 bar/s: more than one write, at most 5 bar a step of 50 ms. */
    pthread_mutex_lock(&x.air->lock);
    size_t before = x.air->write_count;
    pthread_mutex_unlock(&x.air->lock);
    cr_expect_eq(put(&x, ES_ROLE_SUPPLY_DEMAND, 6e5, &err), ES_OK, "%s", err.text);
    pthread_mutex_lock(&x.air->lock);
    cr_expect_eq(x.air->write_count - before, 2);
    cr_expect_float_eq(x.air->writes[before].raw, 5, 1e-9);
    pthread_mutex_unlock(&x.air->lock);
    cr_assert_eq(doze(&x, 0.4, &err), ES_OK, "%s", err.text);
    const struct es_trace *look = p->record_look(p->self, handle);
    cr_assert_not_null(look);
    cr_expect_gt(look->series[0].count, 10);
    struct es_trace *t;
    cr_assert_eq(p->record_stop(p->self, handle, &t, &err), ES_OK, "%s", err.text);
    cr_expect_eq(t->command_count, 3);
    cr_expect_eq(t->commands[0].role, ES_ROLE_LOOP_DEMAND);
    cr_expect_float_eq(t->commands[0].to, 0.012, 1e-12);
    const struct es_series *s = es_trace_series(t, ES_ROLE_LOOP_CURRENT);
    cr_expect_float_eq(s->y[s->count - 1], 0.012, 1e-9);
    for (size_t i = 1; i < s->count; i++) {
        cr_expect_geq(s->t[i], s->t[i - 1]);
    }
    es_trace_free(t);
    x.site->end(x.site->self, NULL);
    expect_safe(&x);
    finish(&x);
}

/* One way for a run to be taken down by the interlock, from outside. */
static void expect_trip(struct fixture *x, double wait, const char *word)
{
    struct es_error err = {0};
    es_time from = es_clock_now();
    enum es_status status = doze(x, wait, &err);
    double took = es_seconds(es_clock_now() - from);
    cr_assert_eq(status, ES_INTERLOCK, "went on for %.2f s (%s)", took, err.text);
    cr_expect_not_null(strstr(err.text, word), "says: %s", err.text);
    cr_expect_eq(put(x, ES_ROLE_SUPPLY_VALVE, 1, &err), ES_INTERLOCK, "a write went through after a trip");
    struct es_safe_report report;
    x->site->end(x->site->self, &report);
    char cause[256];
    double seconds = x->site->tripped(x->site->self, cause, sizeof cause);
    cr_expect(seconds >= 0 && seconds < 3.5, "%f s", seconds);
    cr_expect_not_null(strstr(cause, word));
    struct es_station_status s;
    es_station_status(x->station, &s);
    cr_expect_eq(s.state, ES_LOCK_TRIPPED);
}

static void drive_up(struct fixture *x)
{
    struct es_error err = {0};
    make(x);
    start(x);
    begin(x);
    cr_assert_eq(put(x, ES_ROLE_SUPPLY_VALVE, 1, &err), ES_OK, "%s", err.text);
    cr_assert_eq(put(x, ES_ROLE_LOOP_DEMAND, 0.02, &err), ES_OK, "%s", err.text);
    cr_assert_eq(doze(x, 0.1, &err), ES_OK, "%s", err.text);
}

Test(station, emergency_stop)
{
    struct fixture x;
    struct es_error err = {0};
    drive_up(&x);
    test_set(x.air, 0, 1, 0);
    expect_trip(&x, 1, "emergency stop");
    expect_safe(&x);
    /* It stays tripped until the circuit is closed again and a person has said so. */
    cr_expect_eq(es_station_reset(x.station, "Ada Example", &err), ES_INTERLOCK);
    cr_expect_eq(x.site->begin(x.site->self, &x.order, &err), ES_INTERLOCK);
    test_set(x.air, 0, 1, 1);
    es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 10);
    cr_expect_eq(es_station_reset(x.station, "Ada Example", &err), ES_OK, "%s", err.text);
    begin(&x);
    x.site->end(x.site->self, NULL);
    finish(&x);
}

Test(station, reading_beyond_the_ceiling)
{
    struct fixture x;
    drive_up(&x);
    test_set(x.air, 0, 0,
             7500); /* the regulator's ceiling is 7 bar, the reading may scatter by 5 % of that */
    expect_trip(&x, 1, "ceiling");
    expect_safe(&x);
    finish(&x);
}

Test(station, implausible_channel)
{
    struct fixture x;
    drive_up(&x);
    test_set(x.air, 0, 0, 20000); /* 20 bar: outside the plausible range, so no ceiling can judge it */
    expect_trip(&x, 2, "plausible");
    expect_safe(&x);
    finish(&x);
}

Test(station, channel_without_a_value)
{
    struct fixture x;
    drive_up(&x);
    lock_set(x.loop, &x.loop->invalid[0][1], true);
    expect_trip(&x, 2, "without a value");
    expect_safe(&x);
    finish(&x);
}

Test(station, output_that_does_not_follow)
{
    struct fixture x;
    drive_up(&x);
    lock_set(x.loop, &x.loop->ignores_writes[0], true);
    struct es_error err = {0};
    cr_expect_eq(put(&x, ES_ROLE_LOOP_DEMAND, 0.004, &err), ES_OK);
    expect_trip(&x, 2, "was told");
    struct es_station_status s;
    es_station_status(x.station, &s);
    /* The loop source does not go to its safe value either, and the report says so. */
    cr_expect_not_null(strstr(s.safe.sentence, "loop demand"), "%s", s.safe.sentence);
    cr_expect_eq(test_get(x.air, 1, 2), 0);
    finish(&x);
}

Test(station, dead_bus_leaves_the_rest_safe)
{
    struct fixture x;
    drive_up(&x);
    lock_set(x.loop, &x.loop->gone, true);
    expect_trip(&x, 4, "loop");
    cr_expect_eq(test_get(x.air, 1, 2), 0, "supply valve");
    cr_expect_eq(test_get(x.air, 1, 3), 1, "vent");
    struct es_station_status s;
    es_station_status(x.station, &s);
    cr_expect_not(s.safe.reached);
    cr_expect_not_null(strstr(s.safe.sentence, "NOT SAFE"));
    cr_expect_not_null(strstr(s.safe.sentence, "loop demand"), "%s", s.safe.sentence);
    /* The writes on the living bus did not wait for the dead one. */
    cr_expect(s.safe.steps[0].at < 0.5 && s.safe.steps[2].at < 0.5);
    struct es_bus_status b;
    es_live_bus_status(x.live, 1, &b);
    cr_expect_eq(b.state, ES_LINK_CLOSED);
    cr_expect_geq(b.hangups, 1);
    finish(&x);
}

Test(station, silent_instrument_leaves_its_neighbour_alone)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x);
    start(&x);
    x.order.needed[ES_ROLE_SUPPLY_DEMAND] = x.order.needed[ES_ROLE_SUPPLY_VALVE] = false;
    begin(&x);
    lock_set(x.air, &x.air->silent[1], true); /* the valves */
    cr_expect_eq(put(&x, ES_ROLE_SUPPLY_VALVE, 1, &err), ES_TIMEOUT);
    const struct es_port *p = &x.site->port;
    int handle;
    static const enum es_role roles[] = {ES_ROLE_SUPPLY_PRESSURE};
    cr_assert_eq(doze(&x, 0.5, &err), ES_OK, "%s", err.text);
    cr_assert_eq(p->record_start(p->self, "rec", roles, 1, 50, &handle, &err), ES_OK, "%s", err.text);
    cr_assert_eq(doze(&x, 1, &err), ES_OK, "%s", err.text);
    struct es_trace *t;
    cr_assert_eq(p->record_stop(p->self, handle, &t, &err), ES_OK);
    cr_expect_geq(t->series[0].count, 40, "%zu", t->series[0].count);
    es_trace_free(t);
    x.site->end(x.site->self, NULL);
    finish(&x);
}

Test(station, bus_comes_back)
{
    struct fixture x;
    make(&x);
    x.air->gone = true;
    start(&x);
    struct es_station_status s;
    es_station_status(x.station, &s);
    cr_expect_eq(s.state, ES_LOCK_UNKNOWN);
    cr_expect_not(s.safe.reached);
    lock_set(x.air, &x.air->gone, false);
    es_time patience = es_clock_now() + 12 * ES_NS_PER_S;
    do {
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 20);
        es_station_status(x.station, &s);
    } while (s.state != ES_LOCK_SAFE && es_clock_now() < patience);
    cr_expect_eq(s.state, ES_LOCK_SAFE, "%s", s.safe.sentence);
    expect_safe(&x);
    finish(&x);
}

Test(station, hang_up_is_no_time_out_and_is_reopened)
{
    struct fixture x;
    make(&x);
    start(&x);
    lock_set(x.loop, &x.loop->gone, true);
    es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 5);
    struct es_bus_status b;
    es_live_bus_status(x.live, 1, &b);
    cr_expect_eq(b.state, ES_LINK_CLOSED);
    cr_expect_eq(b.timeouts, 0);
    lock_set(x.loop, &x.loop->gone, false);
    es_time patience = es_clock_now() + 8 * ES_NS_PER_S;
    do {
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 20);
        es_live_bus_status(x.live, 1, &b);
    } while (b.state != ES_LINK_TRUSTED && es_clock_now() < patience);
    cr_expect_eq(b.state, ES_LINK_TRUSTED, "%s", b.text);
    finish(&x);
}

Test(station, wrong_instrument_is_not_used)
{
    struct fixture x;
    make(&x);
    free(x.bench->instruments[2].identity);
    x.bench->instruments[2].identity = strdup("serial 4711");
    start(&x);
    struct es_instrument_status in;
    es_live_instrument_status(x.live, 2, &in);
    for (int i = 0; i < 40 && in.state == ES_INSTRUMENT_UNKNOWN; i++) {
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 20);
        es_live_instrument_status(x.live, 2, &in);
    }
    cr_expect_eq(in.state, ES_INSTRUMENT_WRONG);
    struct es_error err = {0};
    cr_expect_neq(x.site->begin(x.site->self, &x.order, &err), ES_OK);
    finish(&x);
}

static void *stop_soon(void *self)
{
    struct fixture *x = self;
    es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 10);
    es_site_stop(x->site, "by Ada Example");
    return NULL;
}

Test(station, stop_wakes_a_sleeping_run)
{
    struct fixture x;
    struct es_error err = {0};
    drive_up(&x);
    pthread_t thread;
    pthread_create(&thread, NULL, stop_soon, &x);
    es_time from = es_clock_now();
    cr_expect_eq(doze(&x, 5, &err), ES_CANCELLED);
    cr_expect(es_seconds(es_clock_now() - from) < 1);
    cr_expect_not_null(strstr(err.text, "Ada Example"));
    pthread_join(thread, NULL);
    struct es_safe_report report;
    x.site->end(x.site->self, &report);
    cr_expect(report.reached);
    expect_safe(&x);
    struct es_station_status s;
    es_station_status(x.station, &s);
    cr_expect_eq(s.state, ES_LOCK_SAFE);
    finish(&x);
}

Test(station, make_safe_from_outside_ends_the_run)
{
    struct fixture x;
    struct es_error err = {0};
    drive_up(&x);
    struct es_safe_report report;
    es_station_make_safe(x.station, "asked by Ada Example", &report);
    cr_expect(report.reached);
    expect_safe(&x);
    cr_expect_eq(doze(&x, 1, &err), ES_INTERLOCK);
    x.site->end(x.site->self, NULL);
    finish(&x);
}

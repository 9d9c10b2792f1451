/* Late answers on RTU, which has no transaction number: an answer that comes after its time-out must never be
 * taken for the next one's. The server counts its requests; a value taken late is too small. Thousands of
 * reads. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>

#include "tests/support/wires/modbus_bus.h"
#include "tests/support/wires/standstill.h"

#define TIMEOUT     0.02
#define TURN_AROUND 0.06
#define STANDSTILL  0.01 /* s; beyond, an answer may come later than the server means */

struct habit {
    unsigned run; /* late answers in a row, every 100 requests */
    unsigned long late;
};

static enum server_act sometimes_late(void *self, unsigned long request)
{
    struct habit *h = self;
    if (request % 100 < 100 - h->run)
        return SERVER_ANSWER;
    h->late++;
    return SERVER_LATE;
}

struct scenario {
    enum way way;
    int reads;
    double delay; /* s, of a late answer */
    unsigned run;
    bool other_register; /* a second request of the same length to the same unit */
};

struct outcome {
    unsigned good;
    unsigned long late;
    double standstill; /* s */
    char fault[900];   /* "" when a late answer was never taken for another's */
};

static void read_all(struct test_bus *b, const struct modbus_server *server, const struct scenario *s,
                     struct outcome *out)
{
    struct es_error err;
    for (int i = 0; i < s->reads && !out->fault[0]; i++) {
        struct es_raw raw;
        struct es_stamp stamp;
        size_t request = s->other_register ? (size_t)i % 2 : 0;
        uint16_t before = server->holding[0];
        if (es_modbus_driver.read(b->bus, request, &raw, &stamp, &err) != ES_OK)
            continue;
        out->good++;
        bool right = request == 1 ? raw.value == 65535 : raw.value > before && raw.value < 65535;
        if (!right)
            snprintf(out->fault, sizeof out->fault, "read %d took a late answer: %g, at least %d", i,
                     raw.value, before + 1);
    }
    if (!out->fault[0] && out->good <= (unsigned)s->reads / 2)
        snprintf(out->fault, sizeof out->fault, "%u good of %d; the last that failed: %s", out->good,
                 s->reads, err.text);
}

static struct outcome play(const struct scenario *s)
{
    struct habit habit = {.run = s->run};
    struct modbus_server server = {.unreadable_first = -1,
                                   .unreadable_last = -1,
                                   .counting = true,
                                   .choose = sometimes_late,
                                   .choose_self = &habit,
                                   .delay = s->delay};
    struct outcome out = {0};
    struct test_bus b;
    struct es_error err;
    struct standstill *watch = standstill_watch();
    server_start(&server, way_is_tcp(s->way));
    bus_prepare(&b, &server, s->way);
    b.settings.silence = 0.0001; /* the server does not mind, and the test is short */
    b.instruments[0].timeout = TIMEOUT;
    b.instruments[0].turn_around = TURN_AROUND;
    bus_add_point(&b, 0, ES_MODBUS_HOLDING, 0, ES_MODBUS_UINT16);
    if (s->other_register)
        bus_add_point(&b, 0, ES_MODBUS_HOLDING, 100, ES_MODBUS_UINT16);
    server.holding[100] = 65535;
    cr_assert_eq(bus_open(&b, s->way, NULL, &err), ES_OK, "%s", err.text);
    read_all(&b, &server, s, &out);
    bus_close(&b);
    out.standstill = fmax(standstill_longest(watch), peer_latest(server.peer));
    server_stop(&server);
    standstill_stop(watch);
    out.late = habit.late;
    return out;
}

/* What happened while the machine stood still is played again: the server could not keep its promise. A fault
 * of the driver shows every time. */
static void read_many(enum way way, int reads, double delay, unsigned run, bool other_register)
{
    const struct scenario s = {way, reads, delay, run, other_register};
    struct outcome out = play(&s);
    for (int again = 0; again < 3 && out.fault[0] && out.standstill > STANDSTILL; again++) {
        fprintf(stderr, "played again after a standstill of %.0f ms: %s\n", out.standstill * 1000, out.fault);
        out = play(&s);
    }
    cr_assert_eq(out.fault[0], '\0', "%s (longest standstill %.0f ms)", out.fault, out.standstill * 1000);
    cr_expect_gt(out.late, (unsigned long)reads / 200, "only %lu late: the test did not test", out.late);
}

Test(late, within_the_stated_turn_around_rtu, .timeout = 160)
{
    read_many(RTU_DIRECT, 2000, 0.04, 3, false);
}

Test(late, two_registers_alike_rtu, .timeout = 160)
{
    read_many(RTU_DIRECT, 1000, 0.04, 3, true);
}

Test(late, through_a_layer_rtu, .timeout = 160)
{
    read_many(RTU_FED, 1000, 0.04, 3, true);
}

Test(late, tcp, .timeout = 160)
{
    read_many(TCP_DIRECT, 1000, 0.04, 3, true);
}

/* The bench file is wrong about the turn-around: single answers come even later, while others are being read.
 */
Test(late, beyond_the_stated_turn_around_rtu, .timeout = 160)
{
    static const double delays[] = {0.0795, 0.0805, 0.0815, 0.0825, 0.084, 0.087, 0.1, 0.15};
    for (size_t i = 0; i < sizeof delays / sizeof delays[0]; i++)
        read_many(RTU_DIRECT, 300, delays[i], 1, i % 2 == 1);
}

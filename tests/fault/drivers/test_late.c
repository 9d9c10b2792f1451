/* Late answers on RTU, which has no transaction number: an answer that comes after its time-out must never be
 * taken for the next one's. The server counts its requests; a value taken late is too small. Thousands of
 * reads. */
#include <criterion/criterion.h>

#include "tests/support/wires/modbus_bus.h"

/* Every 7th answer on the average comes late, sometimes several in a row. */
static enum server_act sometimes_late(void *self, unsigned long request)
{
    (void)self;
    uint64_t z = (request + 1) * UINT64_C(0x9e3779b97f4a7c15);
    z ^= z >> 29;
    z *= UINT64_C(0xbf58476d1ce4e5b9);
    return (z >> 33) % 20 == 0 ? SERVER_LATE : SERVER_ANSWER;
}

static void read_many(enum way way, int reads, double delay, bool other_register)
{
    struct modbus_server server = {.unreadable_first = -1,
                                   .unreadable_last = -1,
                                   .counting = true,
                                   .choose = sometimes_late,
                                   .delay = delay};
    struct test_bus b;
    struct es_error err;
    unsigned good = 0, late = 0;
    server_start(&server, way_is_tcp(way));
    bus_prepare(&b, &server, way);
    b.settings.silence = 0.0001; /* the server does not mind, and the test is short */
    b.instruments[0].timeout = 0.004;
    b.instruments[0].turn_around = 0.014;
    bus_add_point(&b, 0, ES_MODBUS_HOLDING, 0, ES_MODBUS_UINT16);
    if (other_register) /* a second request of the same length to the same unit */
        bus_add_point(&b, 0, ES_MODBUS_HOLDING, 100, ES_MODBUS_UINT16);
    cr_assert_eq(bus_open(&b, way, NULL, &err), ES_OK);
    server.holding[100] = 65535;
    for (int i = 0; i < reads; i++) {
        struct es_raw raw;
        struct es_stamp stamp;
        size_t request = other_register ? (size_t)i % 2 : 0;
        uint16_t before = server.holding[0];
        if (es_modbus_driver.read(b.bus, request, &raw, &stamp, &err) != ES_OK) {
            late++;
            continue;
        }
        good++;
        if (request == 1)
            cr_assert_eq(raw.value, 65535, "read %d took the other register's late answer", i);
        else
            cr_assert(raw.value > before && raw.value < 65535, "read %d took a late answer: %g, at least %d",
                      i, raw.value, before + 1);
    }
    cr_expect_gt(good, (unsigned)reads / 2, "%u good", good);
    cr_expect_gt(late, (unsigned)reads / 60, "only %u late: the test did not test", late);
    bus_close(&b);
    server_stop(&server);
}

Test(late, within_the_stated_turn_around_rtu, .timeout = 60)
{
    read_many(RTU_DIRECT, 3000, 0.009, false);
}

Test(late, two_registers_alike_rtu, .timeout = 60)
{
    read_many(RTU_DIRECT, 1000, 0.009, true);
}

Test(late, through_a_layer_rtu, .timeout = 60)
{
    read_many(RTU_FED, 1000, 0.009, true);
}

Test(late, tcp, .timeout = 60)
{
    read_many(TCP_DIRECT, 1000, 0.009, true);
}

/* The bench file is wrong about the turn-around: answers come even later. The re-reading in two lengths must
 * find out. */
Test(late, beyond_the_stated_turn_around_rtu, .timeout = 60)
{
    read_many(RTU_DIRECT, 1000, 0.0185, false);
}

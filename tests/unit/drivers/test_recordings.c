/* Recorded instruments, replayed through the drivers: the readings that they must give, and the requests,
 * byte for byte, that the drivers must send for them. */
#include <criterion/criterion.h>
#include <string.h>

#include "drivers/line/driver_open.h"
#include "drivers/modbus/driver_open.h"

static struct es_transport *replay(const char *name)
{
    struct es_transport *t = NULL;
    struct es_error err;
    char path[512];
    snprintf(path, sizeof path, "%s/tests/unit/drivers/recordings/%s", ES_SOURCE_DIR, name);
    cr_assert_eq(es_replay_open(path, false, &t, &err), ES_OK, "%s", err.text);
    return t;
}

static void other_stack(const char *name, int mode)
{
    const struct es_modbus_bus settings = {.mode = mode, .baud = 57600};
    const struct es_modbus_instrument instrument = {
        .unit = 17, .gap = 4, .max_registers = 125, .max_bits = 2000, .identity_count = 1};
    const struct es_instrument_common common = {
        .name = "bench", .timeout = 0.1, .turn_around = 0.01, .settings = &instrument};
    const struct es_modbus_channel channels[] = {
        {.table = ES_MODBUS_HOLDING, .address = 1000, .type = ES_MODBUS_FLOAT64, .bit = -1},
        {.table = ES_MODBUS_HOLDING,
         .address = 1006,
         .type = ES_MODBUS_INT32,
         .word_order = (char *)"low first",
         .bit = -1},
        {.table = ES_MODBUS_INPUT, .address = 30, .type = ES_MODBUS_UINT16, .bit = -1},
        {.table = ES_MODBUS_COIL, .address = 7, .type = ES_MODBUS_BIT, .bit = -1},
        {.table = ES_MODBUS_HOLDING,
         .address = 1010,
         .type = ES_MODBUS_FLOAT32,
         .bit = -1,
         .read_back = true},
    };
    static const double expected[] = {-12.625, -70000, 54321, 1, 4.25};
    struct es_point points[5];
    const struct es_request *requests;
    size_t count;
    struct es_bus *bus;
    struct es_error err;
    struct es_stamp stamp;
    for (size_t i = 0; i < 5; i++)
        points[i] = (struct es_point){0, &channels[i], i == 4};
    cr_assert_eq(es_modbus_open_on(replay(name), &settings, &common, 1, &bus, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_modbus_driver.write(bus, &points[4], 4.25, &stamp, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_modbus_driver.plan(bus, points, 5, &requests, &count, &err), ES_OK);
    for (int round = 0; round < 3; round++) {
        for (size_t r = 0; r < count; r++) {
            struct es_raw values[5];
            cr_assert_eq(es_modbus_driver.read(bus, r, values, &stamp, &err), ES_OK, "%s: %s", name,
                         err.text);
            for (size_t v = 0; v < requests[r].count; v++)
                cr_expect_eq(values[v].value, expected[requests[r].point_index[v]], "%s", name);
        }
    }
    es_modbus_driver.close(bus);
}

Test(recordings, other_stack_rtu)
{
    other_stack("other-stack-rtu.trace", ES_MODBUS_RTU);
}

Test(recordings, other_stack_tcp)
{
    other_stack("other-stack-tcp.trace", ES_MODBUS_TCP);
}

Test(recordings, loop_source)
{
    const struct es_line_bus settings = {
        .mode = ES_LINE_SERIAL, .baud = 9600, .data_bits = 8, .parity = 2, .stop_bits = 1};
    const struct es_line_instrument instrument = {
        .command_end = (char *)"\n", .answer_end = (char *)"\n", .identify = (char *)"*IDN?"};
    const struct es_instrument_common common = {
        .name = "loop source", .timeout = 0.1, .turn_around = 0.01, .settings = &instrument};
    const struct es_line_channel channel = {.ask = (char *)"MEAS:CURR?", .answer = (char *)"{number}"};
    const struct es_point point = {0, &channel, false};
    const struct es_request *requests;
    size_t count;
    struct es_bus *bus;
    struct es_error err;
    struct es_raw raw;
    struct es_stamp stamp;
    char name[128];
    cr_assert_eq(es_line_open_on(replay("loop-source.trace"), &settings, &common, 1, &bus, &err), ES_OK);
    cr_assert_eq(es_line_driver.plan(bus, &point, 1, &requests, &count, &err), ES_OK);
    cr_assert_eq(es_line_driver.probe(bus, 0, name, sizeof name, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(name, "Example Works,LOOP SOURCE,0007,1.2");
    cr_assert_eq(es_line_driver.read(bus, 0, &raw, &stamp, &err), ES_OK, "%s", err.text);
    cr_expect(raw.valid && raw.value == 12.004);
    cr_assert_eq(es_line_driver.read(bus, 0, &raw, &stamp, &err), ES_OK, "%s", err.text);
    cr_expect(raw.valid && raw.value == 0.4);
    cr_assert_eq(es_line_driver.read(bus, 0, &raw, &stamp, &err), ES_OK, "%s", err.text);
    cr_expect_not(raw.valid);
    cr_expect_eq(es_line_driver.read(bus, 0, &raw, &stamp, &err), ES_HANGUP, "the recorded line hung up: %s",
                 err.text);
    es_line_driver.close(bus);
}

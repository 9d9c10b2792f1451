/* The time stamp of a value is when the instrument took it. On a serial line that is not the middle of the
 * exchange. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "tests/support/wires/modbus_bus.h"

#define READS 21

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

/* Median of the stamp's error in seconds; *middle: of the exchange's middle. */
static double error_of(enum way way, double baud, size_t registers, double *middle)
{
    struct modbus_server server = {
        .unreadable_first = -1, .unreadable_last = -1, .baud = baud, .turn_around = 0.003};
    struct test_bus b;
    struct es_error err;
    double errors[READS], middles[READS];
    server_start(&server, way_is_tcp(way));
    bus_prepare(&b, &server, way);
    if (baud > 0)
        b.settings.baud = (long)baud;
    b.instruments[0].timeout = 1;
    for (size_t i = 0; i < registers; i++)
        bus_add_point(&b, 0, ES_MODBUS_HOLDING, (long)i, ES_MODBUS_UINT16);
    cr_assert_eq(bus_open(&b, way, NULL, &err), ES_OK, "%s", err.text);
    for (int i = -1; i < READS; i++) {
        struct es_raw values[32];
        struct es_stamp stamp;
        es_time begun = es_clock_now();
        cr_assert_eq(es_modbus_driver.read(b.bus, 0, values, &stamp, &err), ES_OK, "%s", err.text);
        es_time ended = es_clock_now();
        if (i < 0)
            continue; /* identifies first */
        cr_expect(stamp.taken >= begun && stamp.taken <= ended);
        cr_expect_gt(stamp.u_time, 0);
        errors[i] = es_seconds(stamp.taken - server.sampled);
        middles[i] = es_seconds(begun + (ended - begun) / 2 - server.sampled);
    }
    bus_close(&b);
    server_stop(&server);
    qsort(errors, READS, sizeof errors[0], compare);
    qsort(middles, READS, sizeof middles[0], compare);
    *middle = middles[READS / 2];
    return errors[READS / 2];
}

Test(stamps, on_a_paced_line_the_request_decides)
{
    double middle, error = error_of(RTU_DIRECT, 9600, 16, &middle);
    cr_expect_lt(fabs(error), 0.0003, "the stamp is %.3f ms wrong", 1000 * error);
    cr_expect_gt(middle, 0.005, "the middle of the exchange is only %.3f ms wrong: the test tests nothing",
                 1000 * middle);
}

Test(stamps, over_tcp_the_middle_with_its_half)
{
    double middle, error = error_of(TCP_DIRECT, 0, 16, &middle);
    cr_expect_lt(fabs(error), 0.003, "the stamp is %.3f ms wrong",
                 1000 * error); /* the server's turn-around */
}

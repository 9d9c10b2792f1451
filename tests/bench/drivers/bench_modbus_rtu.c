/* Modbus RTU: the share of the line's own limit that the driver reaches on a paced line, at each baud rate:
 * at least 97 %. The limit: characters of 11 bits, 3.5 characters of silence before the request and before
 * the answer, and the instrument's turn-around. The other end is a pseudo-terminal that delivers each byte at
 * its time and does not answer a request that came before its silence was over; those are counted too. Exit
 * status 1 under the bound. */
#include <stdio.h>
#include <stdlib.h>

#include "tests/support/wires/modbus_bus.h"

#define SPAN        2.5 /* s for each line */
#define TURN_AROUND 0.001

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static double share(long baud, size_t registers, unsigned *broken)
{
    struct modbus_server server = {
        .unreadable_first = -1, .unreadable_last = -1, .baud = (double)baud, .turn_around = TURN_AROUND};
    struct test_bus b;
    struct es_error err;
    struct es_raw values[64];
    struct es_stamp stamp;
    server_start(&server, false);
    bus_prepare(&b, &server, RTU_DIRECT);
    b.settings.baud = baud;
    b.instruments[0].timeout = 0.5;
    for (size_t i = 0; i < registers; i++)
        bus_add_point(&b, 0, ES_MODBUS_HOLDING, (long)i, ES_MODBUS_UINT16);
    if (bus_open(&b, RTU_DIRECT, NULL, &err) != ES_OK ||
        es_modbus_driver.read(b.bus, 0, values, &stamp, &err) != ES_OK) {
        fprintf(stderr, "%s\n", err.text);
        exit(2);
    }
    static double lengths[4096];
    unsigned before = server.short_silences;
    size_t n = 0;
    es_time start = es_clock_now(), now = start;
    for (; now - start < es_from_seconds(SPAN) && n < sizeof lengths / sizeof lengths[0]; n++) {
        es_time last = now;
        if (es_modbus_driver.read(b.bus, 0, values, &stamp, &err) != ES_OK) {
            fprintf(stderr, "%s\n", err.text);
            exit(2);
        }
        now = es_clock_now();
        lengths[n] = es_seconds(now - last);
    }
    qsort(lengths, n, sizeof lengths[0], compare);
    double each = lengths[n / 2];
    double limit =
        es_modbus_wire_time(baud, 8 + 5 + 2 * registers) + 2 * es_modbus_silence(baud) + TURN_AROUND;
    *broken = server.short_silences - before;
    printf("  %7ld %9zu %12.1f %12.1f %9.1f %% %8u\n", baud, registers, 1 / limit, 1 / each,
           100 * limit / each, *broken);
    bus_close(&b);
    server_stop(&server);
    return limit / each;
}

int main(void)
{
    static const long bauds[] = {9600, 19200, 57600, 115200};
    static const size_t sizes[] = {2, 16, 60};
    bool good = true;
    printf("RTU on a paced line, turn-around %.0f ms, bound 97 %%\n", 1000 * TURN_AROUND);
    printf("  %7s %9s %12s %12s %11s %8s\n", "baud", "registers", "limit, 1/s", "reached, 1/s", "share",
           "too soon");
    for (size_t i = 0; i < sizeof bauds / sizeof bauds[0]; i++) {
        for (size_t j = 0; j < sizeof sizes / sizeof sizes[0]; j++) {
            unsigned broken;
            good &= share(bauds[i], sizes[j], &broken) >= 0.97;
            good &= broken == 0;
        }
    }
    printf("%s\n", good ? "kept" : "NOT KEPT");
    return good ? 0 : 1;
}

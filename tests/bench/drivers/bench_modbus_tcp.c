/* Modbus TCP: how fast a 16-channel station is read, as ratios within one run.
 *
 *   1. block reads by the driver against a plain loop of single reads by the driver: at least 12 times the
 * channels
 *   2. the driver against a raw socket doing the same block reads, client and server pinned to one core, in
 * turns: at least 0.75
 *   3. a bare libmodbus loop, for comparison
 *
 * Exit status 1 under a bound. */
#include <arpa/inet.h>
#include <modbus/modbus.h>
#include <netinet/tcp.h>
#include <sched.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "drivers/modbus/modbus.h"

#define CHANNELS 16
#define ROUNDS   9
#define SPAN     0.25 /* s of each measurement */

static void need(bool good, const char *what)
{
    if (good)
        return;
    perror(what);
    exit(2);
}

static void pin(void)
{
    cpu_set_t set;
    CPU_ZERO(&set);
    CPU_SET(0, &set);
    need(sched_setaffinity(0, sizeof set, &set) == 0, "sched_setaffinity");
}

/* The least a server can do: one read, one write a request; function 03 only. */
static void serve(int listener)
{
    for (;;) {
        int fd = accept(listener, NULL, NULL);
        if (fd < 0)
            _exit(0);
        int one = 1;
        (void)setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
        pid_t child = fork();
        if (child != 0) {
            close(fd);
            continue;
        }
        uint8_t request[260], answer[260] = {0};
        while (recv(fd, request, sizeof request, 0) == 12) {
            unsigned count = request[11];
            memcpy(answer, request, 8);
            answer[4] = 0;
            answer[5] = (uint8_t)(3 + 2 * count);
            answer[8] = (uint8_t)(2 * count);
            if (send(fd, answer, 9 + 2 * count, MSG_NOSIGNAL) < 0)
                break;
        }
        _exit(0);
    }
}

static int start_server(int *port)
{
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof a;
    int listener = socket(AF_INET, SOCK_STREAM, 0);
    need(listener >= 0 && bind(listener, (struct sockaddr *)&a, sizeof a) == 0 && listen(listener, 8) == 0,
         "listen");
    need(getsockname(listener, (struct sockaddr *)&a, &size) == 0, "getsockname");
    *port = ntohs(a.sin_port);
    pid_t pid = fork();
    need(pid >= 0, "fork");
    if (pid == 0)
        serve(listener);
    close(listener);
    return pid;
}

typedef void once(void *self);

static double rate(once *f, void *self, double span)
{
    es_time start = es_clock_now(), end = start + es_from_seconds(span), now;
    unsigned long n = 0;
    do {
        for (int i = 0; i < 50; i++)
            f(self);
        n += 50;
        now = es_clock_now();
    } while (now < end);
    return (double)n / es_seconds(now - start);
}

struct station {
    struct es_bus *bus;
    size_t requests;
};

static void open_station(struct station *s, int port, long gap, long max_registers)
{
    static struct es_modbus_bus settings = {.mode = ES_MODBUS_TCP, .host = "127.0.0.1", .connect_timeout = 1};
    static struct es_modbus_instrument instruments[2];
    static struct es_modbus_channel channels[CHANNELS];
    static struct es_point points[CHANNELS];
    static int made;
    struct es_modbus_instrument *i = &instruments[made++];
    struct es_error err;
    settings.port = port;
    *i = (struct es_modbus_instrument){
        .unit = 1, .gap = gap, .max_registers = max_registers, .max_bits = 2000, .identity_count = 1};
    const struct es_instrument_common common = {
        .name = "station", .timeout = 1, .turn_around = 0.01, .settings = i};
    need(es_modbus_driver.open(&settings, &common, 1, &s->bus, &err) == ES_OK, "open");
    for (size_t c = 0; c < CHANNELS; c++) {
        channels[c] = (struct es_modbus_channel){
            .table = ES_MODBUS_HOLDING, .address = (long)(2 * c), .type = ES_MODBUS_FLOAT32, .bit = -1};
        points[c] = (struct es_point){0, &channels[c], false};
    }
    const struct es_request *requests;
    need(es_modbus_driver.plan(s->bus, points, CHANNELS, &requests, &s->requests, &err) == ES_OK, "plan");
}

static void scan_driver(void *self)
{
    struct station *s = self;
    struct es_raw values[CHANNELS];
    struct es_stamp stamp;
    struct es_error err;
    for (size_t r = 0; r < s->requests; r++)
        need(es_modbus_driver.read(s->bus, r, values, &stamp, &err) == ES_OK, err.text);
}

static void scan_raw(void *self)
{
    static const uint8_t request[12] = {0, 1, 0, 0, 0, 6, 1, 3, 0, 0, 0, 2 * CHANNELS};
    uint8_t answer[260];
    int fd = *(int *)self;
    need(send(fd, request, sizeof request, MSG_NOSIGNAL) == sizeof request, "send");
    need(recv(fd, answer, sizeof answer, 0) == 9 + 4 * CHANNELS, "recv");
}

static void scan_libmodbus(void *self)
{
    uint16_t words[2 * CHANNELS];
    need(modbus_read_registers(self, 0, 2 * CHANNELS, words) == 2 * CHANNELS, "modbus_read_registers");
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static double median(double *x, size_t n)
{
    qsort(x, n, sizeof *x, compare);
    return x[n / 2];
}

int main(void)
{
    int port;
    double block[ROUNDS], single[ROUNDS], raw[ROUNDS], bare[ROUNDS], to_single[ROUNDS], to_raw[ROUNDS],
        bare_to_raw[ROUNDS];
    struct station blocks, singles;
    pin();
    pid_t server = start_server(&port);
    open_station(&blocks, port, 8, 125);
    open_station(&singles, port, 0, 2);
    struct sockaddr_in a = {
        .sin_family = AF_INET, .sin_port = htons((uint16_t)port), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int fd = socket(AF_INET, SOCK_STREAM, 0), one = 1;
    need(fd >= 0 && connect(fd, (struct sockaddr *)&a, sizeof a) == 0, "connect");
    (void)setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    modbus_t *m = modbus_new_tcp("127.0.0.1", port);
    need(m && modbus_connect(m) == 0, "modbus_connect");
    for (int r = 0; r < ROUNDS; r++) {
        raw[r] = rate(scan_raw, &fd, SPAN);
        block[r] = rate(scan_driver, &blocks, SPAN);
        bare[r] = rate(scan_libmodbus, m, SPAN);
        single[r] = rate(scan_driver, &singles, SPAN);
        to_raw[r] = block[r] / raw[r];
        bare_to_raw[r] = bare[r] / raw[r];
        to_single[r] = block[r] / single[r];
    }
    double r1 = median(to_single, ROUNDS), r2 = median(to_raw, ROUNDS), r3 = median(bare_to_raw, ROUNDS);
    printf("16 channels (float32) over TCP, one core, median of %d rounds\n", ROUNDS);
    printf("  %-44s %9.0f scans/s\n", "driver, block read", median(block, ROUNDS));
    printf("  %-44s %9.0f scans/s\n", "driver, single reads", median(single, ROUNDS));
    printf("  %-44s %9.0f scans/s\n", "raw socket, block read", median(raw, ROUNDS));
    printf("  %-44s %9.0f scans/s\n", "libmodbus alone, block read", median(bare, ROUNDS));
    printf("  %-44s %9.2f   bound 12    %s\n", "blocks / single reads", r1, r1 >= 12 ? "kept" : "NOT KEPT");
    printf("  %-44s %9.2f   bound 0.75  %s\n", "driver / raw socket", r2, r2 >= 0.75 ? "kept" : "NOT KEPT");
    printf("  %-44s %9.2f\n", "libmodbus alone / raw socket", r3);
    es_modbus_driver.close(blocks.bus);
    es_modbus_driver.close(singles.bus);
    modbus_close(m);
    modbus_free(m);
    close(fd);
    kill(server, SIGTERM);
    return r1 >= 12 && r2 >= 0.75 ? 0 : 1;
}

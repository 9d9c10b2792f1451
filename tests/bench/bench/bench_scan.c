/* 200 scans a second of a 16-channel station over Modbus TCP, held for a minute, with the lateness of every
 * scan against its deadline; next to it, at the same time and on the same machine, a bare timer loop at the
 * same rate. The server is a plain libmodbus loop in a process of its own.
 *
 *   bench_scan [seconds]      aim: at least 99.5 % of the scans, p99 of the lateness at most 1.2 times the
 * bare loop's */
#include <arpa/inet.h>
#include <modbus/modbus.h>
#include <netinet/in.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "rig/base/text.h"
#include "rig/bench/station.h"

#define RATE     200
#define CHANNELS 16

struct times {
    double *late, *took;
    size_t count, room;
};

static struct times new_times(double seconds)
{
    struct times t = {.room = (size_t)(seconds * RATE * 1.1) + 1000};
    t.late = calloc(t.room, sizeof *t.late);
    t.took = calloc(t.room, sizeof *t.took);
    if (!t.late || !t.took) {
        exit(1);
    }
    return t;
}

/* ---- The server ---- */

static void serve(int listener)
{
    modbus_t *m = modbus_new_tcp("127.0.0.1", 0);
    modbus_mapping_t *map = modbus_mapping_new(32, 32, 128, 128);
    uint8_t request[MODBUS_TCP_MAX_ADU_LENGTH];
    if (!m || !map) {
        _exit(1);
    }
    map->tab_input_bits[0] = 1;
    for (;;) {
        modbus_set_socket(m, accept(listener, NULL, NULL));
        int length;
        while ((length = modbus_receive(m, request)) >= 0) {
            if (length > 0 && modbus_reply(m, request, length, map) < 0) {
                break;
            }
        }
        close(modbus_get_socket(m));
    }
}

static pid_t start_server(int *port)
{
    int listener = socket(AF_INET, SOCK_STREAM, 0);
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof a;
    if (listener < 0 || bind(listener, (struct sockaddr *)&a, sizeof a) || listen(listener, 4) ||
        getsockname(listener, (struct sockaddr *)&a, &size)) {
        perror("server");
        exit(1);
    }
    *port = ntohs(a.sin_port);
    pid_t pid = fork();
    if (pid == 0) {
        serve(listener);
    }
    close(listener);
    return pid;
}

/* ---- The bench: 16 inputs in one block, one output ---- */

static struct es_bench *make_bench(int port)
{
    static const enum es_role roles[CHANNELS] = {ES_ROLE_SUPPLY_PRESSURE,   ES_ROLE_OUTPUT_1_PRESSURE,
                                                 ES_ROLE_OUTPUT_2_PRESSURE, ES_ROLE_OUTPUT_1_FLOW,
                                                 ES_ROLE_OUTPUT_2_FLOW,     ES_ROLE_TRAVEL,
                                                 ES_ROLE_SHAFT_ANGLE,       ES_ROLE_SENSOR_RATIO,
                                                 ES_ROLE_LOOP_CURRENT,      ES_ROLE_LOOP_VOLTAGE,
                                                 ES_ROLE_FEEDBACK_CURRENT,  ES_ROLE_AMBIENT_TEMPERATURE,
                                                 ES_ROLE_AMBIENT_PRESSURE,  ES_ROLE_AMBIENT_HUMIDITY,
                                                 ES_ROLE_SUPPLY_DEW_POINT,  ES_ROLE_GUARD};
    struct es_text t = {0};
    struct es_findings f = {0};
    struct es_error err;
    struct es_document *doc;
    struct es_bench *bench;
    es_text_printf(
        &t,
        "{\"endstop\":\"bench/1\",\"name\":\"b\",\"place\":\"p\",\"buses\":[{\"name\":\"b\",\"driver\":"
        "\"modbus\",\"settings\":{\"mode\":\"tcp\",\"host\":\"127.0.0.1\",\"port\":%d}}],"
        "\"instruments\":[{\"name\":\"i\",\"bus\":\"b\"}],\"stations\":[{\"name\":\"1\",\"channels\":[",
        port);
    for (int i = 0; i < CHANNELS; i++) {
        const struct es_role_info *r = es_role_info(roles[i]);
        const char *unit = es_dimension_unit(r->dimension)->name;
        es_text_printf(&t,
                       "{\"role\":\"%s\",\"instrument\":\"i\",\"rate\":\"%d Hz\",\"address\":{\"table\":"
                       "\"input register\",\"address\":%d,\"type\":\"%s\"%s}",
                       r->name, RATE, 2 * i, r->is_state ? "bit" : "float32",
                       r->is_state ? ",\"bit\":0" : "");
        if (!r->is_state) {
            es_text_printf(&t, ",\"unit\":\"%s\",\"plausible\":{\"low\":\"-1000 %s\",\"high\":\"1000 %s\"}",
                           unit, unit, unit);
        }
        es_text_add(&t, "},");
    }
    es_text_add(
        &t,
        "{\"role\":\"supply valve\",\"instrument\":\"i\",\"address\":{\"table\":\"coil\",\"address\":0}}],"
        "\"ceilings\":[],\"safe state\":{\"within\":\"1 s\",\"writes\":[{\"role\":\"supply valve\","
        "\"value\":0}]}}]}");
    if (es_document_parse("bench", t.bytes, t.length, &f, &doc, &err) != ES_OK ||
        es_bench_from_document(doc, &f, &bench, &err) != ES_OK) {
        es_findings_print(&f, stderr);
        exit(1);
    }
    es_document_free(doc);
    es_text_free(&t);
    return bench;
}

/* ---- The two loops ---- */

static void scanned(void *self, size_t bus, es_time due, es_time began, es_time ended)
{
    struct times *t = self;
    (void)bus;
    if (t->count < t->room) {
        t->took[t->count] = es_seconds(ended - began);
        t->late[t->count++] = es_seconds(began - due);
    }
}

struct bare {
    struct times times;
    es_time until;
};

static void *bare_loop(void *self)
{
    struct bare *b = self;
    es_time next = es_clock_now() + ES_NS_PER_S / RATE / 2;
    while (next < b->until && b->times.count < b->times.room) {
        struct timespec at = {(time_t)(next / ES_NS_PER_S), (long)(next % ES_NS_PER_S)};
        clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, NULL);
        b->times.late[b->times.count++] = es_seconds(es_clock_now() - next);
        next += ES_NS_PER_S / RATE;
    }
    return NULL;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double percentile(double *sorted, size_t count, double p)
{
    return sorted[(size_t)(p / 100 * (double)(count - 1))] * 1e6;
}

static void show(const char *name, double *values, size_t count)
{
    qsort(values, count, sizeof *values, by_value);
    printf("%-22s %8zu   %8.0f %8.0f %8.0f %8.0f %8.0f\n", name, count, percentile(values, count, 50),
           percentile(values, count, 90), percentile(values, count, 99), percentile(values, count, 99.9),
           values[count - 1] * 1e6);
}

int main(int argc, char **argv)
{
    double seconds = argc > 1 ? strtod(argv[1], NULL) : 60;
    struct times scans = new_times(seconds);
    struct bare bare = {.times = new_times(seconds)};
    struct es_live_options options = {.scanned = scanned, .scanned_self = &scans};
    struct es_error err;
    struct es_live *live;
    pthread_t thread;
    int port;
    pid_t server = start_server(&port);
    struct es_bench *bench = make_bench(port);
    if (es_live_open(bench, &options, &live, &err) != ES_OK) {
        fprintf(stderr, "%s\n", err.text);
        kill(server, SIGKILL);
        return 1;
    }
    es_clock_sleep_until(es_clock_now() + ES_NS_PER_S);
    size_t first = scans.count;
    es_time from = es_clock_now();
    bare.until = from + es_from_seconds(seconds);
    pthread_create(&thread, NULL, bare_loop, &bare);
    pthread_join(thread, NULL);
    size_t last = scans.count;
    struct timespec cpu;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &cpu);
    struct es_bus_status status;
    es_live_bus_status(live, 0, &status);
    es_live_close(live);
    kill(server, SIGKILL);
    waitpid(server, NULL, 0);

    size_t count = last - first;
    double expected = seconds * RATE;
    printf("%d channels in one request, %d scans a second for %.0f s over Modbus TCP to a process on this "
           "machine\n\n",
           CHANNELS, RATE, seconds);
    printf("lateness, us              count        p50      p90      p99    p99.9      max\n");
    show("scan", scans.late + first, count);
    show("bare timer loop", bare.times.late, bare.times.count);
    show("exchange itself", scans.took + first, count);
    double ratio =
        percentile(scans.late + first, count, 99) / percentile(bare.times.late, bare.times.count, 99);
    printf("\nscans held: %.2f %% of %.0f; time-outs %llu; p99 scan / p99 bare = %.2f (aim at most 1.2)\n",
           100 * (double)count / expected, expected, (unsigned long long)status.timeouts, ratio);
    printf("processor: %.1f %% of one core (both loops)\n",
           100 * ((double)cpu.tv_sec + (double)cpu.tv_nsec * 1e-9) / (seconds + 1));
    es_bench_free(bench);
    free(scans.late);
    free(scans.took);
    free(bare.times.late);
    free(bare.times.took);
    return (double)count >= 0.995 * expected && ratio <= 1.2 ? 0 : 1;
}

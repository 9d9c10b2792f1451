#include <arpa/inet.h>
#include <criterion/criterion.h>
#include <fcntl.h>
#include <pthread.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include "drivers/transport/transport.h"
#include "tests/support/wires/peer.h"

static size_t swallow(void *self, struct peer *p, const uint8_t *bytes, size_t count, es_time arrived)
{
    (void)self;
    (void)p;
    (void)bytes;
    (void)arrived;
    return count;
}

static es_time in(double s)
{
    return es_clock_now() + es_from_seconds(s);
}

static struct es_transport *open_to(struct peer *p, bool tcp)
{
    struct es_transport *t;
    struct es_error err;
    const struct es_serial_settings s = {peer_path(p), NULL, 9600, 8, ES_PARITY_NONE, 1, ES_FLOW_NONE};
    enum es_status status =
        tcp ? es_tcp_open("127.0.0.1", peer_port(p), 1, &t, &err) : es_serial_open(&s, &t, &err);
    cr_assert_eq(status, ES_OK, "%s", err.text);
    return t;
}

#define BOTH(tcp) for (int tcp = 0; tcp < 2; tcp++)

Test(transport, silence_is_a_timeout_at_the_deadline)
{
    BOTH(tcp)
    {
        struct peer *p = peer_start(tcp ? PEER_TCP : PEER_TERMINAL, swallow, NULL);
        struct es_transport *t = open_to(p, tcp);
        uint8_t byte = 77;
        size_t got = 55;
        struct es_error err;
        es_time begun = es_clock_now();
        cr_expect_eq(es_transport_read(t, &byte, 1, in(0.05), &got, &err), ES_TIMEOUT);
        double taken = es_seconds(es_clock_now() - begun);
        cr_expect(taken >= 0.05 && taken < 0.5, "%g s", taken);
        cr_expect(byte == 77 && got == 55, "out-parameters are left");
        cr_expect_eq(es_transport_wait(t, 0, &err), ES_TIMEOUT, "a deadline that has passed");
        es_transport_close(t);
        peer_stop(p);
    }
}

Test(transport, hangup_is_no_timeout)
{
    BOTH(tcp)
    {
        struct peer *p = peer_start(tcp ? PEER_TCP : PEER_TERMINAL, swallow, NULL);
        struct es_transport *t = open_to(p, tcp);
        uint8_t byte;
        size_t got;
        struct es_error err;
        cr_expect_eq(es_transport_write(t, (const uint8_t *)"x", 1, in(1), &err), ES_OK);
        usleep(20000);
        peer_drop(p);
        cr_expect_eq(es_transport_read(t, &byte, 1, in(5), &got, &err), ES_HANGUP, "%s", err.text);
        cr_expect_eq(es_transport_flush(t, &err), ES_HANGUP, "%s", err.text);
        es_transport_close(t);
        peer_stop(p);
    }
}

Test(transport, bytes_before_a_hangup_are_read_first)
{
    struct peer *p = peer_start(PEER_TCP, swallow, NULL);
    struct es_transport *t = open_to(p, true);
    uint8_t bytes[8];
    size_t got;
    struct es_error err;
    usleep(20000);
    peer_noise(p, (const uint8_t *)"last", 4);
    peer_drop(p);
    usleep(20000);
    cr_expect_eq(es_transport_read(t, bytes, sizeof bytes, in(1), &got, &err), ES_OK, "%s", err.text);
    cr_expect_eq(got, 4);
    cr_expect_eq(es_transport_read(t, bytes, sizeof bytes, in(1), &got, &err), ES_HANGUP);
    es_transport_close(t);
    peer_stop(p);
}

Test(transport, settle_waits_for_quiet_and_throws_away)
{
    BOTH(tcp)
    {
        struct peer *p = peer_start(tcp ? PEER_TCP : PEER_TERMINAL, swallow, NULL);
        struct es_transport *t = open_to(p, tcp);
        struct es_error err;
        size_t discarded = 0;
        usleep(20000);
        peer_noise(p, (const uint8_t *)"0123456789", 10);
        es_time begun = es_clock_now();
        cr_expect_eq(es_transport_settle(t, 0.05, in(1), &discarded, &err), ES_OK, "%s", err.text);
        cr_expect_eq(discarded, 10);
        cr_expect_geq(es_seconds(es_clock_now() - begun), 0.05);
        es_transport_close(t);
        peer_stop(p);
    }
}

static void *babble(void *self)
{
    for (int i = 0; i < 60; i++) {
        peer_noise(self, (const uint8_t *)"zz", 2);
        usleep(5000);
    }
    return NULL;
}

Test(transport, a_line_that_is_never_quiet_is_garbled)
{
    struct peer *p = peer_start(PEER_TERMINAL, swallow, NULL);
    struct es_transport *t = open_to(p, false);
    struct es_error err;
    pthread_t thread;
    cr_assert_eq(pthread_create(&thread, NULL, babble, p), 0);
    cr_expect_eq(es_transport_settle(t, 0.05, in(0.15), NULL, &err), ES_GARBLED, "%s", err.text);
    pthread_join(thread, NULL);
    es_transport_close(t);
    peer_stop(p);
}

Test(transport, tcp_nobody_there)
{
    struct peer *p = peer_start(PEER_TCP, swallow, NULL);
    struct es_transport *t = NULL;
    struct es_error err;
    int port = peer_port(p);
    peer_stop(p);
    cr_expect_eq(es_tcp_open("127.0.0.1", port, 1, &t, &err), ES_IO);
    cr_expect_not_null(strstr(err.text, "cannot be reached"), "%s", err.text);
    cr_expect_null(t);
}

/* A listener whose queue is full leaves a connection unanswered. */
Test(transport, tcp_connect_that_is_not_answered_times_out)
{
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof a;
    int listener = socket(AF_INET, SOCK_STREAM, 0), queued[8];
    cr_assert_eq(bind(listener, (struct sockaddr *)&a, sizeof a), 0);
    cr_assert_eq(listen(listener, 0), 0);
    cr_assert_eq(getsockname(listener, (struct sockaddr *)&a, &size), 0);
    for (int i = 0; i < 8; i++) {
        queued[i] = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
        (void)connect(queued[i], (struct sockaddr *)&a, sizeof a);
    }
    usleep(20000);
    struct es_transport *t = NULL;
    struct es_error err;
    es_time begun = es_clock_now();
    cr_expect_eq(es_tcp_open("127.0.0.1", ntohs(a.sin_port), 0.1, &t, &err), ES_TIMEOUT, "%s", err.text);
    cr_expect_lt(es_seconds(es_clock_now() - begun), 1.0);
    for (int i = 0; i < 8; i++)
        close(queued[i]);
    close(listener);
}

Test(transport, unknown_hosts_and_ports_have_clear_words)
{
    struct es_transport *t;
    struct es_error err;
    const struct es_serial_settings gone = {"/dev/no-such-port", NULL, 9600,        8,
                                            ES_PARITY_NONE,      1,    ES_FLOW_NONE};
    const struct es_serial_settings none = {NULL, NULL, 9600, 8, ES_PARITY_NONE, 1, ES_FLOW_NONE};
    const struct es_serial_settings nobody = {NULL, "no-such-adapter", 9600, 8, ES_PARITY_NONE,
                                              1,    ES_FLOW_NONE};
    const struct es_serial_settings file = {"/dev/null", NULL, 9600, 8, ES_PARITY_NONE, 1, ES_FLOW_NONE};
    cr_expect_eq(es_serial_open(&gone, &t, &err), ES_HANGUP);
    cr_expect_not_null(strstr(err.text, "/dev/no-such-port is not there"), "%s", err.text);
    cr_expect_eq(es_serial_open(&none, &t, &err), ES_USAGE);
    cr_expect_neq(es_serial_open(&nobody, &t, &err), ES_OK);
    cr_expect_neq(es_serial_open(&file, &t, &err), ES_OK);
    cr_expect_not_null(strstr(err.text, "/dev/null"), "%s", err.text);
}

/* libmodbus waits with select, which a larger descriptor would corrupt: refused instead. */
Test(transport, descriptors_beyond_select_are_refused)
{
    struct rlimit limit = {2048, 2048};
    struct peer *p = peer_start(PEER_TCP, swallow, NULL);
    struct es_transport *t;
    struct es_error err;
    if (setrlimit(RLIMIT_NOFILE, &limit) != 0)
        cr_skip_test("the system does not allow 2048 open files");
    for (int fd = 0; fd < 1024; fd++)
        if (fcntl(fd, F_GETFD) < 0)
            cr_assert_eq(dup2(STDERR_FILENO, fd), fd);
    cr_expect_eq(es_tcp_open("127.0.0.1", peer_port(p), 1, &t, &err), ES_IO);
    cr_expect_not_null(strstr(err.text, "too many files"), "%s", err.text);
}

Test(faults, are_the_same_for_the_same_seed)
{
    unsigned long counts[2][ES_FAULT_COUNT];
    const struct es_fault_plan plan = {.seed = 42,
                                       .probability = {[ES_FAULT_DROP] = 0.3, [ES_FAULT_CORRUPT] = 0.3}};
    for (int i = 0; i < 2; i++) {
        struct peer *p = peer_start(PEER_TCP, swallow, NULL);
        struct es_transport *t = es_fault_wrap(open_to(p, true), &plan);
        struct es_error err;
        for (int n = 0; n < 200; n++)
            cr_assert_eq(es_transport_write(t, (const uint8_t *)"x", 1, in(1), &err), ES_OK);
        es_fault_counts(t, counts[i]);
        es_transport_close(t);
        peer_stop(p);
    }
    cr_expect_arr_eq(counts[0], counts[1], sizeof counts[0]);
    cr_expect(counts[0][ES_FAULT_DROP] > 30 && counts[0][ES_FAULT_CORRUPT] > 30 &&
              counts[0][ES_FAULT_NONE] > 30);
}

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "drivers/transport/trace_text.h"
#include "drivers/transport/transport.h"
#include "tests/support/wires/peer.h"

static struct es_trace_event event;

static enum es_status parse(const char *line)
{
    struct es_error err;
    return es_trace_parse(line, strlen(line), &event, &err);
}

Test(trace, lines)
{
    cr_expect_eq(parse("0.012345 > 01 0a FF"), ES_OK);
    cr_expect_eq(event.kind, ES_TRACE_WRITTEN);
    cr_expect_float_eq(event.time, 0.012345, 1e-9);
    cr_expect_eq(event.count, 3);
    cr_expect_arr_eq(event.bytes, "\x01\x0A\xFF", 3);
    cr_expect_eq(parse("3 !"), ES_OK);
    cr_expect_eq(event.kind, ES_TRACE_HANGUP);
    cr_expect_eq(parse("# words"), ES_OK);
    cr_expect_eq(event.kind, ES_TRACE_REMARK);
    cr_expect_eq(parse(""), ES_OK);
    static const char *const bad[] = {"x",      "1",      "1 >",     "1 > 1",  "1 > 0g",
                                      "1 ! 00", "1 ? 00", "1. > 00", "-1 > 00"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_eq(parse(bad[i]), ES_BAD_INPUT, "\"%s\" was taken", bad[i]);
}

Test(trace, text_and_back)
{
    uint8_t bytes[300];
    char text[1000];
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (uint8_t)i;
    size_t n = es_trace_format(ES_TRACE_READ, 12.5, bytes, sizeof bytes, text, sizeof text);
    cr_expect_eq(text[n - 1], '\n');
    text[n - 1] = '\0';
    cr_expect_eq(parse(text), ES_OK);
    cr_expect_eq(event.count, sizeof bytes);
    cr_expect_arr_eq(event.bytes, bytes, sizeof bytes);
}

static size_t echo(void *self, struct peer *p, const uint8_t *bytes, size_t count, es_time arrived)
{
    (void)self;
    peer_send(p, bytes, count, arrived);
    return count;
}

static es_time soon(void)
{
    return es_clock_now() + ES_NS_PER_S;
}

static void say(struct es_transport *t, const char *text)
{
    char answer[64] = "";
    size_t have = 0, got;
    struct es_error err;
    cr_assert_eq(es_transport_write(t, (const uint8_t *)text, strlen(text), soon(), &err), ES_OK, "%s",
                 err.text);
    while (have < strlen(text)) {
        cr_assert_eq(es_transport_read(t, (uint8_t *)answer + have, sizeof answer - have, soon(), &got, &err),
                     ES_OK, "%s", err.text);
        have += got;
    }
    cr_expect_str_eq(answer, text);
}

/* What the trace wrote, the replay plays: the same talk, without the other end. */
Test(trace, is_the_replays_format)
{
    char path[] = "/tmp/es-trace-XXXXXX";
    close(mkstemp(path));
    struct peer *p = peer_start(PEER_TCP, echo, NULL);
    struct es_transport *t;
    struct es_error err;
    cr_assert_eq(es_tcp_open("127.0.0.1", peer_port(p), 1, &t, &err), ES_OK);
    cr_assert_eq(es_trace_open(t, path, &t, &err), ES_OK);
    say(t, "one");
    say(t, "another");
    es_transport_close(t);
    peer_stop(p);
    for (int paced = 0; paced < 2; paced++) {
        cr_assert_eq(es_replay_open(path, paced, &t, &err), ES_OK, "%s", err.text);
        say(t, "one");
        say(t, "another");
        uint8_t byte;
        size_t got;
        cr_expect_eq(es_transport_read(t, &byte, 1, soon(), &got, &err), ES_TIMEOUT);
        es_transport_close(t);
    }
    cr_assert_eq(es_replay_open(path, false, &t, &err), ES_OK);
    cr_expect_eq(es_transport_write(t, (const uint8_t *)"two", 3, soon(), &err), ES_GARBLED);
    cr_expect_not_null(strstr(err.text, "74 77 6f"), "%s", err.text);
    es_transport_close(t);
    unlink(path);
}

Test(trace, a_bad_trace_is_named_with_its_line)
{
    char path[] = "/tmp/es-trace-XXXXXX";
    int fd = mkstemp(path);
    cr_assert_eq(write(fd, "0 > 01\n1 < 0z\n", 14), 14);
    close(fd);
    struct es_transport *t;
    struct es_error err;
    cr_expect_eq(es_replay_open(path, false, &t, &err), ES_BAD_INPUT);
    cr_expect_not_null(strstr(err.text, ":2: column 5"), "%s", err.text);
    unlink(path);
}

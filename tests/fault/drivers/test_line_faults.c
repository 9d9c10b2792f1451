/* The line driver against an instrument of text lines that answers rightly or wrongly. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "drivers/line/driver_open.h"
#include "tests/support/wires/peer.h"

enum act { ANSWER, SILENT, LATE, TRUNCATE, GARBAGE, TWICE, HANGUP, OTHER };

struct source {
    struct peer *peer;
    enum act next; /* of the next command that is answered; then ANSWER */
    double delay;
    bool echo, counting;
    char name[40];
    double value;
    unsigned asked, settings;
    char error[40];
};

static size_t one_command(struct source *s, struct peer *p, const char *line, es_time arrived)
{
    char answer[80] = "";
    if (strcmp(line, "*IDN?") == 0) {
        snprintf(answer, sizeof answer, "%s\n", s->name);
    } else if (strcmp(line, "CURR?") == 0) {
        s->asked++;
        snprintf(answer, sizeof answer, "%.4f\n", s->counting ? s->asked : s->value);
    } else if (strcmp(line, "BOTH?") == 0) {
        snprintf(answer, sizeof answer, "A %.3f, V %.3f\n", s->value, 2 * s->value);
    } else if (strcmp(line, "ERR?") == 0) {
        snprintf(answer, sizeof answer, "%s\n", s->error);
    } else if (sscanf(line, "CURR %lf", &s->value) == 1) {
        s->settings++;
        if (s->value > 22)
            s->value = 22;
        return 0;
    } else {
        return 0;
    }
    enum act act = s->next;
    s->next = ANSWER;
    size_t n = strlen(answer);
    es_time due = arrived;
    switch (act) {
    case SILENT:
        return 0;
    case HANGUP:
        return SIZE_MAX;
    case LATE:
        due += es_from_seconds(s->delay);
        break;
    case TRUNCATE:
        n /= 2;
        break;
    case GARBAGE:
        peer_send(p, (const uint8_t *)"\x81\x02#", 3, arrived);
        break;
    case TWICE:
        peer_send(p, (const uint8_t *)answer, n, arrived);
        due += es_from_seconds(0.003);
        break;
    case OTHER:
        n = (size_t)snprintf(answer, sizeof answer, "BUSY\n");
        break;
    default:
        break;
    }
    peer_send(p, (const uint8_t *)answer, n, due);
    return 0;
}

static size_t received(void *self, struct peer *p, const uint8_t *bytes, size_t count, es_time arrived)
{
    struct source *s = self;
    const uint8_t *end = memchr(bytes, '\n', count);
    if (!end)
        return 0;
    char line[80];
    snprintf(line, sizeof line, "%.*s", (int)(end - bytes), (const char *)bytes);
    if (s->echo)
        peer_send(p, bytes, (size_t)(end - bytes) + 1, arrived);
    return one_command(s, p, line, arrived) == SIZE_MAX ? SIZE_MAX : (size_t)(end - bytes) + 1;
}

struct bench {
    struct source source;
    struct es_line_bus settings;
    struct es_line_instrument instrument;
    struct es_instrument_common common;
    struct es_line_channel channels[4];
    struct es_point points[4];
    struct es_bus *bus;
    const struct es_request *requests;
    size_t request_count;
    struct es_error err;
};

static void prepare(struct bench *t, bool tcp)
{
    memset(t, 0, sizeof *t);
    strcpy(t->source.name, "Example Works,SOURCE,0007,1.0");
    strcpy(t->source.error, "0,\"no error\"");
    t->source.value = 4.25;
    t->source.peer = peer_start(tcp ? PEER_TCP : PEER_TERMINAL, received, &t->source);
    t->settings = (struct es_line_bus){.mode = tcp ? ES_LINE_TCP : ES_LINE_SERIAL,
                                       .baud = 115200,
                                       .data_bits = 8,
                                       .parity = ES_PARITY_NONE,
                                       .stop_bits = 1,
                                       .host = "127.0.0.1",
                                       .port = peer_port(t->source.peer)};
    if (!tcp)
        t->settings.device = (char *)peer_path(t->source.peer);
    t->instrument = (struct es_line_instrument){
        .command_end = "\n", .answer_end = "\n", .identify = "*IDN?", .error_free = "0,{any}"};
    t->common = (struct es_instrument_common){
        .name = "loop source", .timeout = 0.04, .turn_around = 0.06, .settings = &t->instrument};
    t->channels[0] =
        (struct es_line_channel){.ask = "CURR?", .answer = "{number}", .set = "CURR {value}", .digits = 4};
    t->channels[1] = (struct es_line_channel){.ask = "BOTH?", .answer = "A {number}, {any}"};
    t->channels[2] = (struct es_line_channel){.ask = "BOTH?", .answer = "{any}, V {number}"};
    for (size_t i = 0; i < 3; i++)
        t->points[i] = (struct es_point){0, &t->channels[i], i == 0};
}

static void open_bus(struct bench *t)
{
    cr_assert_eq(es_line_driver.open(&t->settings, &t->common, 1, &t->bus, &t->err), ES_OK, "%s",
                 t->err.text);
    cr_assert_eq(es_line_driver.plan(t->bus, t->points, 3, &t->requests, &t->request_count, &t->err), ES_OK);
}

static void tear_down(struct bench *t)
{
    es_line_driver.close(t->bus);
    peer_stop(t->source.peer);
}

static enum es_status read_request(struct bench *t, size_t request, double *value)
{
    struct es_raw raw[4] = {{-1, false}};
    struct es_stamp stamp;
    enum es_status status = es_line_driver.read(t->bus, request, raw, &stamp, &t->err);
    *value = raw[0].value;
    return status;
}

static void expect_reads(struct bench *t)
{
    double value;
    cr_assert_eq(read_request(t, 0, &value), ES_OK, "%s", t->err.text);
    cr_assert_eq(value, 4.25);
}

#define BOTH(tcp) for (int tcp = 0; tcp < 2; tcp++)

Test(line, reads_identifies_and_shares_one_answer)
{
    BOTH(tcp)
    {
        struct bench t;
        char name[128];
        struct es_raw raw[4];
        struct es_stamp stamp;
        prepare(&t, tcp);
        open_bus(&t);
        cr_expect_eq(es_line_driver.probe(t.bus, 0, name, sizeof name, &t.err), ES_OK, "%s", t.err.text);
        cr_expect_str_eq(name, "Example Works,SOURCE,0007,1.0");
        cr_expect_eq(t.request_count, 2, "two channels of one command share a request");
        expect_reads(&t);
        es_time begun = es_clock_now();
        cr_assert_eq(es_line_driver.read(t.bus, 1, raw, &stamp, &t.err), ES_OK, "%s", t.err.text);
        cr_expect(raw[0].value == 4.25 && raw[1].value == 8.5);
        cr_expect(stamp.taken >= begun && stamp.taken <= es_clock_now() && stamp.u_time > 0);
        tear_down(&t);
    }
}

Test(line, each_fault_has_its_status_and_heals)
{
    static const struct {
        enum act act;
        enum es_status status;
    } rows[] = {{SILENT, ES_TIMEOUT},
                {TRUNCATE, ES_TIMEOUT},
                {LATE, ES_TIMEOUT},
                {GARBAGE, ES_GARBLED},
                {OTHER, ES_GARBLED}};
    BOTH(tcp)
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct bench t;
        double value;
        prepare(&t, tcp);
        t.source.delay = 0.06;
        open_bus(&t);
        expect_reads(&t);
        t.source.next = rows[i].act;
        cr_expect_eq(read_request(&t, 0, &value), rows[i].status, "fault %d: %s", rows[i].act, t.err.text);
        cr_expect_not_null(strstr(t.err.text, "loop source"), "%s", t.err.text);
        expect_reads(&t);
        tear_down(&t);
    }
}

Test(line, late_answers_are_never_the_next_ones)
{
    struct bench t;
    unsigned good = 0;
    prepare(&t, false);
    t.source.counting = true;
    t.common.timeout = 0.004;
    t.common.turn_around = 0.014;
    t.source.delay = 0.009;
    open_bus(&t);
    for (int i = 0; i < 1500; i++) {
        double value;
        unsigned before = t.source.asked;
        t.source.next = i % 13 == 5 ? LATE : ANSWER;
        if (read_request(&t, 0, &value) != ES_OK)
            continue;
        good++;
        cr_assert_eq(value, before + 1, "read %d gave %g instead of %u", i, value, before + 1);
    }
    cr_expect_gt(good, 1000);
    tear_down(&t);
}

Test(line, an_answer_given_twice_is_not_the_next_ones)
{
    struct bench t;
    prepare(&t, false);
    t.source.counting = true;
    open_bus(&t);
    for (int i = 0; i < 20; i++) {
        double value;
        unsigned before = t.source.asked;
        t.source.next = TWICE;
        enum es_status status = read_request(&t, 0, &value);
        cr_assert(status == ES_OK || status == ES_GARBLED, "%s", t.err.text); /* when both come at once */
        if (status == ES_OK)
            cr_assert_eq(value, t.source.asked, "the earlier answer was taken: %g", value);
        cr_assert_leq(t.source.asked, before + 1);
        usleep(5000);
    }
    tear_down(&t);
}

Test(line, hangup_heals)
{
    BOTH(tcp)
    {
        struct bench t;
        double value;
        char link[] = "/tmp/es-line-XXXXXX";
        close(mkstemp(link));
        unlink(link);
        prepare(&t, tcp);
        if (!tcp) {
            cr_assert_eq(symlink(peer_path(t.source.peer), link), 0);
            t.settings.device = link;
        }
        open_bus(&t);
        expect_reads(&t);
        unlink(link);
        peer_drop(t.source.peer);
        cr_expect_eq(read_request(&t, 0, &value), ES_HANGUP, "%s", t.err.text);
        if (!tcp) {
            cr_expect_eq(read_request(&t, 0, &value), ES_HANGUP, "%s", t.err.text);
            cr_assert_eq(symlink(peer_path(t.source.peer), link), 0);
        }
        expect_reads(&t);
        unlink(link);
        tear_down(&t);
    }
}

Test(line, another_instrument_is_not_read)
{
    struct bench t;
    double value;
    prepare(&t, false);
    open_bus(&t);
    expect_reads(&t);
    t.source.next = SILENT;
    cr_expect_eq(read_request(&t, 0, &value), ES_TIMEOUT);
    strcpy(t.source.name, "Example Works,SOURCE,0008,1.0");
    cr_expect_eq(read_request(&t, 0, &value), ES_GARBLED);
    cr_expect_not_null(strstr(t.err.text, "another instrument answers"), "%s", t.err.text);
    strcpy(t.source.name, "Example Works,SOURCE,0007,1.0");
    expect_reads(&t);
    tear_down(&t);
}

Test(line, echo_is_taken_off)
{
    BOTH(tcp)
    {
        struct bench t;
        prepare(&t, tcp);
        t.source.echo = t.settings.echo = true;
        open_bus(&t);
        for (int i = 0; i < 10; i++)
            expect_reads(&t);
        tear_down(&t);
    }
}

Test(line, writes_are_proved)
{
    BOTH(tcp)
    {
        struct bench t;
        struct es_stamp acted;
        prepare(&t, tcp);
        t.instrument.error_query = "ERR?";
        t.channels[0].read_back = "CURR?";
        open_bus(&t);
        cr_expect_eq(es_line_driver.write(t.bus, &t.points[0], 12.34567, &acted, &t.err), ES_OK, "%s",
                     t.err.text);
        cr_expect_float_eq(t.source.value, 12.3457, 1e-9);
        cr_expect_eq(es_line_driver.write(t.bus, &t.points[0], 23, &acted, &t.err), ES_REFUSED);
        cr_expect_not_null(strstr(t.err.text, "22 is read back"), "%s", t.err.text);
        strcpy(t.source.error, "-222,\"out of range\"");
        cr_expect_eq(es_line_driver.write(t.bus, &t.points[0], 5, &acted, &t.err), ES_REFUSED);
        cr_expect_not_null(strstr(t.err.text, "-222"), "%s", t.err.text);
        cr_expect_eq(t.source.settings, 3, "each was sent once");
        tear_down(&t);
    }
}

Test(line, a_suspect_line_still_takes_writes)
{
    struct bench t;
    struct es_stamp acted;
    double value;
    prepare(&t, false);
    open_bus(&t);
    expect_reads(&t);
    t.source.next = SILENT;
    cr_expect_eq(read_request(&t, 0, &value), ES_TIMEOUT);
    cr_expect_eq(es_line_driver.write(t.bus, &t.points[0], 4, &acted, &t.err), ES_OK, "%s", t.err.text);
    usleep(20000);
    cr_expect_eq(t.source.value, 4);
    tear_down(&t);
}

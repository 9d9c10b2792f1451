/* Everything a driver must survive (design: drivers), each made to happen, over RTU and TCP, with libmodbus
 * on the line itself and behind a layer. What is asserted is the driver's answer, not survival alone. */
#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tests/support/wires/modbus_bus.h"

/* One instrument; holding 10 = 1234 is read. The server answers rightly until told otherwise. */
struct bench {
    struct modbus_server server;
    struct test_bus b;
    struct es_error err;
};

static void set_up(struct bench *t, enum way way)
{
    memset(t, 0, sizeof *t);
    t->server.unreadable_first = t->server.unreadable_last = -1;
    t->server.holding[10] = 1234;
    server_start(&t->server, way_is_tcp(way));
    bus_prepare(&t->b, &t->server, way);
    bus_add_point(&t->b, 0, ES_MODBUS_HOLDING, 10, ES_MODBUS_UINT16);
    cr_assert_eq(bus_open(&t->b, way, NULL, &t->err), ES_OK, "%s: %s", way_names[way], t->err.text);
}

static void tear_down(struct bench *t)
{
    bus_close(&t->b);
    server_stop(&t->server);
}

static enum es_status read_one(struct bench *t, double *value)
{
    struct es_raw raw = {-1, false};
    struct es_stamp stamp;
    enum es_status status = es_modbus_driver.read(t->b.bus, 0, &raw, &stamp, &t->err);
    *value = status == ES_OK ? raw.value : -1;
    return status;
}

static void expect_reads(struct bench *t, enum way way)
{
    double value;
    cr_assert_eq(read_one(t, &value), ES_OK, "%s: %s", way_names[way], t->err.text);
    cr_assert_eq(value, 1234);
}

/* The first good read, then one spoiled, then good ones again: the status of the spoiled one is returned. */
static enum es_status spoiled(enum server_act act, char *text, size_t size, enum way way)
{
    struct bench t;
    double value;
    set_up(&t, way);
    expect_reads(&t, way);
    server_script(&t.server, 1, &act);
    enum es_status status = read_one(&t, &value);
    if (text)
        snprintf(text, size, "%s", t.err.text);
    for (int i = 0; i < 5; i++)
        expect_reads(&t, way);
    tear_down(&t);
    return status;
}

#define EACH_WAY(way) for (enum way way = RTU_DIRECT; way < WAYS; way++)

Test(modbus_faults, no_answer_is_a_timeout_and_heals)
{
    char text[640];
    EACH_WAY(way)
    {
        cr_expect_eq(spoiled(SERVER_SILENT, text, sizeof text, way), ES_TIMEOUT, "%s: %s", way_names[way],
                     text);
        cr_expect_not_null(strstr(text, "instrument 1"), "names the instrument: %s", text);
    }
}

Test(modbus_faults, truncated_frame_is_no_answer)
{
    EACH_WAY(way)
    cr_expect_eq(spoiled(SERVER_TRUNCATE, NULL, 0, way), ES_TIMEOUT, "%s", way_names[way]);
}

Test(modbus_faults, corrupted_frame_is_garbled)
{
    EACH_WAY(way)
    {
        char text[640];
        enum es_status status = spoiled(SERVER_CORRUPT, text, sizeof text, way);
        cr_expect_eq(status, ES_GARBLED, "%s: %s", way_names[way], text);
    }
}

Test(modbus_faults, exception_is_refused_in_words)
{
    EACH_WAY(way)
    {
        char text[640];
        cr_expect_eq(spoiled(SERVER_EXCEPTION, text, sizeof text, way), ES_REFUSED, "%s", way_names[way]);
        cr_expect_not_null(strstr(text, "exception 04, server device failure"), "%s: %s", way_names[way],
                           text);
    }
}

Test(modbus_faults, other_unit_is_garbled)
{
    EACH_WAY(way)
    {
        char text[640];
        cr_expect_eq(spoiled(SERVER_OTHER_UNIT, text, sizeof text, way), ES_GARBLED, "%s", way_names[way]);
        cr_expect_not_null(strstr(text, "unit 2 answered, unit 1 was asked"), "%s: %s", way_names[way], text);
    }
}

Test(modbus_faults, other_length_and_other_function_are_garbled)
{
    EACH_WAY(way)
    {
        char text[640];
        cr_expect_eq(spoiled(SERVER_OTHER_FUNCTION, text, sizeof text, way), ES_GARBLED, "%s: %s",
                     way_names[way], text);
    }
}

Test(modbus_faults, noise_before_an_answer_never_becomes_a_value)
{
    EACH_WAY(way)
    {
        char text[640];
        enum es_status status = spoiled(SERVER_NOISE_BEFORE, text, sizeof text, way);
        cr_expect(status == ES_GARBLED || status == ES_TIMEOUT, "%s: %s", way_names[way], text);
    }
}

Test(modbus_faults, hangup_is_no_timeout_and_heals)
{
    EACH_WAY(way)
    {
        if (!way_is_tcp(way))
            continue; /* terminals: below, under another name */
        char text[640];
        cr_expect_eq(spoiled(SERVER_HANGUP, text, sizeof text, way), ES_HANGUP, "%s: %s", way_names[way],
                     text);
    }
}

Test(modbus_faults, garbage_between_frames_is_thrown_away)
{
    for (enum way way = RTU_DIRECT; way <= RTU_FED; way++) {
        struct bench t;
        set_up(&t, way);
        expect_reads(&t, way);
        for (int i = 0; i < 5; i++) {
            peer_noise(t.server.peer, (const uint8_t *)"\x01\x03\x02\x11\x11\x75\xD8",
                       7); /* a whole false answer */
            usleep(5000);
            expect_reads(&t, way);
        }
        tear_down(&t);
    }
}

Test(modbus_faults, an_answer_given_twice_is_not_the_next_ones)
{
    EACH_WAY(way)
    {
        struct bench t;
        double value;
        set_up(&t, way);
        t.server.holding[10] = 1;
        cr_assert_eq(read_one(&t, &value), ES_OK);
        const enum server_act twice = SERVER_TWICE;
        for (int i = 2; i < 6; i++) {
            server_script(&t.server, 1, &twice);
            (void)read_one(
                &t, &value); /* over TCP, or when both come at once, it may be refused: that is right too */
            t.server.holding[10] = (uint16_t)i;
            usleep(3000);
            if (read_one(&t, &value) == ES_OK)
                cr_assert_eq(value, i, "%s: the earlier answer was taken", way_names[way]);
        }
        tear_down(&t);
    }
}

Test(modbus_faults, timeout_text_says_what_was_read)
{
    char text[640];
    (void)spoiled(SERVER_SILENT, text, sizeof text, RTU_DIRECT);
    cr_expect_not_null(strstr(text, "reading 1 from 10"), "%s", text);
}

Test(modbus_faults, one_dead_instrument_leaves_the_others_their_values)
{
    EACH_WAY(way)
    {
        struct bench t = {0};
        t.server.unreadable_first = t.server.unreadable_last = -1;
        server_add_unit(&t.server, 1);
        server_add_unit(&t.server, 3);
        t.server.holding[10] = 77;
        server_start(&t.server, way_is_tcp(way));
        bus_prepare(&t.b, &t.server, way);
        t.b.instruments[0].timeout = 0.03;
        bus_add_instrument(&t.b, 2, "dead");
        bus_add_instrument(&t.b, 3, "third");
        for (size_t i = 0; i < 3; i++)
            bus_add_point(&t.b, i, ES_MODBUS_HOLDING, 10, ES_MODBUS_UINT16);
        cr_assert_eq(bus_open(&t.b, way, NULL, &t.err), ES_OK);
        for (int round = 0; round < 3; round++) {
            for (size_t r = 0; r < 3; r++) {
                struct es_raw raw = {0};
                struct es_stamp stamp;
                enum es_status status = es_modbus_driver.read(t.b.bus, r, &raw, &stamp, &t.err);
                if (t.b.requests[r].instrument == 1) {
                    cr_expect_eq(status, ES_TIMEOUT);
                } else {
                    cr_expect_eq(status, ES_OK, "%s: %s", way_names[way], t.err.text);
                    cr_expect_eq(raw.value, 77);
                }
            }
        }
        tear_down(&t);
    }
}

Test(modbus_faults, terminal_comes_back_under_another_name)
{
    char folder[] = "/tmp/es-wires-XXXXXX", link[64];
    cr_assert_not_null(mkdtemp(folder));
    snprintf(link, sizeof link, "%s/line", folder);
    for (enum way way = RTU_DIRECT; way <= RTU_FED; way++) {
        struct bench t = {0};
        double value;
        t.server.unreadable_first = t.server.unreadable_last = -1;
        t.server.holding[10] = 1234;
        server_start(&t.server, false);
        cr_assert_eq(symlink(peer_path(t.server.peer), link), 0);
        bus_prepare(&t.b, &t.server, way);
        t.b.settings.device = link;
        bus_add_point(&t.b, 0, ES_MODBUS_HOLDING, 10, ES_MODBUS_UINT16);
        cr_assert_eq(bus_open(&t.b, way, NULL, &t.err), ES_OK);
        expect_reads(&t, way);
        unlink(link);
        peer_drop(t.server.peer);
        es_time before = es_clock_now();
        cr_expect_eq(read_one(&t, &value), ES_HANGUP, "%s: %s", way_names[way], t.err.text);
        cr_expect_lt(es_seconds(es_clock_now() - before), 0.5, "the hang-up was found late");
        cr_expect_eq(es_modbus_driver.settle(t.b.bus, &t.err), ES_HANGUP, "nothing is there yet");
        cr_assert_eq(symlink(peer_path(t.server.peer), link), 0);
        cr_expect_eq(es_modbus_driver.settle(t.b.bus, &t.err), ES_OK, "%s: %s", way_names[way], t.err.text);
        expect_reads(&t, way);
        unlink(link);
        tear_down(&t);
    }
    rmdir(folder);
}

Test(modbus_faults, tcp_peer_restarted)
{
    for (enum way way = TCP_DIRECT; way <= TCP_FED; way++) {
        struct bench t;
        double value;
        set_up(&t, way);
        expect_reads(&t, way);
        peer_away(t.server.peer);
        cr_expect_eq(read_one(&t, &value), ES_HANGUP, "%s: %s", way_names[way], t.err.text);
        cr_expect_eq(read_one(&t, &value), ES_HANGUP, "%s: still away: %s", way_names[way], t.err.text);
        peer_back(t.server.peer);
        expect_reads(&t, way);
        tear_down(&t);
    }
}

Test(modbus_faults, half_open_connection_is_left)
{
    for (enum way way = TCP_DIRECT; way <= TCP_FED; way++) {
        struct bench t;
        double value;
        set_up(&t, way);
        expect_reads(&t, way);
        peer_freeze(t.server.peer, true);
        cr_expect_eq(read_one(&t, &value), ES_TIMEOUT, "%s: %s", way_names[way], t.err.text);
        peer_freeze(t.server.peer, false);
        expect_reads(&t, way); /* over a new connection; the old request's answer is lost with the old one */
        tear_down(&t);
    }
}

Test(modbus_faults, another_instrument_at_the_same_unit_id_is_not_read)
{
    struct bench t = {0};
    double value;
    t.server.unreadable_first = t.server.unreadable_last = -1;
    t.server.holding[10] = 1234;
    t.server.input[0] = 4711; /* its identity */
    server_start(&t.server, false);
    bus_prepare(&t.b, &t.server, RTU_DIRECT);
    t.b.instrument_settings[0].identify = ES_MODBUS_IDENTIFY_REGISTER;
    t.b.instrument_settings[0].identity_table = 1;
    bus_add_point(&t.b, 0, ES_MODBUS_HOLDING, 10, ES_MODBUS_UINT16);
    cr_assert_eq(bus_open(&t.b, RTU_DIRECT, NULL, &t.err), ES_OK);
    char name[128];
    cr_assert_eq(es_modbus_driver.probe(t.b.bus, 0, name, sizeof name, &t.err), ES_OK, "%s", t.err.text);
    cr_expect_str_eq(name, "register 0: 4711");
    expect_reads(&t, RTU_DIRECT);
    const enum server_act silent = SERVER_SILENT;
    server_script(&t.server, 1, &silent);
    cr_expect_eq(read_one(&t, &value), ES_TIMEOUT);
    t.server.input[0] = 4712;
    cr_expect_eq(read_one(&t, &value), ES_GARBLED);
    cr_expect_not_null(strstr(t.err.text, "another instrument answers"), "%s", t.err.text);
    t.server.input[0] = 4711;
    expect_reads(&t, RTU_DIRECT);
    tear_down(&t);
}

Test(modbus_faults, server_id_identifies)
{
    EACH_WAY(way)
    {
        struct bench t;
        set_up(&t, way);
        t.b.instrument_settings[0].identify = ES_MODBUS_IDENTIFY_SERVER_ID;
        char name[128];
        cr_expect_eq(es_modbus_driver.probe(t.b.bus, 0, name, sizeof name, &t.err), ES_OK, "%s", t.err.text);
        cr_expect_str_eq(name, "server id: test 20server ff", "%s", name);
        tear_down(&t);
    }
}

Test(modbus_faults, a_write_that_is_not_answered_says_so_and_is_not_repeated)
{
    EACH_WAY(way)
    {
        struct bench t;
        struct es_stamp acted;
        set_up(&t, way);
        expect_reads(&t, way);
        unsigned long before = t.server.requests;
        const enum server_act silent = SERVER_SILENT;
        server_script(&t.server, 1, &silent);
        cr_expect_eq(es_modbus_driver.write(t.b.bus, &t.b.points[0], 55, &acted, &t.err), ES_TIMEOUT);
        cr_expect_not_null(strstr(t.err.text, "may or may not have acted"), "%s", t.err.text);
        cr_expect_eq(t.server.requests, before + 1, "it was sent more than once");
        /* the safe state must be reachable over a suspect bus */
        cr_expect_eq(es_modbus_driver.write(t.b.bus, &t.b.points[0], 56, &acted, &t.err), ES_OK, "%s: %s",
                     way_names[way], t.err.text);
        cr_expect_eq(t.server.holding[10], 56);
        tear_down(&t);
    }
}

Test(modbus_faults, a_write_that_does_not_stay_is_refused)
{
    EACH_WAY(way)
    {
        struct bench t;
        struct es_stamp acted;
        set_up(&t, way);
        t.b.channels[0].read_back = true;
        t.b.channels[0].table = ES_MODBUS_COIL; /* the server's coils and registers are apart */
        cr_expect_eq(es_modbus_driver.write(t.b.bus, &t.b.points[0], 1, &acted, &t.err), ES_OK, "%s",
                     t.err.text);
        cr_expect(t.server.coils[10]);
        t.b.channels[0].table = ES_MODBUS_HOLDING;
        /* the next but one answer, the read-back, comes from the exception path */
        const enum server_act acts[] = {SERVER_ANSWER, SERVER_EXCEPTION};
        server_script(&t.server, 2, acts);
        cr_expect_eq(es_modbus_driver.write(t.b.bus, &t.b.points[0], 7, &acted, &t.err), ES_REFUSED);
        cr_expect_not_null(strstr(t.err.text, "cannot be read back"), "%s", t.err.text);
        tear_down(&t);
    }
}

/* Random faults for a while: every value that is called good is the one the server had. */
Test(modbus_faults, random_faults_never_give_a_wrong_value, .timeout = 60)
{
    struct es_fault_plan plan = {
        .seed = 20260201,
        .probability = {[ES_FAULT_DROP] = 0.01,
                        [ES_FAULT_DELAY] = 0.03,
                        [ES_FAULT_CORRUPT] = 0.04,
                        [ES_FAULT_TRUNCATE] = 0.01,
                        [ES_FAULT_GARBAGE] = 0.03,
                        [ES_FAULT_HANGUP] = 0.005},
        .delay = 0.022,
    };
    for (enum way way = RTU_FED; way < WAYS; way += 2) {
        struct modbus_server server = {.unreadable_first = -1, .unreadable_last = -1, .counting = true};
        struct test_bus b;
        struct es_error err;
        struct es_transport *line;
        if (way_is_tcp(way)) /* TCP's own check sum keeps bits; Modbus TCP has none that could notice */
            plan.probability[ES_FAULT_CORRUPT] = 0;
        unsigned good = 0, refused = 0;
        server_start(&server, way_is_tcp(way));
        bus_prepare(&b, &server, way);
        b.instruments[0].timeout = 0.015;
        b.instruments[0].turn_around = 0.03;
        bus_add_point(&b, 0, ES_MODBUS_HOLDING, 0, ES_MODBUS_UINT16);
        bus_add_point(&b, 0, ES_MODBUS_HOLDING, 1, ES_MODBUS_UINT32);
        cr_assert_eq(bus_transport(&b, &line, &err), ES_OK);
        cr_assert_eq(bus_open(&b, way, es_fault_wrap(line, &plan), &err), ES_OK);
        for (int i = 0; i < 400; i++) {
            struct es_raw raw[2];
            struct es_stamp stamp;
            server.holding[1] = (uint16_t)(i * 7);
            server.holding[2] = (uint16_t)(i * 7 + 1);
            uint16_t before = server.holding[0];
            if (es_modbus_driver.read(b.bus, 0, raw, &stamp, &err) != ES_OK) {
                refused++;
                continue;
            }
            good++;
            cr_assert_gt(raw[0].value, before, "%s: read %d gave an old answer (seed %llu)", way_names[way],
                         i, (unsigned long long)plan.seed);
            cr_assert_eq(raw[1].value, (double)((uint32_t)(uint16_t)(i * 7) << 16 | (uint16_t)(i * 7 + 1)),
                         "%s: read %d is wrong (seed %llu)", way_names[way], i,
                         (unsigned long long)plan.seed);
        }
        cr_expect_gt(good, 150);
        cr_expect_gt(refused, 20);
        bus_close(&b);
        server_stop(&server);
    }
}

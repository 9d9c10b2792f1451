/* Frames and times against the published specifications:
 *   Modbus Application Protocol V1.1b3 (26 Apr 2012): examples of 6.3 (function 03) and of section 7
 * (exceptions) Modbus over Serial Line V1.02 (20 Dec 2006): CRC example of 6.2.2, silences of 2.5.1.1 Vectors
 * marked "recomputed" were computed apart from this program from the specification's own CRC. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "drivers/modbus/answer.h"
#include "drivers/modbus/wire.h"
#include "tests/support/wires/modbus_server.h"

Test(frames, crc_of_the_specification)
{
    /* Serial Line V1.02, 6.2.2: frame 02 07 has CRC 1241h, sent 41 12. */
    cr_expect_eq(server_crc((const uint8_t *)"\x02\x07", 2), 0x1241);
    cr_expect_eq(server_crc((const uint8_t *)"123456789", 9), 0x4B37); /* recomputed */
}

/* What goes onto the line: the driver's wire, libmodbus within, on one end of a socket pair. */
static size_t on_the_wire(long baud, uint8_t unit, const uint8_t *pdu, size_t count, uint8_t *sent)
{
    struct es_modbus_wire *wire;
    struct es_transport *t;
    struct es_error err;
    char path[] = "/tmp/es-frames-XXXXXX";
    int fd = mkstemp(path);
    cr_assert_geq(fd, 0);
    close(fd);
    cr_assert_eq(es_replay_open(path, false, &t, &err),
                 ES_OK); /* an empty trace: refuses what is sent, and says it */
    cr_assert_eq(es_modbus_wire_open(t, baud, 0, &wire, &err), ES_OK);
    struct es_modbus_exchange x = {.unit = unit, .request = pdu, .request_count = count, .timeout = 0.01};
    cr_assert_eq(es_modbus_wire_exchange(wire, &x, &err), ES_GARBLED);
    es_modbus_wire_close(wire);
    unlink(path);
    const char *at = strstr(err.text, "sent ");
    cr_assert_not_null(at, "%s", err.text);
    size_t n = 0;
    unsigned byte;
    int used;
    for (at += 5; sscanf(at, "%2x%n", &byte, &used) == 1; at += used + 1)
        sent[n++] = (uint8_t)byte;
    return n;
}

static void expect_request(uint8_t unit, const char *pdu, size_t count, const char *expected,
                           size_t expected_count)
{
    uint8_t sent[300];
    size_t n = on_the_wire(9600, unit, (const uint8_t *)pdu, count, sent);
    cr_expect_arr_eq(sent, expected, expected_count);
    cr_expect_eq(n, expected_count);
}

Test(frames, rtu_requests)
{
    /* recomputed */
    expect_request(0x01, "\x03\x00\x6B\x00\x03", 5, "\x01\x03\x00\x6B\x00\x03\x74\x17", 8);
    expect_request(0x11, "\x03\x00\x6B\x00\x03", 5, "\x11\x03\x00\x6B\x00\x03\x76\x87", 8);
    expect_request(0x0A, "\x01\x04\xA1\x00\x01", 5, "\x0A\x01\x04\xA1\x00\x01\xAC\x63", 8);
    expect_request(0x02, "\x07", 1, "\x02\x07\x41\x12", 4); /* Serial Line V1.02, 6.2.2 */
}

Test(frames, tcp_header)
{
    uint8_t sent[300];
    size_t n = on_the_wire(0, 0x11, (const uint8_t *)"\x03\x00\x6B\x00\x03", 5, sent);
    cr_expect_eq(n, 12);
    cr_expect_arr_eq(sent, "\x00\x01\x00\x00\x00\x06\x11\x03\x00\x6B\x00\x03", 12);
}

Test(frames, example_of_function_03)
{
    /* V1.1b3, 6.3: registers 108 to 110 are read: 555, 0, 100. */
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    size_t n = es_modbus_ask_read(ES_MODBUS_HOLDING, 107, 3, pdu);
    static const uint8_t answer[] = {0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64};
    struct es_error err;
    cr_expect_eq(n, 5);
    cr_expect_arr_eq(pdu, "\x03\x00\x6B\x00\x03", 5);
    cr_expect_eq(es_modbus_check_answer(pdu, n, answer, sizeof answer, &err), ES_OK);
    cr_expect_eq(es_modbus_answer_word(answer, 0), 555);
    cr_expect_eq(es_modbus_answer_word(answer, 1), 0);
    cr_expect_eq(es_modbus_answer_word(answer, 2), 100);
}

Test(frames, example_of_an_exception)
{
    /* V1.1b3, section 7: 01 04 A1 00 01 is answered with 81 02. */
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    size_t n = es_modbus_ask_read(ES_MODBUS_COIL, 0x04A1, 1, pdu);
    struct es_error err;
    cr_expect_arr_eq(pdu, "\x01\x04\xA1\x00\x01", 5);
    cr_expect_eq(es_modbus_check_answer(pdu, n, (const uint8_t *)"\x81\x02", 2, &err), ES_REFUSED);
    cr_expect_not_null(strstr(err.text, "illegal data address"), "%s", err.text);
}

Test(frames, silences_and_transaction_times)
{
    /* Serial Line V1.02, 2.5.1.1: 3.5 characters of 11 bits; 1.750 ms above 19200 baud. Times of whole
     * transactions (8 + 5 + 2N characters and two silences): recomputed. */
    static const struct {
        long baud;
        double silence, of_1, of_125; /* ms */
    } rows[] = {{9600, 4.010417, 25.208333, 309.375},
                {19200, 2.005208, 12.604167, 154.6875},
                {115200, 1.75, 4.932292, 28.612847}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double s = es_modbus_silence(rows[i].baud);
        cr_expect_float_eq(1000 * s, rows[i].silence, 1e-6);
        cr_expect_float_eq(1000 * (es_modbus_wire_time(rows[i].baud, 15) + 2 * s), rows[i].of_1, 1e-6);
        cr_expect_float_eq(1000 * (es_modbus_wire_time(rows[i].baud, 263) + 2 * s), rows[i].of_125, 1e-6);
    }
}

Test(frames, exceptions_in_the_specifications_words)
{
    cr_expect_str_eq(es_modbus_exception_text(1), "illegal function");
    cr_expect_str_eq(es_modbus_exception_text(2), "illegal data address");
    cr_expect_str_eq(es_modbus_exception_text(3), "illegal data value");
    cr_expect_str_eq(es_modbus_exception_text(0x0B), "gateway target device failed to respond");
    cr_expect_not_null(es_modbus_exception_text(0x77));
}

#include <criterion/criterion.h>
#include <string.h>

#include "drivers/modbus/answer.h"

static enum es_status check(const char *request, size_t n, const char *answer, size_t m)
{
    struct es_error err;
    return es_modbus_check_answer((const uint8_t *)request, n, (const uint8_t *)answer, m, &err);
}

Test(answer, reads)
{
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x03\x04\x00\x01\x00\x02", 6), ES_OK);
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x03\x02\x00\x01", 4), ES_GARBLED, "one register too few");
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x03\x06\x00\x01\x00\x02", 6), ES_GARBLED, "byte count");
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x04\x04\x00\x01\x00\x02", 6), ES_GARBLED, "function");
    cr_expect_eq(check("\x01\x00\x00\x00\x09", 5, "\x01\x02\xFF\x01", 4), ES_OK);
    cr_expect_eq(check("\x01\x00\x00\x00\x09", 5, "\x01\x01\xFF", 3), ES_GARBLED);
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "", 0), ES_GARBLED);
}

Test(answer, writes_must_come_back)
{
    cr_expect_eq(check("\x06\x00\x01\x00\x03", 5, "\x06\x00\x01\x00\x03", 5), ES_OK);
    cr_expect_eq(check("\x06\x00\x01\x00\x03", 5, "\x06\x00\x01\x00\x04", 5), ES_GARBLED);
    cr_expect_eq(check("\x10\x00\x01\x00\x02\x04____", 10, "\x10\x00\x01\x00\x02", 5), ES_OK);
    cr_expect_eq(check("\x10\x00\x01\x00\x02\x04____", 10, "\x10\x00\x02\x00\x02", 5), ES_GARBLED);
}

Test(answer, exceptions)
{
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x83\x02", 2), ES_REFUSED);
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x84\x02", 2), ES_GARBLED, "to another function");
    cr_expect_eq(check("\x03\x00\x00\x00\x02", 5, "\x83\x02\x00", 3), ES_GARBLED);
}

Test(answer, requests)
{
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    cr_expect_eq(es_modbus_ask_write_coil(5, true, false, pdu), 5);
    cr_expect_arr_eq(pdu, "\x05\x00\x05\xFF\x00", 5);
    cr_expect_eq(es_modbus_ask_write_coil(5, true, true, pdu), 7);
    cr_expect_arr_eq(pdu, "\x0F\x00\x05\x00\x01\x01\x01", 7);
    cr_expect_eq(es_modbus_ask_write_registers(1, (const uint16_t[]){0x000A, 0x0102}, 2, false, pdu), 10);
    cr_expect_arr_eq(pdu, "\x10\x00\x01\x00\x02\x04\x00\x0A\x01\x02", 10); /* V1.1b3, 6.12, example */
    cr_expect_eq(es_modbus_ask_write_registers(1, (const uint16_t[]){3}, 1, false, pdu), 5);
    cr_expect_arr_eq(pdu, "\x06\x00\x01\x00\x03", 5); /* V1.1b3, 6.6, example */
    cr_expect_eq(es_modbus_ask_write_registers(1, (const uint16_t[]){3}, 1, true, pdu), 8);
    cr_expect_eq(pdu[0], 0x10);
}

/* Any single wrong bit in a confirmation or a read's head is noticed. */
Test(answer, no_wrong_bit_passes_in_a_confirmation)
{
    static const char request[] = "\x06\x12\x34\x56\x78";
    for (int bit = 0; bit < 40; bit++) {
        char answer[5];
        memcpy(answer, request, 5);
        answer[bit / 8] = (char)(answer[bit / 8] ^ 1 << bit % 8);
        cr_expect_neq(check(request, 5, answer, 5), ES_OK, "bit %d", bit);
    }
}

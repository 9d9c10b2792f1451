#include "drivers/modbus/answer.h"

#include <string.h>

enum {
    READ_COILS = 0x01,
    READ_DISCRETE = 0x02,
    READ_HOLDING = 0x03,
    READ_INPUT = 0x04,
    WRITE_COIL = 0x05,
    WRITE_REGISTER = 0x06,
    WRITE_COILS = 0x0F,
    WRITE_REGISTERS = 0x10,
    REPORT_SERVER_ID = 0x11,
    EXCEPTION = 0x80
};

static void put_word(uint8_t *at, uint16_t word)
{
    at[0] = (uint8_t)(word >> 8);
    at[1] = (uint8_t)word;
}

static unsigned get_word(const uint8_t *at)
{
    return (unsigned)at[0] << 8 | at[1];
}

size_t es_modbus_ask_read(int table, uint16_t address, uint16_t count, uint8_t pdu[static ES_MODBUS_PDU_MAX])
{
    static const uint8_t functions[] = {
        [ES_MODBUS_COIL] = READ_COILS,
        [ES_MODBUS_DISCRETE] = READ_DISCRETE,
        [ES_MODBUS_HOLDING] = READ_HOLDING,
        [ES_MODBUS_INPUT] = READ_INPUT,
    };
    pdu[0] = functions[table];
    put_word(pdu + 1, address);
    put_word(pdu + 3, count);
    return 5;
}

size_t es_modbus_ask_write_coil(uint16_t address, bool on, bool multiple,
                                uint8_t pdu[static ES_MODBUS_PDU_MAX])
{
    put_word(pdu + 1, address);
    if (!multiple) {
        pdu[0] = WRITE_COIL;
        put_word(pdu + 3, on ? 0xFF00 : 0x0000);
        return 5;
    }
    pdu[0] = WRITE_COILS;
    put_word(pdu + 3, 1);
    pdu[5] = 1;
    pdu[6] = on ? 1 : 0;
    return 7;
}

size_t es_modbus_ask_write_registers(uint16_t address, const uint16_t *words, size_t count, bool multiple,
                                     uint8_t pdu[static ES_MODBUS_PDU_MAX])
{
    put_word(pdu + 1, address);
    if (count == 1 && !multiple) {
        pdu[0] = WRITE_REGISTER;
        put_word(pdu + 3, words[0]);
        return 5;
    }
    pdu[0] = WRITE_REGISTERS;
    put_word(pdu + 3, (uint16_t)count);
    pdu[5] = (uint8_t)(2 * count);
    for (size_t i = 0; i < count; i++)
        put_word(pdu + 6 + 2 * i, words[i]);
    return 6 + 2 * count;
}

size_t es_modbus_ask_server_id(uint8_t pdu[static ES_MODBUS_PDU_MAX])
{
    pdu[0] = REPORT_SERVER_ID;
    return 1;
}

size_t es_modbus_answer_length(const uint8_t *request, size_t request_count)
{
    if (request_count < 1)
        return 0;
    switch (request[0]) {
    case READ_COILS:
    case READ_DISCRETE:
        return request_count < 5 ? 0 : 2 + (get_word(request + 3) + 7) / 8;
    case READ_HOLDING:
    case READ_INPUT:
        return request_count < 5 ? 0 : 2 + 2 * get_word(request + 3);
    case WRITE_COIL:
    case WRITE_REGISTER:
    case WRITE_COILS:
    case WRITE_REGISTERS:
        return 5;
    default:
        return 0;
    }
}

static enum es_status check_exception(const uint8_t *request, const uint8_t *answer, size_t count,
                                      struct es_error *err)
{
    if (answer[0] != (request[0] | EXCEPTION) || count != 2)
        return es_fail(err, ES_GARBLED, "an exception to another request came (function %02X)", answer[0]);
    return es_fail(err, ES_REFUSED, "refused with exception %02X, %s", answer[1],
                   es_modbus_exception_text(answer[1]));
}

enum es_status es_modbus_check_answer(const uint8_t *request, size_t request_count, const uint8_t *answer,
                                      size_t answer_count, struct es_error *err)
{
    if (request_count < 1 || answer_count < 1)
        return es_fail(err, ES_GARBLED, "the answer is empty");
    if (answer[0] & EXCEPTION)
        return check_exception(request, answer, answer_count, err);
    if (answer[0] != request[0])
        return es_fail(err, ES_GARBLED, "the answer is to function %02X, asked was %02X", answer[0],
                       request[0]);
    size_t expected = es_modbus_answer_length(request, request_count);
    if (expected && answer_count != expected)
        return es_fail(err, ES_GARBLED, "the answer has %zu bytes, not %zu", answer_count, expected);
    switch (request[0]) {
    case READ_COILS:
    case READ_DISCRETE:
    case READ_HOLDING:
    case READ_INPUT:
        if (answer[1] != answer_count - 2)
            return es_fail(err, ES_GARBLED, "the answer's byte count says %u, %zu bytes came", answer[1],
                           answer_count - 2);
        return ES_OK;
    case WRITE_COIL:
    case WRITE_REGISTER:
    case WRITE_COILS:
    case WRITE_REGISTERS: /* address and value, or address and quantity, come back */
        if (memcmp(answer + 1, request + 1, 4) != 0)
            return es_fail(err, ES_GARBLED,
                           "the confirmation names another address or value than was written");
        return ES_OK;
    case REPORT_SERVER_ID:
        if (answer_count < 2 || answer[1] != answer_count - 2)
            return es_fail(err, ES_GARBLED, "the identification's byte count is wrong");
        return ES_OK;
    default:
        return es_fail(err, ES_INTERNAL, "function %02X is not one that this program uses", request[0]);
    }
}

uint16_t es_modbus_answer_word(const uint8_t *answer, size_t index)
{
    return (uint16_t)get_word(answer + 2 + 2 * index);
}

bool es_modbus_answer_bit(const uint8_t *answer, size_t index)
{
    return (answer[2 + index / 8] >> (index % 8)) & 1;
}

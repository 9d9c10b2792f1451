/* Is this the answer to that request? Pure. A PDU is function code and data (Application Protocol
 * V1.1b3, 4.1). */
#ifndef ES_DRIVERS_MODBUS_ANSWER_H
#define ES_DRIVERS_MODBUS_ANSWER_H

#include "drivers/modbus/modbus.h"

#define ES_MODBUS_PDU_MAX 253

/* Requests; each returns the PDU's length. */
size_t es_modbus_ask_read(int table, uint16_t address, uint16_t count, uint8_t pdu[static ES_MODBUS_PDU_MAX]);
size_t es_modbus_ask_write_coil(uint16_t address, bool on, bool multiple,
                                uint8_t pdu[static ES_MODBUS_PDU_MAX]);
size_t es_modbus_ask_write_registers(uint16_t address, const uint16_t *words, size_t count, bool multiple,
                                     uint8_t pdu[static ES_MODBUS_PDU_MAX]);
size_t es_modbus_ask_server_id(uint8_t pdu[static ES_MODBUS_PDU_MAX]);

/* Length of the PDU that answers a request, 0 when it varies. */
size_t es_modbus_answer_length(const uint8_t *request, size_t request_count);

/* ES_OK; ES_REFUSED with the exception in words; ES_GARBLED when it answers something else. */
enum es_status es_modbus_check_answer(const uint8_t *request, size_t request_count, const uint8_t *answer,
                                      size_t answer_count, struct es_error *err) ES_MUST_CHECK;

/* Takes values out of a checked read answer. */
uint16_t es_modbus_answer_word(const uint8_t *answer, size_t index);
bool es_modbus_answer_bit(const uint8_t *answer, size_t index);

#endif

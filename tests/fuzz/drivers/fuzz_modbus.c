/* A Modbus answer as the driver takes it apart: input is one byte that chooses the request, then the answer.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/modbus/answer.h"
#include "drivers/modbus/plan.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const uint16_t words[4] = {1, 2, 3, 4};
    uint8_t request[ES_MODBUS_PDU_MAX];
    struct es_error err;
    if (size < 2)
        return 0;
    unsigned which = data[0] % 8, count = 1u + data[1] % 125;
    size_t n;
    if (which < 4)
        n = es_modbus_ask_read((int)which, data[1], (uint16_t)count, request);
    else if (which == 4)
        n = es_modbus_ask_server_id(request);
    else if (which == 5)
        n = es_modbus_ask_write_coil(data[1], true, data[0] & 8, request);
    else
        n = es_modbus_ask_write_registers(data[1], words, which == 6 ? 1 : 4, data[0] & 8, request);
    size_t length = size - 2;
    uint8_t *answer = malloc(length ? length : 1);
    if (!answer)
        abort();
    memcpy(answer, data + 2, length);
    if (es_modbus_check_answer(request, n, answer, length, &err) == ES_OK && which < 4) {
        /* What was accepted holds all that was asked for. */
        for (unsigned i = 0; i < count; i++)
            if (which < 2)
                (void)es_modbus_answer_bit(answer, i);
            else
                (void)es_modbus_answer_word(answer, i);
    }
    free(answer);
    char text[64];
    snprintf(text, sizeof text, "%.*s", (int)(length < 60 ? length : 60), (const char *)data + 2);
    if (es_modbus_ranges_fault(text) == NULL)
        (void)es_modbus_ranges_touch(text, 5, 10);
    return 0;
}

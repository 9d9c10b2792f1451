/* Where a request ends. Modbus TCP says its length; RTU's follows from the function (Application Protocol
 * V1.1b3, section 6); a text line ends with its instrument's terminator. */
#include <string.h>

#include "rig/simulator/simulator.h"

static int tcp_frame(const uint8_t *b, size_t count)
{
    if (count < 6) {
        return 0;
    }
    const int length = b[4] << 8 | b[5];
    if (b[2] || b[3] || length < 2 || length > 254) {
        return -1;
    }
    return count >= (size_t)length + 6 ? length + 6 : 0;
}

static uint16_t crc(const uint8_t *b, size_t count)
{
    uint16_t value = 0xFFFF;
    for (size_t i = 0; i < count; i++) {
        value ^= b[i];
        for (int bit = 0; bit < 8; bit++) {
            value = (uint16_t)(value & 1 ? value >> 1 ^ 0xA001 : value >> 1);
        }
    }
    return value;
}

static int rtu_frame(const uint8_t *b, size_t count)
{
    if (count < 2) {
        return 0;
    }
    size_t length = 8; /* functions 1 to 6 */
    switch (b[1]) {
    case MODBUS_FC_READ_EXCEPTION_STATUS:
    case MODBUS_FC_REPORT_SLAVE_ID:
        length = 4;
        break;
    case MODBUS_FC_WRITE_MULTIPLE_COILS:
    case MODBUS_FC_WRITE_MULTIPLE_REGISTERS:
        if (count < 7) {
            return 0;
        }
        length = 9 + (size_t)b[6];
        break;
    case MODBUS_FC_MASK_WRITE_REGISTER:
        length = 10;
        break;
    case MODBUS_FC_WRITE_AND_READ_REGISTERS:
        if (count < 11) {
            return 0;
        }
        length = 13 + (size_t)b[10];
        break;
    default:
        break;
    }
    if (count < length) {
        return 0;
    }
    const uint16_t sum = (uint16_t)(b[length - 1] << 8 | b[length - 2]);
    return crc(b, length - 2) == sum ? (int)length : -1;
}

static int text_frame(const struct sim_bus *bus, const uint8_t *b, size_t count)
{
    for (size_t i = 0; i < bus->about->instrument_count; i++) {
        const struct es_bench_instrument *about = &bus->sim->bench->instruments[bus->about->instruments[i]];
        const char *end = ((const struct es_line_instrument *)about->settings)->command_end;
        const size_t length = strlen(end);
        const uint8_t *at = length ? memmem(b, count, end, length) : NULL;
        if (at) {
            return (int)((size_t)(at - b) + length);
        }
    }
    return 0;
}

int sim_frame(const struct sim_bus *bus, const uint8_t *bytes, size_t count)
{
    switch (bus->wire) {
    case SIM_MODBUS_TCP:
        return tcp_frame(bytes, count);
    case SIM_MODBUS_RTU:
        return rtu_frame(bytes, count);
    case SIM_TEXT_TCP:
    case SIM_TEXT_SERIAL:
        break;
    }
    return text_frame(bus, bytes, count);
}

double sim_wire_time(const struct sim_bus *bus, size_t count)
{
    if (bus->wire == SIM_MODBUS_RTU) {
        const struct es_modbus_bus *settings = bus->about->settings;
        return es_modbus_wire_time(settings->baud, count);
    }
    if (bus->wire == SIM_TEXT_SERIAL) {
        const struct es_line_bus *settings = bus->about->settings;
        const long bits = 1 + settings->data_bits + (settings->parity == 2 ? 0 : 1) + settings->stop_bits;
        return (double)bits * (double)count / (double)settings->baud;
    }
    return 0;
}

/* Any bytes from a Modbus client, over TCP (first byte even) and RTU: framing and answering survive, and an
 * answer never outgrows its protocol (Application Protocol V1.1b3, 4.1: 260 and 256 bytes). */
#include <stdlib.h>
#include <string.h>

#include "tests/fuzz/simulator/fuzz_simulator.h"

static void offer(struct sim_bus *bus, const uint8_t *data, size_t size, size_t most)
{
    uint8_t answer[SIM_ANSWER_MAX];
    while (size > 0) {
        const int length = sim_frame(bus, data, size);
        if (length <= 0) {
            return;
        }
        if ((size_t)length > size || sim_modbus_answer(bus, data, (size_t)length, answer) > most) {
            abort();
        }
        data += length;
        size -= (size_t)length;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct simulator *tcp, *rtu;
    if (!tcp) {
        tcp = fuzz_simulator("virtual-bench.json");
        rtu = fuzz_simulator("virtual-bench-rtu.json");
    }
    if (size == 0 || size > SIM_REQUEST_MAX) {
        return 0;
    }
    if (data[0] % 2 == 0) {
        offer(&tcp->buses[0], data + 1, size - 1, 260);
    } else {
        offer(&rtu->buses[0], data + 1, size - 1, 256);
    }
    return 0;
}

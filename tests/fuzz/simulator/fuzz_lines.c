/* Any text line to the loop source. */
#include <stdlib.h>

#include "tests/fuzz/simulator/fuzz_simulator.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct simulator *sim;
    uint8_t answer[SIM_ANSWER_MAX];
    if (!sim) {
        sim = fuzz_simulator("virtual-bench.json");
    }
    if (size > SIM_REQUEST_MAX) {
        return 0;
    }
    (void)sim_frame(&sim->buses[1], data, size);
    if (sim_text_answer(&sim->buses[1], data, size, answer) > sizeof answer) {
        abort();
    }
    return 0;
}

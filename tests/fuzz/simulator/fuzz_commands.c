/* Any text as a command: an answer or a clear error, never more. */
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "tests/fuzz/simulator/fuzz_simulator.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct simulator *sim;
    struct es_text answer = {0};
    struct es_error err = {0};
    char line[512];
    if (!sim) {
        sim = fuzz_simulator("virtual-bench.json");
    }
    const size_t length = size < sizeof line - 1 ? size : sizeof line - 1;
    memcpy(line, data, length);
    line[length] = '\0';
    if (strstr(line, "disconnect")) { /* would open wires */
        return 0;
    }
    if (sim_command(sim, line, &answer, &err) != ES_OK && !err.text[0]) {
        abort();
    }
    es_text_free(&answer);
    return 0;
}

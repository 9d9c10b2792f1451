/* A simulator of the shipped virtual bench without its wires, made once for a fuzzing process. */
#ifndef ES_TESTS_FUZZ_SIMULATOR_H
#define ES_TESTS_FUZZ_SIMULATOR_H

#include "rig/simulator/simulator.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct simulator *fuzz_simulator(const char *bench_file); /* in rig/bench/examples; aborts when it cannot */

#endif

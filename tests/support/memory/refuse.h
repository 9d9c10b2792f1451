/* Allocations that are refused in turn, for tests. Link es_test_memory: the linker then puts our calls before
 * the C library's (-Wl,--wrap) for all objects of the program; cJSON is hooked too. */
#ifndef ES_TESTS_MEMORY_REFUSE_H
#define ES_TESTS_MEMORY_REFUSE_H

#include "rig/base/error.h"

void refuse_setup(void); /* once, before anything is allocated that a refused call may free */

/* Is the next allocation refused? For allocators that cannot be wrapped; counts like an allocation. */
bool refuse_next(void);

/* From here on the allocation number `at` is refused (from 1), and with `ever` all after it. */
void refuse_arm(unsigned at, bool ever);

/* Nothing more is refused. Tells whether nothing was. */
bool refuse_disarm(void);

/* Runs `operation` with each allocation refused in turn, once and then from there on, until it goes through
 * (it must then say ES_OK, and have allocated more than `least` times); refused, it must say ES_NO_MEMORY.
 * Beyond the first 100 only every `step`th is tried. `lenient`: ES_OK is allowed although one was refused. */
void refuse_each(enum es_status (*operation)(void), unsigned least, unsigned step, bool lenient);

#endif

/* What somebody who wrote a unit otherwise may have meant. Pure. */
#ifndef ES_BASE_UNIT_HINT_H
#define ES_BASE_UNIT_HINT_H

#include "rig/base/quantity.h"

#define ES_UNIT_HINT_SIZE 160

/* To stand behind `written`, which is no unit of dimension d (ES_DIM_COUNT: of none): a space and a remark in
 * brackets, such as ` (did you mean "bar"?)`, or "". Always terminated. */
void es_unit_hint(const char *written, enum es_dimension d, char out[ES_UNIT_HINT_SIZE]);

#endif

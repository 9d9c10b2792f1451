/* The kind of a reason: the same for the same thing with other numbers. "step 1 of 4: not settled: still
 * moving by 2.5 %" and "step 3 of 4: not settled: still moving by 7 %" are one kind. Pure. */
#ifndef ES_JUDGEMENT_REASON_H
#define ES_JUDGEMENT_REASON_H

#include <stddef.h>

#define ES_REASON_KIND 120

/* Numbers become "#", a leading "step # of #: " goes; cut at ES_REASON_KIND - 1 bytes, never inside a
 * character. `reason` NULL gives "". */
void es_reason_kind(const char *reason, char out[static ES_REASON_KIND]);

#endif

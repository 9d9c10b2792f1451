/* Units as people and other programs write them: "Nm³/h", "°", "NL/min", "sec", "psig". Only spellings that
 * can mean one thing; for the rest there is unit_hint.h. Files of our own are written with the names of
 * units.h alone. Pure. */
#ifndef ES_BASE_UNIT_SPELLING_H
#define ES_BASE_UNIT_SPELLING_H

#include "rig/base/quantity.h"

/* What a spelling says of a pressure beside its unit. */
enum es_unit_state { ES_UNIT_PLAIN, ES_UNIT_GAUGE, ES_UNIT_ABSOLUTE };

#define ES_UNIT_PLAIN_SIZE 32

/* `text` with the signs of units in ASCII, "m³/h" as "m3/h", terminated; its length, 0 (and "") when it is
 * longer than any unit. */
size_t es_unit_make_plain(const char *text, size_t length, char out[ES_UNIT_PLAIN_SIZE]);

/* A name of units.h or another spelling of one; NULL when it is neither. *state is always set. */
const struct es_unit *es_unit_find_spelled(const char *text, size_t length, enum es_unit_state *state);

#endif

/* The invented kinds of unit, each with the test actuator it is mounted on. Static data. */
#ifndef ES_VIRTUAL_KIND_H
#define ES_VIRTUAL_KIND_H

#include "drivers/virtual/parameters.h"

/* What a fault needs the unit to have. */
enum es_virtual_need {
    ES_NEEDS_OUTPUT_2 = 1, /* double-acting */
    ES_NEEDS_LEVER = 2,    /* a lever on a linear stem */
    ES_NEEDS_WHOLE = 4     /* a whole positioner on its actuator: electronics, sensor, mounting */
};

unsigned es_virtual_has(enum es_virtual_type type); /* enum es_virtual_need, or-ed */

/* Nominal figures of a kind, over those that all have in common. */
void es_virtual_kind_apply(enum es_virtual_type type, struct es_parameters *p);
/* Last, over the spread of manufacturing: what has none. */
void es_virtual_kind_settle(struct es_parameters *p);

#endif

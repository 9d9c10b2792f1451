/* The table of units: internal to rig/base (quantity.c reads it, tests walk it). Static data. */
#ifndef ES_BASE_UNITS_H
#define ES_BASE_UNITS_H

#include "rig/base/quantity.h"

extern const struct es_unit es_units[];
extern const size_t es_unit_count;

#endif

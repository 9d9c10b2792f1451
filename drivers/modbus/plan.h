/* Points to requests: pure. */
#ifndef ES_DRIVERS_MODBUS_PLAN_H
#define ES_DRIVERS_MODBUS_PLAN_H

#include "drivers/modbus/modbus.h"

struct es_modbus_block {
    size_t instrument;
    int table; /* enum es_modbus_table */
    uint16_t address, count;
    size_t first, points; /* into es_modbus_plan.order */
    bool settings;        /* of outputs only */
};

struct es_modbus_plan {
    const struct es_modbus_channel **channels; /* by point */
    size_t *order;                             /* point indices, sorted by block */
    size_t point_count;
    struct es_modbus_block *blocks;
    struct es_request *requests; /* one a block, as the driver's interface wants them */
    size_t block_count;
};

/* The fewest blocks that read the points: neighbours are read together across at most the instrument's gap,
 * never across its unreadable addresses and never beyond its largest answer. */
enum es_status es_modbus_plan_make(const struct es_instrument_common *instruments,
                                   const struct es_point *points, size_t count, struct es_modbus_plan *out,
                                   struct es_error *err) ES_MUST_CHECK;
void es_modbus_plan_free(struct es_modbus_plan *plan); /* leaves it empty */

/* Ranges as "100-199, 300". NULL when well formed, else one sentence. */
const char *es_modbus_ranges_fault(const char *text);
/* True when any address of first..last is in the ranges (NULL: none). */
bool es_modbus_ranges_touch(const char *text, long first, long last);

#endif

/* One source of air for several stations: mains -> line -> header -> each station's filter and regulator.
 * What one station draws, the others feel.
 *
 * The stations on one source share its time: advancing any of them advances all, so one thread drives them
 * all. The header is updated every 10 ms from what was drawn; the numbers do not depend on how time is cut
 * into calls. The header's air stays at the surroundings' temperature (it is a tank); mass is kept. */
#ifndef ES_DRIVERS_VIRTUAL_COMMON_SUPPLY_H
#define ES_DRIVERS_VIRTUAL_COMMON_SUPPLY_H

#include "drivers/virtual/virtual_bench.h"

#define ES_VIRTUAL_SUPPLY_STATIONS 32

struct es_virtual_supply_config {
    double mains;       /* Pa gauge */
    double conductance; /* m3/(s Pa) ANR, of the line to the header; critical ratio 0.3 */
    double volume;      /* m3, of the header */
    double ambient_pressure, ambient_temperature; /* Pa absolute, K */
};

/* A usual line: 7.5 bar, 2 dm3/(s bar), 5 l. */
void es_virtual_supply_config_init(struct es_virtual_supply_config *config);

struct es_virtual_supply; /* one thread, with all its stations */

/* Starts with the header at the mains' pressure. ES_RANGE when a figure is not above 0 and finite. */
enum es_status es_virtual_supply_new(const struct es_virtual_supply_config *config,
                                     struct es_virtual_supply **out, struct es_error *err) ES_MUST_CHECK;
/* Its stations keep the pressure that they have at that moment. NULL allowed. */
void es_virtual_supply_free(struct es_virtual_supply *supply);

/* From now on the station draws from it instead of from its own source; es_virtual_free takes it off again.
 * ES_USAGE when it is on a common supply already, ES_RANGE when there is no room. */
enum es_status es_virtual_supply_join(struct es_virtual_supply *supply, struct es_virtual *v,
                                      struct es_error *err) ES_MUST_CHECK;
void es_virtual_supply_leave(struct es_virtual *v); /* no effect when it is on none */

/* What the mains do from now on. ES_RANGE as above. */
enum es_status es_virtual_supply_set(struct es_virtual_supply *supply, double mains, double conductance,
                                     struct es_error *err) ES_MUST_CHECK;

struct es_virtual_supply_inner {
    double pressure; /* Pa gauge, of the header */
    double mains, conductance;
    double mass;              /* kg in the header */
    double mass_in, mass_out; /* kg since the start: from the mains, to the stations */
};
void es_virtual_supply_look(const struct es_virtual_supply *supply, struct es_virtual_supply_inner *out);

#endif

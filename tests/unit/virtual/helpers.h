/* A virtual station as tests use it: writes that must succeed, and readiness in one call. */
#ifndef ES_TESTS_VIRTUAL_HELPERS_H
#define ES_TESTS_VIRTUAL_HELPERS_H

#include "drivers/virtual/virtual_bench.h"

#define BAR  1e5
#define MA   1e-3
#define DEG  0.017453292519943295
#define NL_H (1.087440005e-3 / 3600) /* m3/s ANR */

struct es_virtual *start(enum es_virtual_type type, uint64_t seed);
/* Nominal unit, perfect instruments. */
struct es_virtual *start_nominal(enum es_virtual_type type);
struct es_virtual *start_with(enum es_virtual_type type, uint64_t seed, const char *fault, double severity);
void set(struct es_virtual *v, enum es_role role, double value);
/* Supply on, outputs joined to the actuator, vents shut, demand given, waited. */
void connect_actuator(struct es_virtual *v, double supply);
void demand(struct es_virtual *v, double current, double seconds);
/* Supply on, outputs into their closed volumes. */
void close_volumes(struct es_virtual *v, double supply);
double truth(const struct es_virtual *v, enum es_role role);
struct es_virtual_inner look(const struct es_virtual *v);

#endif

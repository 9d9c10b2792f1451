/* Prints a stroke of the test actuator for compare_actuator.py:
 *   virtual_actuator TYPE DURATION
 * First line: the figures of actuator and isolating valves. Then, every millisecond: time, pressure and
 * temperature of node 1 and 2 (what drives it), of chamber 1 and 2, position, velocity. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/kind.h"
#include "drivers/virtual/virtual_bench.h"

static bool put(struct es_virtual *v, enum es_role role, double value)
{
    struct es_error err;
    return es_virtual_write(v, role, value, &err) == ES_OK;
}

static bool print_figures(const struct es_virtual_config *config)
{
    struct es_parameters p;
    es_parameters_draw(config, &p);
    const struct es_actuator_parameters *a = &p.actuator;
    return printf("%.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g\n", a->area,
                  a->length, a->mass, a->preload, a->spring_rate, a->coulomb, a->adhesion, a->viscous,
                  a->stribeck, a->dead_volume[0], a->hA, p.bench.C_isolating) > 0;
}

int main(int argc, char **argv)
{
    struct es_virtual_config config;
    struct es_virtual *v;
    enum es_virtual_type type;
    struct es_error err;
    if (argc != 3 || !es_virtual_type_find(argv[1], &type)) {
        return 2;
    }
    es_virtual_config_init(&config, type);
    config.spread = 0;
    if (!print_figures(&config) || es_virtual_new(&config, &v, &err) != ES_OK) {
        return 3;
    }
    bool good = put(v, ES_ROLE_OUTPUT_1_VENT, 0) && put(v, ES_ROLE_OUTPUT_2_VENT, 0) &&
                put(v, ES_ROLE_OUTPUT_1_ISOLATING, 1) && put(v, ES_ROLE_OUTPUT_2_ISOLATING, 1) &&
                put(v, ES_ROLE_SUPPLY_DEMAND, 4e5) && put(v, ES_ROLE_SUPPLY_VALVE, 1);
    es_virtual_advance(v, 3);
    good = good && put(v, ES_ROLE_LOOP_DEMAND, 4e-3);
    es_virtual_advance(v, 5); /* awake, and driven to its lower end */
    good = good && put(v, ES_ROLE_LOOP_DEMAND, 20e-3);
    const int count = (int)(strtod(argv[2], NULL) * 1000);
    for (int n = 0; n <= count && good; n++) {
        struct es_virtual_inner in;
        es_virtual_look(v, &in);
        good = printf("%.3f %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g\n", n * 1e-3,
                      in.pressure[ES_NODE_1], in.temperature[ES_NODE_1], in.pressure[ES_NODE_2],
                      in.temperature[ES_NODE_2], in.pressure[ES_CHAMBER_1], in.temperature[ES_CHAMBER_1],
                      in.pressure[ES_CHAMBER_2], in.temperature[ES_CHAMBER_2],
                      es_virtual_truth(v, ES_ROLE_TRAVEL), in.velocity) > 0;
        es_virtual_advance(v, 0.001);
    }
    es_virtual_free(v);
    return good ? 0 : 3;
}

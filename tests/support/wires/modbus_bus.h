/* A modbus bus opened against the test server, in the ways that the driver can be opened. */
#ifndef ES_TESTS_MODBUS_BUS_H
#define ES_TESTS_MODBUS_BUS_H

#include "drivers/modbus/driver_open.h"
#include "tests/support/wires/modbus_server.h"

/* direct: libmodbus on the line's own descriptor. fed: through a layer that does nothing but pass bytes. */
enum way { RTU_DIRECT, RTU_FED, TCP_DIRECT, TCP_FED, WAYS };
extern const char *const way_names[WAYS];
static inline bool way_is_tcp(enum way w)
{
    return w >= TCP_DIRECT;
}

#define BUS_INSTRUMENTS_MAX 4
#define BUS_POINTS_MAX      64

struct test_bus {
    struct es_modbus_bus settings;
    struct es_modbus_instrument instrument_settings[BUS_INSTRUMENTS_MAX];
    struct es_instrument_common instruments[BUS_INSTRUMENTS_MAX];
    size_t instrument_count;
    struct es_modbus_channel channels[BUS_POINTS_MAX];
    struct es_point points[BUS_POINTS_MAX];
    size_t point_count;
    struct es_bus *bus;
    const struct es_request *requests;
    size_t request_count;
};

/* Settings for one instrument, unit 1, time-out 60 ms, turn-around 120 ms; change them before bus_open. */
void bus_prepare(struct test_bus *b, const struct modbus_server *server, enum way way);
void bus_add_instrument(struct test_bus *b, unsigned unit, const char *name);
struct es_modbus_channel *bus_add_point(struct test_bus *b, size_t instrument, int table, long address,
                                        int type);
/* Opens and plans. The transport may be NULL: the driver's own way of opening (or fed, for those ways). */
enum es_status bus_open(struct test_bus *b, enum way way, struct es_transport *transport,
                        struct es_error *err);
void bus_close(struct test_bus *b);
/* Opens the line alone. */
enum es_status bus_transport(const struct test_bus *b, struct es_transport **out, struct es_error *err);

#endif

#include "tests/support/wires/modbus_bus.h"

#include <stdlib.h>
#include <string.h>

const char *const way_names[WAYS] = {"RTU", "RTU through a layer", "TCP", "TCP through a layer"};

void bus_prepare(struct test_bus *b, const struct modbus_server *server, enum way way)
{
    memset(b, 0, sizeof *b);
    b->settings.mode = way_is_tcp(way) ? ES_MODBUS_TCP : ES_MODBUS_RTU;
    b->settings.baud = 115200;
    b->settings.parity = ES_PARITY_NONE;
    b->settings.host = "127.0.0.1";
    b->settings.connect_timeout = 0.5;
    if (way_is_tcp(way))
        b->settings.port = peer_port(server->peer);
    else
        b->settings.device = (char *)peer_path(server->peer);
    bus_add_instrument(b, 1, "instrument 1");
}

void bus_add_instrument(struct test_bus *b, unsigned unit, const char *name)
{
    size_t i = b->instrument_count++;
    b->instrument_settings[i] = (struct es_modbus_instrument){
        .unit = (long)unit, .gap = 8, .max_registers = 125, .max_bits = 2000, .identity_count = 1};
    b->instruments[i] = (struct es_instrument_common){
        .name = name, .timeout = 0.06, .turn_around = 0.12, .settings = &b->instrument_settings[i]};
}

struct es_modbus_channel *bus_add_point(struct test_bus *b, size_t instrument, int table, long address,
                                        int type)
{
    size_t i = b->point_count++;
    b->channels[i] = (struct es_modbus_channel){.table = table, .address = address, .type = type, .bit = -1};
    bool writable = table == ES_MODBUS_COIL || table == ES_MODBUS_HOLDING;
    b->points[i] = (struct es_point){instrument, &b->channels[i], writable};
    return &b->channels[i];
}

enum es_status bus_transport(const struct test_bus *b, struct es_transport **out, struct es_error *err)
{
    if (b->settings.mode == ES_MODBUS_TCP)
        return es_tcp_open(b->settings.host, (int)b->settings.port, b->settings.connect_timeout, out, err);
    const struct es_serial_settings serial = {.device = b->settings.device,
                                              .baud = b->settings.baud,
                                              .data_bits = 8,
                                              .parity = ES_PARITY_NONE,
                                              .stop_bits = 2};
    return es_serial_open(&serial, out, err);
}

enum es_status bus_open(struct test_bus *b, enum way way, struct es_transport *transport,
                        struct es_error *err)
{
    enum es_status status = ES_OK;
    bool fed = way == RTU_FED || way == TCP_FED;
    if (fed && !transport) {
        const struct es_fault_plan none = {.seed = 1};
        status = bus_transport(b, &transport, err);
        if (status == ES_OK)
            transport = es_fault_wrap(transport, &none);
    }
    if (status != ES_OK)
        return status;
    if (transport)
        status =
            es_modbus_open_on(transport, &b->settings, b->instruments, b->instrument_count, &b->bus, err);
    else
        status = es_modbus_driver.open(&b->settings, b->instruments, b->instrument_count, &b->bus, err);
    if (status == ES_OK)
        status =
            es_modbus_driver.plan(b->bus, b->points, b->point_count, &b->requests, &b->request_count, err);
    return status;
}

void bus_close(struct test_bus *b)
{
    es_modbus_driver.close(b->bus);
}

/* The modbus driver on a transport that somebody else has opened: for tests with faults, replays and traces.
 */
#ifndef ES_DRIVERS_MODBUS_DRIVER_OPEN_H
#define ES_DRIVERS_MODBUS_DRIVER_OPEN_H

#include "drivers/modbus/modbus.h"
#include "drivers/transport/transport.h"

/* As es_modbus_driver.open. Takes the transport, also on failure. */
enum es_status es_modbus_open_on(struct es_transport *transport, const struct es_modbus_bus *settings,
                                 const struct es_instrument_common *instruments, size_t count,
                                 struct es_bus **out, struct es_error *err) ES_MUST_CHECK;

#endif

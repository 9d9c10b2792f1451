/* The rows of the modbus driver's settings and what rows cannot say. */
#ifndef ES_DRIVERS_MODBUS_FIELDS_H
#define ES_DRIVERS_MODBUS_FIELDS_H

#include "drivers/modbus/modbus.h"

#define ES_MODBUS_BUS_FIELDS        11
#define ES_MODBUS_INSTRUMENT_FIELDS 10
#define ES_MODBUS_CHANNEL_FIELDS    8

extern const struct es_field es_modbus_bus_fields[ES_MODBUS_BUS_FIELDS];
extern const struct es_field es_modbus_instrument_fields[ES_MODBUS_INSTRUMENT_FIELDS];
extern const struct es_field es_modbus_channel_fields[ES_MODBUS_CHANNEL_FIELDS];

/* As the slots of struct es_driver. */
bool es_modbus_check_bus(const struct es_document *doc, const cJSON *object, void *settings,
                         struct es_findings *findings);
bool es_modbus_check_instrument(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                                const void *settings, struct es_findings *findings);
bool es_modbus_check_channel(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                             const void *settings, bool writable, struct es_findings *findings);

bool es_modbus_clash(const void *channel, bool writable, const void *other, bool other_writable);

#endif

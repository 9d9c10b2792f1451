/* The rows of the line driver's settings and what rows cannot say. */
#ifndef ES_DRIVERS_LINE_FIELDS_H
#define ES_DRIVERS_LINE_FIELDS_H

#include "drivers/line/line.h"

#define ES_LINE_BUS_FIELDS        13
#define ES_LINE_INSTRUMENT_FIELDS 6
#define ES_LINE_CHANNEL_FIELDS    7

extern const struct es_field es_line_bus_fields[ES_LINE_BUS_FIELDS];
extern const struct es_field es_line_instrument_fields[ES_LINE_INSTRUMENT_FIELDS];
extern const struct es_field es_line_channel_fields[ES_LINE_CHANNEL_FIELDS];

/* As the slots of struct es_driver. */
bool es_line_check_bus(const struct es_document *doc, const cJSON *object, void *settings,
                       struct es_findings *findings);
bool es_line_check_instrument(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                              const void *settings, struct es_findings *findings);
bool es_line_check_channel(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                           const void *settings, bool writable, struct es_findings *findings);

bool es_line_clash(const void *channel, bool writable, const void *other, bool other_writable);

#endif

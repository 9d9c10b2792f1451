/* Pseudo-terminals, which libserialport cannot open. Internal to drivers/transport: use es_serial_open. */
#ifndef ES_DRIVERS_TRANSPORT_TERMINAL_H
#define ES_DRIVERS_TRANSPORT_TERMINAL_H

#include "drivers/transport/transport.h"

/* `path` is looked up anew at each reopen, so that a link to another pseudo-terminal is followed. */
enum es_status es_terminal_open(const char *path, struct es_transport **out,
                                struct es_error *err) ES_MUST_CHECK;

#endif

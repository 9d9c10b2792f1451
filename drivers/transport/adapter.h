/* Which serial adapter a port belongs to, so that it is found again under another name. Internal to
 * drivers/transport. Read from the system's own files: libserialport 0.1.1's list of ports crashes when a
 * port vanishes while it is being listed (README.md). Safe from any thread; ports may come and go at any
 * moment. */
#ifndef ES_DRIVERS_TRANSPORT_ADAPTER_H
#define ES_DRIVERS_TRANSPORT_ADAPTER_H

#include <stdbool.h>
#include <stddef.h>

#include "rig/base/error.h"

/* Where the system lists its terminals; tests put a folder of their own in its place. */
#define ES_ADAPTER_TERMINALS "/sys/class/tty"

struct es_adapter {
    bool usb; /* false: a built-in port, known by its name alone */
    int vendor, product;
    char serial[128];   /* USB serial number; "" when it has none */
    char location[256]; /* where it is plugged in, by the system's device path */
    char interface[16]; /* which of the adapter's ports, ":1.0" */
};

/* Of a port by its full path. ES_HANGUP when the port is not there, or goes while it is looked at. */
enum es_status es_adapter_of(const char *terminals, const char *port, struct es_adapter *out,
                             struct es_error *err) ES_MUST_CHECK;

/* True when `b` is the same port of the same adapter as `a`, wherever it is plugged in (it has a serial
 * number) or at the same place (it has none). */
bool es_adapter_same(const struct es_adapter *a, const struct es_adapter *b);

/* The full path of the port that this adapter has now. ES_HANGUP when it is not plugged in, or when several
 * look alike and none is where it was. */
enum es_status es_adapter_find(const char *terminals, const struct es_adapter *wanted, char *port,
                               size_t size, struct es_error *err) ES_MUST_CHECK;

/* The first port (by interface) of the adapter with this USB serial number; ES_HANGUP when there is none. */
enum es_status es_adapter_find_serial(const char *terminals, const char *serial, char *port, size_t size,
                                      struct es_error *err) ES_MUST_CHECK;

#endif

/* The interface of all drivers. A driver is one folder and one row in drivers/table.c.
 *
 * Contract: close is called if and only if open succeeded, once. All calls come on the bus's own thread.
 * On error the instruments' outputs are untouched and err holds one sentence for the operator. A driver
 * knows no procedure, no tolerance, no certificate: it moves raw numbers. No driver reads raw
 * configuration: it exports rows, and the bench file's reader fills its structs.
 *
 * Trust: after ES_TIMEOUT or ES_GARBLED the bus is suspect. Nothing is sent on a suspect bus before it has
 * been settled, and nothing is read from an instrument that failed to answer before it has been identified
 * again: every call below sees to that itself when the caller has not (it then takes longer), so that a late
 * answer is never taken for the next one. A write to a suspect bus does not identify, and does not wait out
 * the quiet time where its confirmation names its own address and value: outputs must be able to go to the
 * safe state. The bus stays suspect for reads. */
#ifndef ES_DRIVERS_DRIVER_H
#define ES_DRIVERS_DRIVER_H

#include "rig/base/clock.h"
#include "rig/base/document.h"
#include "rig/base/error.h"

struct es_bus; /* the driver's own: one open serial line or connection */

/* One addressable thing of an instrument. `address` is the driver's channel struct, filled by its rows. */
struct es_point {
    size_t instrument; /* index into the instruments given to open */
    const void *address;
    bool writable;
};

/* Settings that every instrument has, whatever its driver. */
struct es_instrument_common {
    const char *name;
    double timeout;       /* s, for one answer */
    long retries;         /* after the first try, for reads only; writes are never repeated blindly */
    double latency;       /* s: request received -> value taken (serial lines) */
    double u_latency;     /* s, standard */
    double turn_around;   /* s: longest time from request to end of answer; the quiet time of a suspect bus */
    const void *settings; /* the driver's instrument struct */
};

/* One request of a plan: it reads `count` points, point_index[i] of those given to plan. */
struct es_request {
    size_t instrument;
    size_t count;
    const size_t *point_index;
};

struct es_raw {
    double value; /* the register's or answer's number, before scale and calibration */
    bool valid;   /* false: the answer held no number (NaN, overflow word) */
};

struct es_stamp {
    es_time taken; /* when the instrument took the values */
    double u_time; /* s, standard */
};

struct es_driver {
    const char *name;    /* "modbus" */
    const char *summary; /* one line */

    const struct es_field *bus_fields;
    size_t bus_field_count;
    size_t bus_size;
    const struct es_field *instrument_fields;
    size_t instrument_field_count;
    size_t instrument_size;
    const struct es_field *channel_fields;
    size_t channel_field_count;
    size_t channel_size;

    /* Checks what rows cannot say (two settings that exclude each other); adds findings at `object`.
     * Completes the settings: a relative device path is made relative to the document's folder. */
    bool (*check_bus)(const struct es_document *doc, const cJSON *object, void *settings,
                      struct es_findings *findings);
    bool (*check_instrument)(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                             const void *settings, struct es_findings *findings);
    bool (*check_channel)(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                          const void *settings, bool writable, struct es_findings *findings);

    /* True when two channels of one instrument cannot both be meant: both write to one place, or they share a
     * part of what they address. NULL: never. */
    bool (*clash)(const void *channel, bool writable, const void *other, bool other_writable);

    /* Opens the line or connection. No instrument need answer. */
    enum es_status (*open)(const void *bus_settings, const struct es_instrument_common *instruments,
                           size_t instrument_count, struct es_bus **out, struct es_error *err);

    /* Identifies one instrument: text for people in `out`. Used at start and after every time-out. */
    enum es_status (*probe)(struct es_bus *bus, size_t instrument, char *out, size_t size,
                            struct es_error *err);

    /* Makes the fewest requests that read the points. The result belongs to the bus and lives until close
     * or the next plan. */
    enum es_status (*plan)(struct es_bus *bus, const struct es_point *points, size_t count,
                           const struct es_request **requests, size_t *request_count, struct es_error *err);

    /* Runs request `index` of the plan once; values in the request's order. Retries are the caller's. */
    enum es_status (*read)(struct es_bus *bus, size_t index, struct es_raw *values, struct es_stamp *stamp,
                           struct es_error *err);

    /* Writes one point once; *acted is when the instrument took it. After ES_TIMEOUT nobody knows whether it
     * did; the text says so. */
    enum es_status (*write)(struct es_bus *bus, const struct es_point *point, double raw,
                            struct es_stamp *acted, struct es_error *err);

    /* Settings that can be asked for: points of a plan with `writable` set. True when the instrument tells
     * what was written to this channel (its driver's channel struct); both slots NULL: it never does. */
    bool (*shows_setting)(const void *channel);
    /* True when `read` is what writing `raw` must have left there: the register's type and the digits of a
     * command round. */
    bool (*same_setting)(const void *channel, double raw, double read);

    /* After a time-out: waits until the line has been quiet for the longest turn-around, empties it. A TCP
     * connection is made anew. The caller probes afterwards. After a hang-up: tries once to get the line
     * back, a serial adapter under another name too. ES_HANGUP when it is still gone: call it again later, or
     * close and open (which looks for the configured name only). */
    enum es_status (*settle)(struct es_bus *bus, struct es_error *err);

    void (*close)(struct es_bus *bus);

    /* The largest rate, Hz, at which the planned requests can be repeated on this line; 0 unknown. */
    double (*line_limit)(struct es_bus *bus);

    /* One line for people: the port as it was opened, its settings, its adapter, what slows it. */
    void (*describe)(struct es_bus *bus, char *out, size_t size);
};

const struct es_driver *es_driver_find(const char *name); /* NULL when unknown */
const struct es_driver *const *es_driver_list(size_t *count);

#endif

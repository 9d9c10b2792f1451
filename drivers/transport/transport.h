/* The seam for bytes. A transport moves bytes and knows no frame. Real ones: serial port (libserialport),
 * pseudo-terminal (termios), TCP. Layers wrap another one and own it: byte trace, faults. Replay plays a
 * trace.
 *
 * One thread at a time. All waits are against absolute deadlines of es_clock_now. Outcomes are kept apart:
 * ES_TIMEOUT nothing came, ES_HANGUP the other end or the device is gone (also when a read gives nothing
 * after the system said that there is something), ES_IO the system refused. On error outputs are untouched.
 */
#ifndef ES_DRIVERS_TRANSPORT_H
#define ES_DRIVERS_TRANSPORT_H

#include <stdint.h>

#include "rig/base/clock.h"
#include "rig/base/error.h"

struct es_transport;

struct es_transport_ops {
    /* Waits for at least one byte. 1 <= *got <= size. */
    enum es_status (*read)(struct es_transport *t, uint8_t *to, size_t size, es_time deadline, size_t *got,
                           struct es_error *err);
    /* All of it or an error. */
    enum es_status (*write)(struct es_transport *t, const uint8_t *from, size_t count, es_time deadline,
                            struct es_error *err);
    /* Waits until the bytes written have left this machine. */
    enum es_status (*drain)(struct es_transport *t, es_time deadline, struct es_error *err);
    /* Waits until a read would give at least one byte. */
    enum es_status (*wait)(struct es_transport *t, es_time deadline, struct es_error *err);
    /* Throws away what has arrived and was not read. */
    enum es_status (*flush)(struct es_transport *t, struct es_error *err);
    /* Tries once to get a lost line back (TCP: a new connection; serial: the same adapter, under another name
     * if need be). On error the transport stays as lost as it was. */
    enum es_status (*reopen)(struct es_transport *t, es_time deadline, struct es_error *err);
    /* The descriptor that a library may read and write itself, -1 when the bytes must pass through read and
     * write (layers, replay). */
    int (*descriptor)(const struct es_transport *t);
    void (*describe)(const struct es_transport *t, char *out, size_t size);
    void (*close)(struct es_transport *t); /* frees */
};

/* Implementations put this first in their own struct. */
struct es_transport {
    const struct es_transport_ops *ops;
};

enum es_status es_transport_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                 size_t *got, struct es_error *err) ES_MUST_CHECK;
enum es_status es_transport_write(struct es_transport *t, const uint8_t *from, size_t count, es_time deadline,
                                  struct es_error *err) ES_MUST_CHECK;
enum es_status es_transport_drain(struct es_transport *t, es_time deadline,
                                  struct es_error *err) ES_MUST_CHECK;
enum es_status es_transport_wait(struct es_transport *t, es_time deadline,
                                 struct es_error *err) ES_MUST_CHECK;
enum es_status es_transport_flush(struct es_transport *t, struct es_error *err) ES_MUST_CHECK;
enum es_status es_transport_reopen(struct es_transport *t, es_time deadline,
                                   struct es_error *err) ES_MUST_CHECK;
int es_transport_descriptor(const struct es_transport *t);
void es_transport_describe(const struct es_transport *t, char *out, size_t size);
void es_transport_close(struct es_transport *t); /* NULL allowed */

/* Reads and throws away until nothing has come for `quiet` s, then flushes. ES_GARBLED when the line is not
 * quiet by `deadline`. *discarded (NULL allowed) counts the bytes, also on error. */
enum es_status es_transport_settle(struct es_transport *t, double quiet, es_time deadline, size_t *discarded,
                                   struct es_error *err) ES_MUST_CHECK;

/* ---- Real lines ---- */

enum es_parity { ES_PARITY_EVEN, ES_PARITY_ODD, ES_PARITY_NONE };
enum es_flow { ES_FLOW_NONE, ES_FLOW_RTS_CTS, ES_FLOW_XON_XOFF };

struct es_serial_settings {
    const char *device;  /* path; a symbolic link is followed. NULL: by adapter alone */
    const char *adapter; /* USB serial number; NULL: any */
    long baud;
    int data_bits, parity, stop_bits, flow;
};

/* A serial port through libserialport; a pseudo-terminal (which libserialport cannot open) through termios,
 * there without parity, which pseudo-terminals refuse. Asks for low latency where the system has it and
 * describes what it got. The adapter's identity is kept for reopen. */
enum es_status es_serial_open(const struct es_serial_settings *settings, struct es_transport **out,
                              struct es_error *err) ES_MUST_CHECK;

/* Connects, without delay of small writes (TCP_NODELAY) and with keep-alive such that a silent half-open
 * connection is found within about ten seconds. `timeout` s bounds connecting; a host by name is looked up
 * before, by the system and in its own time, so a bench file better gives a number. */
enum es_status es_tcp_open(const char *host, int port, double timeout, struct es_transport **out,
                           struct es_error *err) ES_MUST_CHECK;

/* ---- Byte trace and replay: one format, see trace_text.h ---- */

/* Takes `inner` also when it fails. Appends to the file; each line is flushed. */
enum es_status es_trace_open(struct es_transport *inner, const char *path, struct es_transport **out,
                             struct es_error *err) ES_MUST_CHECK;

/* Plays a trace file: what is written must be what was recorded (else ES_GARBLED with both); the answers come
 * as recorded, at once or, when `paced`, after the recorded time. At the end of the trace: ES_TIMEOUT. */
enum es_status es_replay_open(const char *path, bool paced, struct es_transport **out,
                              struct es_error *err) ES_MUST_CHECK;

/* ---- Faults, for tests ---- */

enum es_fault {
    ES_FAULT_NONE,
    ES_FAULT_DROP,     /* the answer never comes */
    ES_FAULT_DELAY,    /* it comes `delay` late, whatever has been sent meanwhile */
    ES_FAULT_CORRUPT,  /* one bit is wrong */
    ES_FAULT_TRUNCATE, /* its end is missing */
    ES_FAULT_GARBAGE,  /* random bytes come before it */
    ES_FAULT_HANGUP,   /* the line goes, until reopen */
    ES_FAULT_COUNT
};

struct es_fault_plan {
    uint64_t seed;                      /* same seed, same faults */
    double probability[ES_FAULT_COUNT]; /* per write; the entry of ES_FAULT_NONE is ignored */
    double delay;                       /* s */
};

/* Takes `inner`. Each write draws the fault of the answer that follows it. NULL when memory is short (inner
 * is then closed). */
struct es_transport *es_fault_wrap(struct es_transport *inner, const struct es_fault_plan *plan);

/* The next write gets this fault, whatever the plan. */
void es_fault_force(struct es_transport *fault, enum es_fault kind);
/* How often each was done. */
void es_fault_counts(const struct es_transport *fault, unsigned long counts[static ES_FAULT_COUNT]);

#endif

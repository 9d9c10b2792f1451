/* One Modbus line: frames by libmodbus, bytes through the transport seam. See README.md for how the two meet.
 * One thread. */
#ifndef ES_DRIVERS_MODBUS_WIRE_H
#define ES_DRIVERS_MODBUS_WIRE_H

#include "drivers/modbus/answer.h"
#include "drivers/transport/transport.h"

struct es_modbus_wire;

struct es_modbus_exchange {
    uint8_t unit;
    const uint8_t *request; /* PDU */
    size_t request_count;
    double timeout; /* s, for the answer, its time on the wire excluded */
    uint8_t answer[ES_MODBUS_PDU_MAX];
    size_t answer_count;
    es_time begun, ended; /* just before the first byte was sent, just after the last came */
};

/* Takes the transport, also on failure. baud 0: TCP. silence 0: by the specification. */
enum es_status es_modbus_wire_open(struct es_transport *transport, long baud, double silence,
                                   struct es_modbus_wire **out, struct es_error *err) ES_MUST_CHECK;
void es_modbus_wire_close(struct es_modbus_wire *wire); /* NULL allowed */

/* Sends one request and takes its answer: ES_OK, ES_REFUSED (exception; answer holds it), ES_TIMEOUT,
 * ES_HANGUP, ES_GARBLED (also when bytes that nobody asked for were waiting; then nothing was sent). After
 * the last three the caller must settle before the next. */
enum es_status es_modbus_wire_exchange(struct es_modbus_wire *wire, struct es_modbus_exchange *x,
                                       struct es_error *err) ES_MUST_CHECK;

/* Makes the line usable without waiting for late answers: TCP gets a new connection, a lost line is looked
 * for. */
enum es_status es_modbus_wire_mend(struct es_modbus_wire *wire, struct es_error *err) ES_MUST_CHECK;
/* Mends, then waits until nothing has come for `quiet` s, then flushes. */
enum es_status es_modbus_wire_settle(struct es_modbus_wire *wire, double quiet,
                                     struct es_error *err) ES_MUST_CHECK;

void es_modbus_wire_describe(const struct es_modbus_wire *wire, char *out, size_t size);
double es_modbus_wire_silence(const struct es_modbus_wire *wire); /* s; 0 on TCP */

#endif

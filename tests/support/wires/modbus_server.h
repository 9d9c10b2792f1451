/* A Modbus server for tests, written without libmodbus: RTU on a pseudo-terminal or TCP, answering rightly
 * or, when told to, in every wrong way. */
#ifndef ES_TESTS_MODBUS_SERVER_H
#define ES_TESTS_MODBUS_SERVER_H

#include "tests/support/wires/peer.h"

#define SERVER_ADDRESSES 512 /* of each table; beyond: exception 02 */

enum server_act {
    SERVER_ANSWER,
    SERVER_SILENT,
    SERVER_LATE,         /* after server.delay */
    SERVER_TRUNCATE,     /* half of it */
    SERVER_CORRUPT,      /* one bit of the data is wrong */
    SERVER_EXCEPTION,    /* 04 */
    SERVER_OTHER_UNIT,   /* the answer names unit + 1 */
    SERVER_NOISE_BEFORE, /* bytes before the answer */
    SERVER_NOISE_AFTER,  /* bytes some time after the answer, unasked */
    SERVER_TWICE,        /* the answer comes twice */
    SERVER_OTHER_LENGTH, /* one register fewer than asked */
    SERVER_OTHER_FUNCTION,
    SERVER_HANGUP /* closes the line instead */
};

struct modbus_server {
    struct peer *peer;
    bool tcp;
    /* Set these before the traffic, or between exchanges. */
    double delay;       /* s, of SERVER_LATE */
    double baud;        /* > 0: paced, and requests without 3.5 characters of silence are not answered */
    double turn_around; /* s, from a request's end (and silence) to its answer */
    uint64_t units[4];  /* bit u: unit u is there */
    uint16_t holding[SERVER_ADDRESSES], input[SERVER_ADDRESSES];
    bool coils[SERVER_ADDRESSES], discrete[SERVER_ADDRESSES];
    long unreadable_first, unreadable_last; /* -1: none; reading across gives exception 02 */
    bool counting;                          /* holding register 0 and input register 0 count the requests */
    /* How the next requests are answered: acts[i] for request i after server_script; then SERVER_ANSWER. */
    enum server_act acts[64];
    unsigned act_count, act_next;
    enum server_act (*choose)(void *self, unsigned long request); /* when not NULL, instead */
    void *choose_self;
    unsigned short_silences; /* seen */
    unsigned long requests;
    es_time line_free; /* paced: end of the last traffic */
    es_time sampled;   /* when the newest request had arrived whole: its values are of then */
};

void server_start(struct modbus_server *s, bool tcp); /* s zeroed or with settings */
void server_stop(struct modbus_server *s);
void server_script(struct modbus_server *s, unsigned count, const enum server_act *acts);
void server_add_unit(struct modbus_server *s, unsigned unit);

uint16_t server_crc(const uint8_t *bytes,
                    size_t count); /* Serial Line V1.02, 6.2.2: first register, low byte first */

#endif

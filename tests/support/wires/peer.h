/* The other end of a wire, played by a thread: a pseudo-terminal or a TCP server. Bytes can be sent at once,
 * late, or paced as a line would. For tests and measuring programs. */
#ifndef ES_TESTS_PEER_H
#define ES_TESTS_PEER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rig/base/clock.h"

struct peer;

enum peer_kind { PEER_TERMINAL, PEER_TCP };

/* Called on the peer's thread with what has arrived and was not consumed; returns how many bytes it consumes,
 * or SIZE_MAX to hang up (a terminal then has a new path). `arrived` is when the newest bytes were read. */
typedef size_t peer_received(void *self, struct peer *peer, const uint8_t *bytes, size_t count,
                             es_time arrived);

/* Starts it; ends the test program when the system refuses. */
struct peer *peer_start(enum peer_kind kind, peer_received *received, void *self);
void peer_stop(struct peer *peer); /* frees */

const char *peer_path(const struct peer *peer); /* of the terminal */
int peer_port(const struct peer *peer);         /* of the TCP server */

/* From the callback: queues bytes for `due`. The order of sending is the order of due times. */
void peer_send(struct peer *peer, const uint8_t *bytes, size_t count, es_time due);
/* From the callback: as a line with `character` s a byte would deliver them, beginning at `begin`; returns
 * the end. */
es_time peer_send_paced(struct peer *peer, const uint8_t *bytes, size_t count, es_time begin,
                        double character);

/* From any thread. */
void peer_noise(struct peer *peer, const uint8_t *bytes, size_t count); /* at once, unasked */
void peer_drop(struct peer *peer); /* closes the connection or the terminal (which then has a new path) */
void peer_away(struct peer *peer); /* as drop, and nobody can connect */
void peer_back(struct peer *peer); /* after away: TCP on the same port, a terminal under a new path */
void peer_freeze(struct peer *peer,
                 bool frozen);         /* the connection stays, nothing is read or sent: half-open */
double peer_latest(struct peer *peer); /* s: the longest that bytes left after their time */
/* Pins the thread to one core. */
void peer_pin(struct peer *peer, int core);

#endif

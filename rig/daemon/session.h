/* One connection of the local socket. What it may take of memory is bounded: one request line in, one
 * outgoing buffer; what it follows is read from the feed only when it has taken what it was given. A peer
 * that does not read is dropped; nobody else notices. Event loop's thread only. */
#ifndef ES_DAEMON_SESSION_H
#define ES_DAEMON_SESSION_H

#include "rig/base/clock.h"
#include "rig/daemon/control.h"

#define ES_SESSION_OUT_MARK  (64u << 10) /* above this no further events are put in */
#define ES_SESSION_OUT_MAX   (2u << 20)  /* above this no further request is taken */
#define ES_SESSION_HELLO_S   10          /* s to say hello */
#define ES_SESSION_STALLED_S 20          /* s without taking a byte of what waits */

struct es_session;

/* Takes the connected, non-blocking `fd` over on ES_OK. ES_REFUSED: the peer may not talk to this daemon;
 * `group` is the one allowed besides the daemon's own user and root, (gid_t)-1 for none. */
enum es_status es_session_new(int fd, gid_t group, struct es_control *control, struct es_session **out,
                              struct es_error *err) ES_MUST_CHECK;
void es_session_free(struct es_session *session); /* NULL allowed; closes */

int es_session_fd(const struct es_session *session);
short es_session_events(const struct es_session *session); /* for poll */

/* Handles what poll reported (0 when it reported nothing) and fetches what it follows. False: the session is
 * over. */
bool es_session_turn(struct es_session *session, short revents, es_time now);

const char *es_session_user(const struct es_session *session);

#endif

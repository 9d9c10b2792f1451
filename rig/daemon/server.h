/* The local socket and the event loop around it. */
#ifndef ES_DAEMON_SERVER_H
#define ES_DAEMON_SERVER_H

#include <sys/types.h>

#include "rig/base/log.h"
#include "rig/daemon/control.h"

struct es_server;

#define ES_SERVER_SESSIONS 32

/* Listens at `path`: mode 0600, or 0660 with `group` when that is not (gid_t)-1. A socket file that nobody
 * answers at is replaced; one that somebody answers at, or anything else there, is ES_REFUSED. */
enum es_status es_server_open(const char *path, gid_t group, const struct es_log *log, struct es_server **out,
                              struct es_error *err) ES_MUST_CHECK;
void es_server_close(struct es_server *server); /* NULL allowed; removes the socket file */

/* Wakes the loop; from any thread. `self` is the server (the shape of es_control_options.wake). */
void es_server_wake(void *self);

/* Serves until SIGTERM or SIGINT is pending on `signals` (a signalfd), *signal tells which; with `until_idle`
 * until nothing is under way at any station, whatever signals come. ES_OK then. */
enum es_status es_server_run(struct es_server *server, struct es_control *control, int signals,
                             bool until_idle, int *signal, struct es_error *err) ES_MUST_CHECK;

/* Gives all clients what waits for them and lets them ask for what came of their runs, until they have gone
 * but for at most `seconds`; then ends their connections. To be called before the control is freed; the
 * server itself is closed after it, since stations wake it. */
void es_server_drain(struct es_server *server, double seconds);

#endif

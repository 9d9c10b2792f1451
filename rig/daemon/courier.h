/* Carries certificates to the archive, on a thread of its own, so that no run waits for a database: at the
 * start, whenever the log of certificates has grown, and again after outages (results/archive/outbox.h). */
#ifndef ES_DAEMON_COURIER_H
#define ES_DAEMON_COURIER_H

#include "rig/base/error.h"
#include "rig/base/log.h"

struct es_courier;

/* `state`: the state folder. `archive`: address, NULL for "STATE/archive.db". An archive that cannot be
 * reached is no error: it is tried again, and the log says when it is lost and found. Both texts are copied;
 * `log` is borrowed (NULL: none). */
enum es_status es_courier_start(const char *state, const char *archive, const struct es_log *log,
                                struct es_courier **out, struct es_error *err) ES_MUST_CHECK;
/* Finishes the transaction under way; some seconds when a server does not answer. NULL allowed. */
void es_courier_stop(struct es_courier *courier);

#endif

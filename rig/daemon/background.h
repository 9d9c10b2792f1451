/* Going to the background: the first process waits until the daemon is ready and then ends with the status
 * that it gives, so that whoever started it knows whether it runs. To be called before any thread exists. */
#ifndef ES_DAEMON_BACKGROUND_H
#define ES_DAEMON_BACKGROUND_H

#include "rig/base/error.h"

/* Forks. In the first process it never returns. In the daemon *ready is where es_background_ready writes. */
enum es_status es_background_begin(int *ready, struct es_error *err) ES_MUST_CHECK;

/* Sends the standard streams to `log` and lets the waiting process end with 0. */
enum es_status es_background_ready(int ready, const char *log, struct es_error *err) ES_MUST_CHECK;

/* Starting failed: lets the waiting process end with `exit_status`. */
void es_background_failed(int ready, int exit_status);

#endif

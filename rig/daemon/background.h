/* Going to the background: the first process waits until the daemon is ready and then ends with the status
 * that it gives, so that whoever started it knows whether it runs. To be called before any thread exists. */
#ifndef ES_DAEMON_BACKGROUND_H
#define ES_DAEMON_BACKGROUND_H

#include "rig/base/error.h"

/* Forks. In the first process it never returns. In the daemon *ready is where es_background_ready writes. */
enum es_status es_background_begin(int *ready, struct es_error *err) ES_MUST_CHECK;

/* Tells the waiting process the exit status to end with. The standard streams are then sent to `log` (NULL
 * when starting failed: they stay). */
enum es_status es_background_ready(int ready, int exit_status, const char *log,
                                   struct es_error *err) ES_MUST_CHECK;

#endif

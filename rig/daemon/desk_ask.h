/* Questions of a run to its operator: the run's thread waits here, a client's answer ends the wait. */
#ifndef ES_DAEMON_DESK_ASK_H
#define ES_DAEMON_DESK_ASK_H

#include "rig/bench/run.h"

/* es_run_watch.ask; self is the desk. */
enum es_status es_desk_ask(void *self, const struct es_question *q, struct es_answer *a,
                           bool (*give_up)(const void *site), const void *site, struct es_error *err);

#endif

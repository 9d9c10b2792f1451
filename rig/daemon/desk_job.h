/* Inside of a desk, shared by desk.c, desk_job.c (what its thread does) and desk_ask.c (questions). */
#ifndef ES_DAEMON_DESK_JOB_H
#define ES_DAEMON_DESK_JOB_H

#include <pthread.h>

#include "rig/daemon/desk.h"

enum es_desk_doing { ES_DESK_IDLE, ES_DESK_RUNNING, ES_DESK_STOPPING, ES_DESK_SETTLING };

struct es_desk {
    struct es_desk_options options;
    const struct es_site *site;
    struct es_feed *feed;

    pthread_mutex_t lock; /* everything below; never held while calling bench, store or watch */
    pthread_cond_t changed;
    enum es_desk_doing doing;
    bool thread_made;
    pthread_t thread;

    struct es_request_line request; /* of the run; stays unchanged while its thread runs */
    char run[64];
    char person[200];
    char why[200];
    uint64_t first_event;
    bool attended;
    unsigned attendants;
    es_time alone_since; /* 0: an operator is there, or none is needed */

    bool asking, answered;
    long question_number;
    const struct es_question *question; /* borrowed from the run's thread while asking */
    struct es_answer answer;
};

void *es_desk_run_job(void *desk);
void *es_desk_safe_job(void *desk);
void *es_desk_reset_job(void *desk);

/* A fresh identity: time of day and random digits. */
void es_desk_new_run(char run[static 64]);

/* One event with at most one further text member. */
void es_desk_tell(struct es_desk *desk, const char *event, const char *name, const char *text);

#endif

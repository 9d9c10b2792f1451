/* Follows what is under way at a station until it ends: shows progress, passes questions to the operator and
 * his answers back, turns ctrl-C into a stop. */
#ifndef ES_CLIENT_FOLLOW_H
#define ES_CLIENT_FOLLOW_H

#include "rig/base/document.h"
#include "rig/client/progress.h"
#include "rig/client/talk.h"

struct es_follow {
    struct es_talk *talk;
    const char *station;
    bool answers; /* questions are asked here */
    bool stopped; /* out: a stop was sent from here */
};

/* Blocks SIGINT and SIGTERM for the process; call before the run is asked for, so that none is missed. *fd is
 * a signalfd. */
enum es_status es_follow_signals(int *fd, struct es_error *err) ES_MUST_CHECK;

/* Returns with the last event ("ended" of a run, "safe" of a stop or reset; to be freed), or ES_HANGUP,
 * ES_CANCELLED (left by a second ctrl-C) ... */
enum es_status es_follow(struct es_follow *follow, struct es_progress *progress, int signals,
                         struct es_document **last, struct es_error *err) ES_MUST_CHECK;

#endif

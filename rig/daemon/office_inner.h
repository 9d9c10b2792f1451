/* What the parts of the office share. Internal to rig/daemon; the functions expect the lock to be held. */
#ifndef ES_DAEMON_OFFICE_INNER_H
#define ES_DAEMON_OFFICE_INNER_H

#include <pthread.h>

#include "results/certificate/key.h"
#include "rig/daemon/office.h"

#define ES_OFFICE_PREFIX_SIZE 25

struct es_office {
    struct es_office_options options;
    char prefix[ES_OFFICE_PREFIX_SIZE];
    pthread_mutex_t lock; /* store */
    struct es_store *store;
    struct es_key *key;
    const struct es_detection *table;
};

/* Enters a certificate (NULL: all that are missing), or the lines of the books, in the log. What they are is
 * durable and signed already; what cannot be entered now is logged, and is with the next one or at the next
 * start. */
void es_office_enter(struct es_office *o, const char *number);
void es_office_enter_books(struct es_office *o);

/* Whether the bench's key may sign now. The book of keys is asked each time: a key can be revoked while the
 * daemon runs. */
enum es_status es_office_check_key(struct es_office *o, struct es_error *err) ES_MUST_CHECK;

/* es_office_issue without the lock. */
enum es_status es_office_issue_locked(struct es_office *o, const struct es_outcome *outcome,
                                      const struct es_office_order *order,
                                      char number[static ES_STORE_NUMBER_MAX],
                                      struct es_error *err) ES_MUST_CHECK;

#endif

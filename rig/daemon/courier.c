#include "rig/daemon/courier.h"

#include <errno.h>
#include <inttypes.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "results/archive/outbox.h"
#include "rig/base/text.h"

#define SHORTEST_WAIT 1  /* s; doubled after each failure */
#define LONGEST_WAIT  60 /* s */
#define LOOK          1  /* s between looks at the log's length */

struct es_courier {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed; /* on the monotonic clock */
    bool stopping;
    char *state, *address, *log_path;
    const struct es_log *log;
    struct es_archive *archive; /* the thread's alone; NULL: not connected */
    bool lost;                  /* the log has said so */
};

static bool go_on(void *self)
{
    struct es_courier *c = self;
    pthread_mutex_lock(&c->lock);
    bool stopping = c->stopping;
    pthread_mutex_unlock(&c->lock);
    return !stopping;
}

static enum es_status deliver(struct es_courier *c, struct es_outbox_report *report, struct es_error *err)
{
    struct es_store *store = NULL;
    enum es_status s = es_store_open(c->state, ES_STORE_READ, &store, err);
    if (s == ES_OK && c->archive == NULL)
        s = es_archive_open(c->address, ES_ARCHIVE_WRITE, &c->archive, err);
    if (s == ES_OK)
        s = es_outbox_send(store, c->archive, go_on, c, report, err);
    es_store_close(store);
    if (s != ES_OK) { /* a new connection next time */
        es_archive_close(c->archive);
        c->archive = NULL;
    }
    return s;
}

/* Once when it is lost, once when it is back: an alarm that cries on is not heard. */
static bool deliver_and_tell(struct es_courier *c)
{
    struct es_outbox_report report = {0};
    struct es_error err = {0};
    if (deliver(c, &report, &err) != ES_OK) {
        if (!c->lost)
            es_log(c->log, ES_LOG_WARNING,
                   "certificates are kept here and not sent to the archive for now: %s. It is tried again",
                   err.text);
        c->lost = true;
        return false;
    }
    if (c->lost)
        es_log(c->log, ES_LOG_NOTICE, "the archive is back; it has been sent what it lacked");
    c->lost = false;
    if (report.left_out > 0)
        es_log(c->log, ES_LOG_ERROR, "%" PRIu64 " entries were left out: %s. See: endstop audit integrity",
               report.left_out, report.fault);
    if (report.fresh > 0)
        es_log(c->log, ES_LOG_INFO, "%" PRIu64 " certificates sent to the archive", report.fresh);
    return true;
}

/* The log's length: it grows with every certificate and with nothing else. */
static off_t length_of(const struct es_courier *c)
{
    struct stat info;
    return stat(c->log_path, &info) == 0 ? info.st_size : 0;
}

/* False once the daemon ends. */
static bool wait_for(struct es_courier *c, time_t seconds)
{
    struct timespec until;
    (void)clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += seconds;
    pthread_mutex_lock(&c->lock);
    int waited = 0;
    while (!c->stopping && waited != ETIMEDOUT)
        waited = pthread_cond_timedwait(&c->changed, &c->lock, &until);
    bool stopping = c->stopping;
    pthread_mutex_unlock(&c->lock);
    return !stopping;
}

static void *work(void *self)
{
    struct es_courier *c = self;
    time_t wait = SHORTEST_WAIT;
    bool going = true;
    while (going) {
        off_t length = length_of(c); /* before: what comes meanwhile is seen by the next look */
        bool done = deliver_and_tell(c);
        going = wait_for(c, done ? LOOK : wait);
        wait = done ? SHORTEST_WAIT : wait * 2 < LONGEST_WAIT ? wait * 2 : LONGEST_WAIT;
        while (going && done && length_of(c) == length)
            going = wait_for(c, LOOK);
    }
    return NULL;
}

static void free_courier(struct es_courier *c)
{
    es_archive_close(c->archive);
    (void)pthread_cond_destroy(&c->changed);
    (void)pthread_mutex_destroy(&c->lock);
    free(c->state);
    free(c->address);
    free(c->log_path);
    free(c);
}

enum es_status es_courier_start(const char *state, const char *archive, const struct es_log *log,
                                struct es_courier **out, struct es_error *err)
{
    struct es_courier *c = calloc(1, sizeof *c);
    if (c == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the archive");
    pthread_condattr_t monotonic;
    (void)pthread_condattr_init(&monotonic);
    (void)pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    (void)pthread_mutex_init(&c->lock, NULL);
    (void)pthread_cond_init(&c->changed, &monotonic);
    (void)pthread_condattr_destroy(&monotonic);
    struct es_text address = {0}, path = {0};
    es_text_printf(&path, "%s/log/certificates.log", state);
    if (archive != NULL)
        es_text_add(&address, archive);
    else
        es_text_printf(&address, "%s/archive.db", state);
    c->log = log;
    c->state = strdup(state);
    enum es_status s = es_text_take(&address, &c->address, err);
    if (s == ES_OK)
        s = es_text_take(&path, &c->log_path, err);
    es_text_free(&address);
    es_text_free(&path);
    if (s == ES_OK && c->state == NULL)
        s = es_fail(err, ES_NO_MEMORY, "not enough memory for the archive");
    int failed = s == ES_OK ? pthread_create(&c->thread, NULL, work, c) : 0;
    if (failed != 0)
        s = es_fail_errno(err, failed, "the thread for the archive could not be started");
    if (s != ES_OK) {
        free_courier(c);
        return s;
    }
    *out = c;
    return ES_OK;
}

void es_courier_stop(struct es_courier *c)
{
    if (c == NULL)
        return;
    pthread_mutex_lock(&c->lock);
    c->stopping = true;
    (void)pthread_cond_signal(&c->changed);
    pthread_mutex_unlock(&c->lock);
    (void)pthread_join(c->thread, NULL);
    free_courier(c);
}

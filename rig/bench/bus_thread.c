#include "rig/bench/bus_thread.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define RING_CAPACITY 8192 /* samples: two seconds of a 16-channel station at 200 Hz */
#define LATE_WINDOW   (10 * ES_NS_PER_S)

size_t es_bus_instrument_of(const struct es_bus_thread *t, size_t bench_instrument)
{
    size_t i = 0;
    while (t->about->instruments[i] != bench_instrument) {
        i++;
    }
    return i;
}

/* ---- The plan ---- */

static enum es_status collect_points(struct es_bus_thread *t, struct es_error *err)
{
    size_t most = 0;
    for (size_t s = 0; s < t->reader_count; s++) {
        most += t->readers[s].station->channel_count;
    }
    t->points = calloc(most + 1, sizeof *t->points);
    t->targets = calloc(most + 1, sizeof *t->targets);
    t->schedule = calloc(most + 1, sizeof *t->schedule);
    t->values = calloc(most + 1, sizeof *t->values);
    if (!t->points || !t->targets || !t->schedule || !t->values) {
        return es_fail(err, ES_NO_MEMORY, "no memory for bus \"%s\"", t->about->name);
    }
    for (size_t s = 0; s < t->reader_count; s++) {
        const struct es_bench_station *station = t->readers[s].station;
        for (size_t i = 0; i < station->channel_count; i++) {
            const struct es_bench_channel *c = &station->channels[i];
            if ((c->writable && !c->watched) || t->bench->instruments[c->instrument].bus != t->index) {
                continue;
            }
            t->points[t->point_count] =
                (struct es_point){es_bus_instrument_of(t, c->instrument), c->address, c->writable};
            t->targets[t->point_count++] = (struct es_bus_point){c, s};
        }
    }
    return ES_OK;
}

/* Asks the driver for the fewest requests; each is repeated as often as its fastest channel wants. */
static bool make_plan(struct es_bus_thread *t)
{
    struct es_error err;
    enum es_status status =
        t->about->driver->plan(t->bus, t->points, t->point_count, &t->requests, &t->request_count, &err);
    if (status != ES_OK) {
        t->request_count = 0;
        pthread_mutex_lock(&t->lock);
        snprintf(t->status.text, sizeof t->status.text, "%.250s", err.text);
        pthread_mutex_unlock(&t->lock);
        es_bus_link_say(t, "cannot be planned: %s", err.text);
        return false;
    }
    es_time now = es_clock_now();
    for (size_t i = 0; i < t->request_count; i++) {
        double rate = 0;
        t->schedule[i].settings = true;
        for (size_t k = 0; k < t->requests[i].count; k++) {
            const struct es_bench_channel *c = t->targets[t->requests[i].point_index[k]].channel;
            double wanted = c->rate;
            t->schedule[i].settings &= c->writable;
            rate = wanted > rate ? wanted : rate;
        }
        t->schedule[i].interval = es_from_seconds(1 / rate);
        t->schedule[i].next = now;
    }
    pthread_mutex_lock(&t->lock);
    t->status.line_limit = t->about->driver->line_limit ? t->about->driver->line_limit(t->bus) : 0;
    pthread_mutex_unlock(&t->lock);
    return true;
}

/* ---- One scan ---- */

static void count_scan(struct es_bus_thread *t, es_time deadline, es_time began, bool answered)
{
    double late = es_seconds(began - deadline);
    pthread_mutex_lock(&t->lock);
    t->status.requests++;
    t->status.answers += answered;
    if (began - t->late_from > LATE_WINDOW) {
        t->late_from = began;
        t->status.late_worst = 0;
    }
    t->status.late_worst = late > t->status.late_worst ? late : t->status.late_worst;
    if (began - t->rate_from >= ES_NS_PER_S) {
        t->status.scan_rate =
            (double)(t->status.answers - t->rate_answers) / es_seconds(began - t->rate_from);
        t->rate_from = began;
        t->rate_answers = t->status.answers;
    }
    pthread_mutex_unlock(&t->lock);
}

/* Hands the values of one request to the stations that they belong to. */
static void deliver(struct es_bus_thread *t, const struct es_request *q, const struct es_raw *values,
                    const struct es_stamp *stamp, bool failed)
{
    struct es_sample samples[ES_ROLE_COUNT];
    t->scan++;
    for (size_t s = 0; s < t->reader_count; s++) {
        size_t count = 0;
        for (size_t k = 0; k < q->count; k++) {
            const struct es_bus_point *p = &t->targets[q->point_index[k]];
            if (p->reader != s || count == ES_ROLE_COUNT) {
                continue;
            }
            struct es_sample *x = &samples[count++];
            *x = (struct es_sample){.taken = stamp->taken,
                                    .u_time = (float)stamp->u_time,
                                    .role = (uint8_t)p->channel->role,
                                    .quality = ES_FAILED,
                                    .scan = t->scan};
            if (!failed && p->channel->writable) {
                x->quality = values[k].valid ? ES_GOOD : ES_FAILED;
                x->value = values[k].value;
            } else if (!failed) {
                x->quality = (uint8_t)es_channel_value(p->channel, values[k], &x->value);
            }
        }
        if (count) {
            (void)es_ring_push(&t->readers[s].ring, samples, count); /* dropped ones are counted there */
            sem_post(t->readers[s].wake);
        }
    }
}

static void scan(struct es_bus_thread *t, size_t index)
{
    const struct es_request *q = &t->requests[index];
    struct es_bus_schedule *plan = &t->schedule[index];
    struct es_stamp stamp;
    struct es_error err = {0};
    es_time began = es_clock_now(), deadline = plan->next;
    if (plan->settings && began - deadline > plan->interval) {
        deadline = plan->next = began; /* a run has begun: not asked for before */
    }
    enum es_status status = t->about->driver->read(t->bus, index, t->values, &stamp, &err);
    plan->next += plan->interval;
    es_time now = es_clock_now();
    if (t->options.scanned) {
        t->options.scanned(t->options.scanned_self, t->index, deadline, began, now);
    }
    if (plan->next < now) {
        /* Late by more than one interval: the grid stays, what was missed is not made up for. */
        plan->next += (now - plan->next + plan->interval - 1) / plan->interval * plan->interval;
    }
    count_scan(t, deadline, began, status == ES_OK);
    if (status == ES_OK) {
        es_bus_link_answered(t, q->instrument);
        deliver(t, q, t->values, &stamp, false);
        return;
    }
    if (status == ES_REFUSED) {
        stamp = (struct es_stamp){now, 0};
        deliver(t, q, t->values, &stamp, true);
    }
    es_bus_link_failed(t, q->instrument, status, &err);
}

/* The request whose time comes first, leaving out silent and wrong instruments. */
static bool next_scan(const struct es_bus_thread *t, size_t *index, es_time *when)
{
    bool any = false, run = atomic_load(&t->busy) > 0;
    for (size_t i = 0; i < t->request_count; i++) {
        if (t->schedule[i].settings && !run) {
            continue;
        }
        enum es_instrument_state state = t->instruments[t->requests[i].instrument].state;
        if (state == ES_INSTRUMENT_SILENT || state == ES_INSTRUMENT_WRONG) {
            continue;
        }
        if (!any || t->schedule[i].next < *when) {
            any = true;
            *index = i;
            *when = t->schedule[i].next;
        }
    }
    return any;
}

/* ---- One write ---- */

static void write_job(struct es_bus_thread *t, struct es_bus_job *job)
{
    struct es_bus_job copy = *job;
    size_t i = es_bus_instrument_of(t, copy.channel->instrument);
    struct es_point point = {i, copy.channel->address, true};
    struct es_stamp acted = {0};
    struct es_error err = {0};
    enum es_status status;
    job->state = ES_JOB_BUSY;
    bool wrong = t->instruments[i].state == ES_INSTRUMENT_WRONG;
    pthread_mutex_unlock(&t->lock);
    if (wrong) {
        status =
            es_fail(&err, ES_REFUSED, "%s is not the instrument that the bench file names; nothing was sent",
                    t->commons[i].name);
    } else {
        status = t->about->driver->write(t->bus, &point, copy.raw, &acted, &err);
    }
    if (status == ES_OK) {
        es_bus_link_answered(t, i);
    } else if (!wrong) {
        es_bus_link_failed(t, i, status, &err);
    }
    pthread_mutex_lock(&t->lock);
    t->status.writes++;
    bool again = copy.urgent && (status == ES_HANGUP || status == ES_TIMEOUT || status == ES_GARBLED) &&
                 es_clock_now() < copy.deadline;
    if (again) {
        job->state = ES_JOB_QUEUED; /* putting an output into its safe state twice does no harm */
        job->order = t->job_order++;
    } else {
        es_bus_finish_job(t, job, status, &err, &acted);
    }
}

/* ---- The thread ---- */

/* Waits until `until` or until there is something in the queue. Lock held. */
static void rest(struct es_bus_thread *t, es_time until)
{
    struct timespec at = {(time_t)(until / ES_NS_PER_S), (long)(until % ES_NS_PER_S)};
    if (!t->end) {
        (void)pthread_cond_timedwait(&t->wake, &t->lock, &at);
    }
}

static void do_closed(struct es_bus_thread *t)
{
    pthread_mutex_lock(&t->lock);
    (void)es_bus_next_job(t, true, es_clock_now()); /* ends those whose time is over */
    es_bus_fail_jobs(t, ES_HANGUP, *t->status.text ? t->status.text : "is not open", false);
    es_time now = es_clock_now();
    bool due = now >= t->reopen_at;
    if (!due) {
        es_time soon = now + ES_NS_PER_S / 20;
        rest(t, t->reopen_at < soon ? t->reopen_at : soon);
    }
    bool end = t->end;
    pthread_mutex_unlock(&t->lock);
    if (due && !end) {
        es_bus_link_open(t);
    }
}

static void do_open(struct es_bus_thread *t)
{
    pthread_mutex_lock(&t->lock);
    struct es_bus_job *job = es_bus_next_job(t, true, es_clock_now());
    if (job) {
        write_job(t, job);
        bool suspect = t->status.state == ES_LINK_SUSPECT;
        pthread_mutex_unlock(&t->lock);
        if (suspect) {
            es_bus_link_settle(t);
        }
        return;
    }
    pthread_mutex_unlock(&t->lock);
    es_bus_link_identify(t);
    if (t->status.state == ES_LINK_TRUSTED && !t->request_count && t->point_count) {
        make_plan(t);
    }
}

static void do_trusted(struct es_bus_thread *t)
{
    size_t index = 0;
    es_time now = es_clock_now(), when = now + ES_NS_PER_S / 10;
    if (!t->request_count && t->point_count && !make_plan(t)) {
        es_clock_sleep_until(when);
    }
    bool any = next_scan(t, &index, &when);
    pthread_mutex_lock(&t->lock);
    struct es_bus_job *job = es_bus_next_job(t, false, now);
    if (job) {
        write_job(t, job);
        pthread_mutex_unlock(&t->lock);
        return;
    }
    es_time latest = now + ES_NS_PER_S / 10; /* silent instruments are looked at so often */
    es_time until = when < latest ? when : latest;
    if (until > now) {
        rest(t, until);
    }
    pthread_mutex_unlock(&t->lock);
    now = es_clock_now();
    if (now < until) {
        return; /* woken by the queue */
    }
    if (any && now >= when) {
        scan(t, index);
    } else {
        es_bus_link_ask_again(t, now);
    }
}

static void do_suspect(struct es_bus_thread *t)
{
    pthread_mutex_lock(&t->lock);
    struct es_bus_job *job = es_bus_next_job(t, true, es_clock_now());
    bool written = false;
    if (job) { /* outputs do not wait for the line to settle; one that fails lets it settle first */
        write_job(t, job);
        written = job->state == ES_JOB_DONE && job->status == ES_OK;
    }
    pthread_mutex_unlock(&t->lock);
    if (written || t->status.state != ES_LINK_SUSPECT) {
        return;
    }
    es_bus_link_settle(t);
    if (t->status.state == ES_LINK_TRUSTED) {
        es_time now = es_clock_now();
        for (size_t i = 0; i < t->request_count; i++) {
            t->schedule[i].next = t->schedule[i].next < now ? now : t->schedule[i].next;
        }
    }
}

static void *run(void *self)
{
    struct es_bus_thread *t = self;
    bool end = false;
    while (!end) {
        switch (t->status.state) { /* written by this thread only */
        case ES_LINK_CLOSED:
            do_closed(t);
            break;
        case ES_LINK_OPEN:
            do_open(t);
            break;
        case ES_LINK_TRUSTED:
            do_trusted(t);
            break;
        case ES_LINK_SUSPECT:
            do_suspect(t);
            break;
        }
        pthread_mutex_lock(&t->lock);
        end = t->end;
        pthread_mutex_unlock(&t->lock);
    }
    pthread_mutex_lock(&t->lock);
    es_bus_fail_jobs(t, ES_CANCELLED, "stopped", true);
    pthread_mutex_unlock(&t->lock);
    if (t->bus) {
        t->about->driver->close(t->bus);
    }
    return NULL;
}

/* ---- Life ---- */

static void init_sync(struct es_bus_thread *t)
{
    pthread_condattr_t attributes;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_mutex_init(&t->lock, NULL);
    pthread_cond_init(&t->wake, &attributes);
    pthread_cond_init(&t->done, &attributes);
    pthread_condattr_destroy(&attributes);
}

enum es_status es_bus_thread_init(struct es_bus_thread *t, const struct es_bench *bench, size_t index,
                                  struct es_bus_reader *readers, size_t reader_count,
                                  const struct es_live_options *options, struct es_error *err)
{
    memset(t, 0, sizeof *t);
    t->bench = bench;
    t->about = &bench->buses[index];
    t->index = index;
    t->readers = readers;
    t->reader_count = reader_count;
    t->options = options ? *options : (struct es_live_options){0};
    t->status = (struct es_bus_status){.name = t->about->name, .driver = t->about->driver->name};
    init_sync(t);
    atomic_store(&t->away_since, es_clock_now());
    t->instruments = calloc(t->about->instrument_count + 1, sizeof *t->instruments);
    t->commons = calloc(t->about->instrument_count + 1, sizeof *t->commons);
    if (!t->instruments || !t->commons) {
        return es_fail(err, ES_NO_MEMORY, "no memory for bus \"%s\"", t->about->name);
    }
    for (size_t i = 0; i < t->about->instrument_count; i++) {
        t->commons[i] = bench->instruments[t->about->instruments[i]].common;
    }
    for (size_t s = 0; s < reader_count; s++) {
        enum es_status status = es_ring_init(&readers[s].ring, RING_CAPACITY, err);
        if (status != ES_OK) {
            return status;
        }
    }
    return collect_points(t, err);
}

enum es_status es_bus_thread_start(struct es_bus_thread *t, struct es_error *err)
{
    int failed = pthread_create(&t->thread, NULL, run, t);
    return failed ? es_fail_errno(err, failed, "no thread for bus \"%s\"", t->about->name) : ES_OK;
}

void es_bus_thread_stop(struct es_bus_thread *t)
{
    pthread_mutex_lock(&t->lock);
    t->end = true;
    pthread_cond_signal(&t->wake);
    pthread_mutex_unlock(&t->lock);
    pthread_join(t->thread, NULL);
}

void es_bus_thread_free(struct es_bus_thread *t)
{
    for (size_t s = 0; s < t->reader_count; s++) {
        es_ring_free(&t->readers[s].ring);
    }
    free(t->instruments);
    free(t->commons);
    free(t->points);
    free(t->targets);
    free(t->schedule);
    free(t->values);
    pthread_cond_destroy(&t->wake);
    pthread_cond_destroy(&t->done);
    pthread_mutex_destroy(&t->lock);
}

void es_bus_thread_status(struct es_bus_thread *t, struct es_bus_status *out)
{
    pthread_mutex_lock(&t->lock);
    *out = t->status;
    es_time now = es_clock_now();
    out->retry_in = out->state == ES_LINK_CLOSED && t->reopen_at > now ? es_seconds(t->reopen_at - now) : 0;
    if (out->state != ES_LINK_TRUSTED || now - t->rate_from > 3 * ES_NS_PER_S) {
        out->scan_rate = 0;
    }
    pthread_mutex_unlock(&t->lock);
}

void es_bus_thread_instrument(struct es_bus_thread *t, size_t bench_instrument,
                              struct es_instrument_status *out)
{
    size_t i = es_bus_instrument_of(t, bench_instrument);
    pthread_mutex_lock(&t->lock);
    const struct es_bus_instrument *in = &t->instruments[i];
    es_time now = es_clock_now();
    *out = (struct es_instrument_status){
        .name = t->bench->instruments[bench_instrument].name, .bus = t->about->name, .state = in->state};
    snprintf(out->identity, sizeof out->identity, "%s", in->identity);
    snprintf(out->text, sizeof out->text, "%s", in->text);
    bool waits = in->state == ES_INSTRUMENT_SILENT && in->retry_at > now;
    out->retry_in = waits ? es_seconds(in->retry_at - now) : 0;
    pthread_mutex_unlock(&t->lock);
}

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "rig/console/json_writer.h"
#include "rig/daemon/desk_ask.h"
#include "rig/daemon/desk_job.h"
#include "rig/daemon/desk_report.h"

void es_desk_new_run(char run[static 64])
{
    char now[32];
    es_clock_wall_text(now);
    unsigned char random[4];
    randombytes_buf(random, sizeof random);
    /* 2026-02-03T10:11:12.345Z -> 20260203T101112Z-0a1b2c3d */
    snprintf(run, 64, "%.4s%.2s%.2sT%.2s%.2s%.2sZ-%02x%02x%02x%02x", now, now + 5, now + 8, now + 11,
             now + 14, now + 17, random[0], random[1], random[2], random[3]);
}

static void append(struct es_desk *d, struct es_text *json)
{
    es_feed_append(d->feed, json->bytes, json->length);
    es_text_free(json);
}

void es_desk_tell(struct es_desk *d, const char *event, const char *name, const char *text)
{
    struct es_text json = {0};
    es_json_object(&json, NULL);
    es_json_text(&json, "event", event);
    if (name != NULL)
        es_json_text(&json, name, text);
    es_json_end_object(&json);
    append(d, &json);
}

static void watch_event(void *self, const struct es_event *event)
{
    struct es_text json = {0};
    es_report_event(&json, event);
    append(self, &json);
}

static void watch_values(void *self, const struct es_reading *by_role)
{
    struct es_desk *d = self;
    struct es_text json = {0};
    es_report_values(&json, d->site->station, by_role);
    if (!json.out_of_memory)
        es_feed_values(d->feed, &json);
    es_text_free(&json);
}

/* The last event and the end of the job in one: who hears of it finds the station free. Takes json over. */
static void finish(struct es_desk *d, struct es_text *json)
{
    static const char short_of_memory[] =
        "{\"event\":\"ended\",\"result\":\"failed\",\"text\":\"not enough memory "
        "to tell how it ended; look at the daemon's log\"}";
    pthread_mutex_lock(&d->lock);
    if (json->out_of_memory) {
        es_text_free(json);
        es_feed_append(d->feed, short_of_memory, sizeof short_of_memory - 1);
    } else {
        append(d, json);
    }
    d->doing = ES_DESK_IDLE;
    pthread_cond_broadcast(&d->changed);
    pthread_mutex_unlock(&d->lock);
    if (d->options.wake != NULL)
        d->options.wake(d->options.wake_self);
}

/* Files and texts of one run on its thread. */
struct work {
    struct es_run_order order;
    struct es_run_places places;
    char *plan_path, *type_path, *journals, *recordings;
    struct es_findings findings;
    struct es_outcome outcome;
    struct es_safe_report safe;
    bool moved; /* the runtime has begun: the outcome is filled */
    char number[ES_STORE_NUMBER_MAX];
};

static enum es_status take_path(const char *folder, const char *name, const char *ending, char **out,
                                struct es_error *err)
{
    struct es_text path = {0};
    es_text_printf(&path, "%s/%s%s", folder, name, ending);
    enum es_status s = es_text_take(&path, out, err);
    es_text_free(&path);
    return s;
}

static enum es_status fill_order(struct es_desk *d, struct work *w, struct es_error *err)
{
    const struct es_request_line *r = &d->request;
    enum es_status s = take_path(d->options.library, r->plan, ".plan.json", &w->plan_path, err);
    if (s == ES_OK)
        s = take_path(d->options.types, r->type, ".json", &w->type_path, err);
    if (s != ES_OK)
        return s;
    uint64_t seed = (uint64_t)r->seed;
    if (seed == 0)
        seed = 1 + (uint64_t)randombytes_random();
    w->order = (struct es_run_order){
        .plan_path = w->plan_path,
        .type_path = w->type_path,
        .serial = r->serial,
        .tag = r->tag,
        .customer = r->customer,
        .reason = r->reason,
        .state = r->state,
        .parts_replaced = r->parts_replaced,
        .person = d->person,
        .unattended = r->unattended,
        .ignore_gates = r->ignore_gates,
        .overdue_reason = r->overdue_reason,
        .seed = seed,
    };
    w->places.run = d->run;
    return ES_OK;
}

static void tell_begin(struct es_desk *d)
{
    const struct es_request_line *r = &d->request;
    struct es_text json = {0};
    es_json_object(&json, NULL);
    es_json_text(&json, "event", "begin");
    es_json_text(&json, "run", d->run);
    es_json_text(&json, "station", es_desk_name(d));
    es_json_text(&json, "plan", r->plan);
    es_json_text(&json, "type", r->type);
    es_json_text(&json, "serial", r->serial);
    es_json_text(&json, "person", d->person);
    es_json_bool(&json, "attended", d->attended);
    es_json_end_object(&json);
    append(d, &json);
}

/* result: "completed", "not completed" (a record says why), "refused" (nothing moved), "failed" (the run
 * could not be written down). */
static void tell_end(struct es_desk *d, const struct work *w, enum es_status s, const struct es_error *err)
{
    struct es_text json = {0};
    es_json_object(&json, NULL);
    es_json_text(&json, "event", "ended");
    es_json_text(&json, "run", d->run);
    const char *result = !w->moved              ? "refused"
                         : s != ES_OK           ? "failed"
                         : w->outcome.completed ? "completed"
                                                : "not completed";
    es_json_text(&json, "result", result);
    if (w->number[0] != '\0')
        es_json_text(&json, "number", w->number);
    if (w->moved && w->outcome.completed)
        es_json_text(&json, "verdict", es_verdict_word(w->outcome.verdict));
    if (w->moved && !w->outcome.completed && w->outcome.ended_because != NULL)
        es_json_text(&json, "why", w->outcome.ended_because);
    if (s != ES_OK) {
        es_json_text(&json, "status", es_status_word(s));
        es_json_integer(&json, "exit", es_exit_status(s));
        es_json_text(&json, "text", err->text);
        es_report_findings(&json, &w->findings);
    }
    if (w->moved) {
        es_json_number(&json, "safe state time", w->outcome.safe_state_time);
        es_safe_report_json(&json, "safe", &w->safe);
    }
    es_json_end_object(&json);
    finish(d, &json);
}

static bool asked_to_stop(struct es_desk *d)
{
    pthread_mutex_lock(&d->lock);
    bool stopping = d->doing == ES_DESK_STOPPING;
    pthread_mutex_unlock(&d->lock);
    return stopping;
}

static enum es_status begin_paper(struct es_desk *d, struct work *w, struct es_error *err)
{
    char began[32];
    es_clock_wall_text(began);
    struct es_store_run run = {
        .run = d->run,
        .began = began,
        .plan = d->request.plan,
        .type = d->request.type,
        .serial = d->request.serial,
        .station = d->site->station->name,
        .person = d->person,
    };
    enum es_status s = es_office_begin(d->options.office, &run, &w->journals, &w->recordings, err);
    w->places.journals = w->journals;
    w->places.recordings = w->recordings;
    return s;
}

/* The paper is durable: the journal has done its work, unless it alone holds a recording. */
static void drop_journal(struct es_desk *d, const struct work *w)
{
    struct es_error err;
    if (w->outcome.recordings_lost)
        es_log(d->options.log, ES_LOG_WARNING,
               "run %s: a recording could not be kept as a file; the run's journal stays in %s", d->run,
               w->journals);
    else if (es_run_settle(&w->places, d->run, &err) != ES_OK)
        es_log(d->options.log, ES_LOG_WARNING, "the journal of run %s could not be removed: %s", d->run,
               err.text);
}

/* The run from its checks to its paper. What goes wrong before anything moved leaves no trace in the store.
 */
static enum es_status carry_out(struct es_desk *d, struct work *w, struct es_error *err)
{
    const struct es_request_line *r = &d->request;
    const struct es_office_order order = {.serial = r->serial,
                                          .overdue_reason = r->overdue_reason,
                                          .job = r->job,
                                          .lot = r->lot,
                                          .supplier = r->supplier,
                                          .reference = r->reference,
                                          .replaces = r->replaces,
                                          .replaces_because = r->replaces_because};
    enum es_status s = es_office_check(d->options.office, &order, err);
    if (s == ES_OK)
        s = fill_order(d, w, err);
    if (s == ES_OK)
        s = es_run_check(&w->order, d->site, &w->places, &w->findings, err);
    if (s == ES_OK && asked_to_stop(d))
        s = es_fail(err, ES_CANCELLED, "stopped before it began: %s", d->why);
    if (s != ES_OK)
        return s;
    s = begin_paper(d, w, err);
    if (s != ES_OK)
        return s;
    struct es_run_watch watch = {.self = d, .event = watch_event, .values = watch_values, .ask = es_desk_ask};
    s = es_run_execute(&w->order, d->site, &w->places, &watch, &w->findings, &w->outcome, &w->safe, err);
    w->moved = s == ES_OK || s == ES_NO_MEMORY || s == ES_INTERNAL;
    if (s == ES_OK)
        s = es_office_issue(d->options.office, &w->outcome, &order, w->number, err);
    if (s == ES_OK)
        drop_journal(d, w);
    else
        es_office_give_up(d->options.office, d->run, err->text);
    return s;
}

static void log_end(struct es_desk *d, const struct work *w, enum es_status s, const struct es_error *err)
{
    struct es_text line = {0};
    es_text_printf(&line, "station %s: run %s (serial %s): ", es_desk_name(d), d->run, d->request.serial);
    if (s != ES_OK)
        es_text_printf(&line, "%s: %s", w->moved ? "failed" : "refused", err->text);
    else if (w->outcome.completed)
        es_text_printf(&line, "%s, certificate %s", es_verdict_word(w->outcome.verdict), w->number);
    else
        es_text_printf(&line, "not completed (%s), record %s", w->outcome.ended_because, w->number);
    if (w->moved)
        es_text_printf(&line, "; %s", w->safe.sentence);
    if (line.length > 0)
        es_log(d->options.log, s == ES_OK ? ES_LOG_NOTICE : ES_LOG_ERROR, "%s", line.bytes);
    es_text_free(&line);
}

void *es_desk_run_job(void *desk)
{
    struct es_desk *d = desk;
    struct es_error err = {0};
    struct work *w = calloc(1, sizeof *w);
    if (w == NULL) {
        struct es_text json = {0};
        es_text_add(&json,
                    "{\"event\":\"ended\",\"result\":\"refused\",\"text\":\"not enough memory for a run\"}");
        finish(d, &json);
        return NULL;
    }
    tell_begin(d);
    enum es_status s = carry_out(d, w, &err);
    log_end(d, w, s, &err);
    tell_end(d, w, s, &err);
    es_outcome_free(&w->outcome);
    es_findings_free(&w->findings);
    free(w->plan_path);
    free(w->type_path);
    free(w->journals);
    free(w->recordings);
    free(w);
    return NULL;
}

static void tell_safe(struct es_desk *d, enum es_status s, const struct es_error *err,
                      const struct es_safe_report *report)
{
    struct es_text json = {0};
    es_json_object(&json, NULL);
    es_json_text(&json, "event", "safe");
    es_json_bool(&json, "ok", s == ES_OK);
    if (s != ES_OK)
        es_json_text(&json, "text", err->text);
    es_safe_report_json(&json, "safe", report);
    es_json_end_object(&json);
    finish(d, &json);
}

void *es_desk_safe_job(void *desk)
{
    struct es_desk *d = desk;
    struct es_safe_report report = {0};
    es_station_make_safe(d->options.station, d->why, &report);
    tell_safe(d, ES_OK, NULL, &report);
    return NULL;
}

void *es_desk_reset_job(void *desk)
{
    struct es_desk *d = desk;
    struct es_error err = {0};
    enum es_status s = ES_OK;
    struct es_station_status status;
    es_station_status(d->options.station, &status);
    if (status.state != ES_LOCK_SAFE) { /* else there is nothing to reset, which is what was wanted */
        s = es_station_reset(d->options.station, d->person, &err);
        es_station_status(d->options.station, &status);
    }
    tell_safe(d, s, &err, &status.safe);
    return NULL;
}

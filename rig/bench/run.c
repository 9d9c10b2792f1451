/* The run:
 *
 *   prepare -> journal opened -> site begun (safe state, armed) -> plan executed -> site ended (safe state)
 *   -> outcome complete -> journal closed
 *
 * Everything is undone in the opposite order, whatever happens on the way. */
#include "rig/bench/run.h"

#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "rig/bench/recording_file.h"
#include "rig/bench/run_inputs.h"
#include "rig/bench/run_parts.h"

/* "20260203T101112-1-9f3ac2": time, station, random bytes; a name for files too. */
static void name_run(struct es_run *r)
{
    if (r->places && r->places->run) {
        snprintf(r->run, sizeof r->run, "%s", r->places->run);
        return;
    }
    char now[32], station[24] = "";
    unsigned char random[3];
    es_run_time_of_day(r, now);
    randombytes_buf(random, sizeof random);
    for (size_t i = 0, k = 0; r->site->station->name[i] && k < sizeof station - 1; i++) {
        char c = r->site->station->name[i];
        bool plain = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
        station[k++] = plain ? c : '-';
    }
    snprintf(r->run, sizeof r->run, "%.4s%.2s%.2sT%.2s%.2s%.2s-%s-%02x%02x%02x", now, now + 5, now + 8,
             now + 11, now + 14, now + 17, station, random[0], random[1], random[2]);
}

static void add_member(struct es_text *t, const char *name, const char *value)
{
    es_text_add(t, t->length > 1 ? "," : "");
    es_text_json(t, name);
    es_text_char(t, ':');
    if (value) {
        es_text_json(t, value);
    } else {
        es_text_add(t, "null");
    }
}

static enum es_status open_journal(struct es_run *r, struct es_error *err)
{
    const struct es_outcome *o = r->outcome;
    if (!r->places || !r->places->journals) {
        return ES_OK;
    }
    struct es_text t = {0};
    char origin[32];
    snprintf(origin, sizeof origin, "%lld", (long long)r->began);
    es_text_char(&t, '{');
    add_member(&t, "run", o->run);
    add_member(&t, "began", o->began);
    add_member(&t, "origin", origin);
    add_member(&t, "plan", o->plan);
    add_member(&t, "plan version", o->plan_version);
    add_member(&t, "plan digest", o->plan_digest);
    add_member(&t, "plan title", o->plan_title);
    add_member(&t, "type", o->type);
    add_member(&t, "type version", o->type_version);
    add_member(&t, "type digest", o->type_digest);
    add_member(&t, "type title", o->type_title);
    add_member(&t, "bench", o->bench);
    add_member(&t, "bench digest", o->bench_digest);
    add_member(&t, "station", o->station);
    add_member(&t, "place", o->place);
    add_member(&t, "serial", o->unit_serial);
    add_member(&t, "tag", o->unit_tag);
    add_member(&t, "customer", o->customer);
    add_member(&t, "reason", o->reason);
    add_member(&t, "state", o->state);
    add_member(&t, "parts replaced", o->parts_replaced);
    add_member(&t, "person", o->person);
    es_text_char(&t, '}');
    enum es_status status = es_text_status(&t, err);
    if (status == ES_OK) {
        status = es_journal_open(NULL, r->places->journals, r->run, t.bytes, &r->journal, err);
    }
    es_text_free(&t);
    return status;
}

static enum es_status keep_trace(void *self, const char *procedure, const struct es_trace *trace,
                                 struct es_error *err)
{
    struct es_run *r = self;
    char digest[65], file[96];
    size_t bytes;
    if (!r->places || !r->places->recordings) {
        return ES_OK;
    }
    enum es_status status =
        es_recording_write(NULL, r->places->recordings, trace, procedure, digest, &bytes, err);
    if (status != ES_OK) {
        r->outcome->recordings_lost = true;
        return es_error_context(err, status, "the recording \"%s\" could not be kept", trace->name);
    }
    struct es_recording_record *record = es_outcome_add_recording(r->outcome);
    es_recording_file_name(digest, file);
    if (!record || !es_run_copy(&record->name, trace->name) || !es_run_copy(&record->procedure, procedure) ||
        !es_run_copy(&record->digest, digest) || !es_run_copy(&record->file, file)) {
        return es_fail(err, ES_NO_MEMORY, "no memory to keep the recording \"%s\"", trace->name);
    }
    record->bytes = bytes;
    return ES_OK;
}

static void keep_time(void *self, char out[static 32])
{
    es_run_time_of_day(self, out);
}

/* The unit must not be left in a state that nobody was told of. */
static void tell_unsafe(struct es_run *r, const struct es_safe_report *report)
{
    struct es_outcome *o = r->outcome;
    struct es_text t = {0};
    if (report->reached) {
        return;
    }
    o->safe_state_time = NAN; /* the time when the attempt ended is no time at which it was safe */
    if (o->ended_because) {
        es_text_printf(&t, "%s. ", o->ended_because);
    }
    es_text_add(&t, report->sentence);
    char *text;
    if (es_text_take(&t, &text, NULL) == ES_OK) {
        free(o->ended_because);
        o->ended_because = text;
    }
    es_text_free(&t);
    o->completed = false;
    o->verdict = ES_NOT_TESTED;
}

static enum es_status execute(struct es_run *r, struct es_safe_report *report, struct es_error *err)
{
    const struct es_execute_options options = {.person = r->order->person,
                                               .unattended = r->order->unattended,
                                               .ignore_gates = r->order->ignore_gates,
                                               .view = &r->view,
                                               .facts = r->view.facts,
                                               .seed = r->order->seed,
                                               .most_trials = r->order->most_trials};
    const struct es_execute_keep keep = {.self = r, .trace = keep_trace, .time_of_day = keep_time};
    struct es_site_order order = {.run = r->run, .journal = r->journal, .watch = r->watch};
    memcpy(order.needed, r->needed, sizeof order.needed);
    enum es_status status = r->site->begin(r->site->self, &order, err);
    if (status != ES_OK) {
        return status;
    }
    r->begun = true;
    struct es_error why = {0};
    enum es_status ran = es_plan_execute(r->plan, r->type, &r->site->port, &options, &keep, r->outcome, &why);
    enum es_status described = es_run_describe_end(r, err);
    r->site->end(r->site->self, report);

    char cause[256] = "";
    double seconds = r->site->tripped(r->site->self, cause, sizeof cause);
    r->outcome->safe_state_time = ran != ES_OK && isnan(seconds) ? report->seconds : seconds;
    if (ran != ES_OK && !r->outcome->ended_because) {
        (void)es_run_copy(&r->outcome->ended_because, why.text);
    }
    if (!isnan(seconds) && r->outcome->completed) {
        /* Tripped between the last step and the end: nothing that was measured may stand. */
        r->outcome->completed = false;
        r->outcome->verdict = ES_NOT_TESTED;
        (void)es_run_copy(&r->outcome->ended_because, cause);
    }
    tell_unsafe(r, report);
    if (ran == ES_NO_MEMORY || ran == ES_INTERNAL) {
        return es_fail(err, ran, "%s", why.text);
    }
    return described;
}

static enum es_status close_journal(struct es_run *r, enum es_status status, struct es_error *err)
{
    if (!r->journal) {
        return status;
    }
    const char *text = r->outcome->completed       ? "completed"
                       : r->outcome->ended_because ? r->outcome->ended_because
                                                   : "not completed";
    es_journal_text(r->journal, ES_JOURNAL_END, r->site->port.now(r->site->port.self), text);
    enum es_status closed = es_journal_close(r->journal, status == ES_OK ? err : NULL);
    r->journal = NULL;
    if (!r->begun) {
        /* A run that never began leaves nothing; why it did not is more important than what is left. */
        enum es_status settled = es_run_settle(r->places, r->run, status == ES_OK ? err : NULL);
        return status == ES_OK ? settled : status;
    }
    if (closed != ES_OK && status == ES_OK && r->outcome->completed) {
        /* What cannot be recovered must not be certified as complete. */
        r->outcome->completed = false;
        r->outcome->verdict = ES_NOT_TESTED;
        return es_run_copy(&r->outcome->ended_because, err ? err->text : "the journal failed") ? ES_OK
                                                                                               : ES_NO_MEMORY;
    }
    return status;
}

enum es_status es_run_settle(const struct es_run_places *places, const char *run, struct es_error *err)
{
    char *path;
    if (!places->journals) {
        return ES_OK;
    }
    if (asprintf(&path, "%s/%s.journal", places->journals, run) < 0) {
        return es_fail(err, ES_NO_MEMORY, "no memory to settle the run %s", run);
    }
    enum es_status status = es_file_remove(NULL, path, err);
    free(path);
    return status == ES_NOT_FOUND ? ES_OK : status;
}

enum es_status es_run_execute(const struct es_run_order *order, const struct es_site *site,
                              const struct es_run_places *places, const struct es_run_watch *watch,
                              struct es_findings *findings, struct es_outcome *outcome,
                              struct es_safe_report *report, struct es_error *err)
{
    struct es_safe_report unused;
    struct es_outcome fresh;
    struct es_run *r = calloc(1, sizeof *r);
    if (!r) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a run");
    }
    es_outcome_init(&fresh);
    *r = (struct es_run){.order = order, .site = site, .places = places, .watch = watch, .outcome = &fresh};
    enum es_status status = es_run_prepare(r, findings, err);
    if (status != ES_OK) {
        goto free_run;
    }
    name_run(r);
    status = es_run_describe(r, err);
    if (status != ES_OK) {
        goto unprepare;
    }
    status = es_run_keep_inputs(r, err);
    if (status != ES_OK) {
        goto unprepare;
    }
    status = open_journal(r, err);
    if (status != ES_OK) {
        goto unprepare;
    }
    status = execute(r, report ? report : &unused, err);
    status = close_journal(r, status, err);
    if (status == ES_OK) {
        *outcome = fresh;
        es_outcome_init(&fresh);
    }

unprepare:
    es_run_unprepare(r);
    es_outcome_free(&fresh);
free_run:
    free(r);
    return status;
}

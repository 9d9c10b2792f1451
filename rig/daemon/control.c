#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "rig/console/json_writer.h"
#include "rig/daemon/control.h"
#include "rig/daemon/control_bench.h"
#include "rig/daemon/control_lists.h"

struct es_control {
    struct es_control_options options;
    struct es_store *store; /* reading half */
    struct es_desk **desks;
    size_t desk_count;
    bool ending;
};

static enum es_status make_desks(struct es_control *c, struct es_error *err)
{
    const struct es_bench *bench = c->options.bench;
    c->desks = calloc(bench->station_count > 0 ? bench->station_count : 1, sizeof(struct es_desk *));
    if (c->desks == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the stations");
    for (size_t i = 0; i < bench->station_count; i++) {
        struct es_desk_options desk = {
            .station = es_live_station(c->options.live, bench->stations[i].name),
            .office = c->options.office,
            .library = c->options.library,
            .types = c->options.types,
            .grace = c->options.grace,
            .wake = c->options.wake,
            .wake_self = c->options.wake_self,
            .log = c->options.log,
        };
        enum es_status s = es_desk_new(&desk, &c->desks[i], err);
        if (s != ES_OK)
            return s;
        c->desk_count++;
    }
    return ES_OK;
}

enum es_status es_control_new(const struct es_control_options *options, struct es_control **out,
                              struct es_error *err)
{
    struct es_control *c = calloc(1, sizeof *c);
    if (c == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to start");
    c->options = *options;
    enum es_status s = es_store_open(options->state, ES_STORE_READ, &c->store, err);
    if (s == ES_OK)
        s = make_desks(c, err);
    if (s != ES_OK) {
        es_control_free(c);
        return s;
    }
    *out = c;
    return ES_OK;
}

void es_control_end(struct es_control *c)
{
    c->ending = true;
    /* All are told first, so that they become safe side by side and not one after the other. */
    for (size_t i = 0; i < c->desk_count; i++)
        es_desk_stop_run(c->desks[i], "the daemon was asked to end");
}

void es_control_free(struct es_control *c)
{
    if (c == NULL)
        return;
    es_control_end(c);
    for (size_t i = 0; i < c->desk_count; i++)
        es_desk_free(c->desks[i]);
    free(c->desks);
    es_store_close(c->store);
    free(c);
}

static enum es_status find_desk(struct es_control *c, const char *name, struct es_desk **out,
                                struct es_error *err)
{
    for (size_t i = 0; i < c->desk_count; i++) {
        if (strcmp(es_desk_name(c->desks[i]), name) == 0) {
            *out = c->desks[i];
            return ES_OK;
        }
    }
    struct es_text names = {0};
    for (size_t i = 0; i < c->desk_count; i++)
        es_text_printf(&names, "%s\"%s\"", i > 0 ? ", " : "", es_desk_name(c->desks[i]));
    enum es_status s = es_fail(err, ES_NOT_FOUND, "this bench has no station \"%s\"; it has %s", name,
                               names.length > 0 ? names.bytes : "none");
    es_text_free(&names);
    return s;
}

static void log_act(struct es_control *c, const struct es_caller *caller, const char *format, ...)
    ES_PRINTF(3, 4);

static void log_act(struct es_control *c, const struct es_caller *caller, const char *format, ...)
{
    struct es_text line = {0};
    va_list args;
    va_start(args, format);
    es_text_vprintf(&line, format, args);
    va_end(args);
    es_text_printf(&line, " (%s, user %s, uid %ld)", caller->person, caller->user, (long)caller->uid);
    if (line.length > 0)
        es_log(c->options.log, ES_LOG_NOTICE, "%s", line.bytes);
    es_text_free(&line);
}

static void follow(struct es_control *c, struct es_caller *caller, struct es_desk *desk, uint64_t from,
                   bool attend)
{
    es_control_leave(c, caller);
    caller->follows = desk;
    caller->attends = attend;
    caller->event_cursor = from;
    caller->value_cursor = 0;
    if (attend)
        es_desk_attend(desk, true);
}

static enum es_status hello(struct es_control *c, struct es_caller *caller, struct es_request_line *r,
                            struct es_text *out, struct es_error *err)
{
    if (r->protocol != ES_PROTOCOL)
        return es_fail(err, ES_USAGE,
                       "this daemon (version %s) speaks protocol %d, the client %ld; use the same version",
                       ES_VERSION, ES_PROTOCOL, r->protocol);
    caller->greeted = true;
    snprintf(caller->person, sizeof caller->person, "%s", r->person != NULL ? r->person : caller->user);
    es_reply_begin(out, r->id);
    es_json_integer(out, "protocol", ES_PROTOCOL);
    es_json_text(out, "version", ES_VERSION);
    es_json_text(out, "bench", c->options.bench->name);
    es_json_bool(out, "virtual", c->options.bench->is_virtual);
    es_json_text(out, "user", caller->user);
    es_json_array(out, "stations");
    for (size_t i = 0; i < c->desk_count; i++)
        es_json_text(out, NULL, es_desk_name(c->desks[i]));
    es_json_end_array(out);
    es_json_end_object(out);
    return ES_OK;
}

static enum es_status run(struct es_control *c, struct es_caller *caller, struct es_request_line *r,
                          struct es_text *out, struct es_error *err)
{
    struct es_desk *desk;
    enum es_status s = find_desk(c, r->station, &desk, err);
    if (s != ES_OK)
        return s;
    if (!es_name_is_plain(r->plan) || !es_name_is_plain(r->type))
        return es_fail(
            err, ES_USAGE,
            "plan and type are named, not given as paths: the daemon runs what lies in its library (%s) "
            "and its types (%s)",
            c->options.library, c->options.types);
    s = es_control_find(c->options.library, c->options.types, r, err);
    if (s != ES_OK)
        return s;
    char identity[64];
    uint64_t first;
    long id = r->id;
    log_act(c, caller, "station %s: run of plan %s on serial %s asked for", r->station, r->plan, r->serial);
    s = es_desk_run(desk, r, caller->person, identity, &first, err);
    if (s != ES_OK)
        return s;
    follow(c, caller, desk, first, true);
    es_reply_begin(out, id);
    es_json_text(out, "run", identity);
    es_json_integer(out, "first", (long long)first);
    es_json_end_object(out);
    return ES_OK;
}

static enum es_status watch(struct es_control *c, struct es_caller *caller, struct es_request_line *r,
                            struct es_text *out, struct es_error *err)
{
    struct es_desk *desk;
    enum es_status s = find_desk(c, r->station, &desk, err);
    if (s != ES_OK)
        return s;
    follow(c, caller, desk, (uint64_t)r->from, r->attend);
    es_reply_begin(out, r->id);
    es_json_text(out, "station", es_desk_name(desk));
    es_desk_describe(desk, out);
    es_json_end_object(out);
    return ES_OK;
}

static enum es_status answer(struct es_control *c, struct es_caller *caller, struct es_request_line *r,
                             struct es_text *out, struct es_error *err)
{
    struct es_desk *desk;
    enum es_status s = find_desk(c, r->station, &desk, err);
    if (s != ES_OK)
        return s;
    if (caller->follows != desk || !caller->attends)
        return es_fail(err, ES_REFUSED, "only a client that attends the run may answer its questions");
    s = es_desk_answer(desk, r, caller->person, err);
    if (s != ES_OK)
        return s;
    log_act(c, caller, "station %s: question %ld answered", r->station, r->question);
    es_reply_begin(out, r->id);
    es_json_end_object(out);
    return ES_OK;
}

/* stop and reset: both start or bend something whose end the caller then follows. */
static enum es_status stop_or_reset(struct es_control *c, struct es_caller *caller, struct es_request_line *r,
                                    struct es_text *out, struct es_error *err)
{
    struct es_desk *desk;
    enum es_status s = find_desk(c, r->station, &desk, err);
    if (s != ES_OK)
        return s;
    uint64_t first = 0;
    char why[200];
    snprintf(why, sizeof why, "%s%sstopped by %s", r->why != NULL ? r->why : "", r->why != NULL ? ": " : "",
             caller->person);
    log_act(c, caller, "station %s: %s", r->station,
            r->what == ES_DO_STOP ? "stop asked for" : "reset asked for");
    if (r->what == ES_DO_STOP)
        s = es_desk_stop(desk, why, &first, err);
    else
        s = es_desk_reset(desk, caller->person, &first, err);
    if (s != ES_OK)
        return s;
    if (caller->follows != desk)
        follow(c, caller, desk, first, false);
    es_reply_begin(out, r->id);
    es_json_integer(out, "first", (long long)first);
    es_json_end_object(out);
    return ES_OK;
}

static enum es_status bench(struct es_control *c, struct es_request_line *r, struct es_text *out,
                            struct es_error *err)
{
    struct es_desk *only = NULL;
    if (r->station != NULL) {
        enum es_status s = find_desk(c, r->station, &only, err);
        if (s != ES_OK)
            return s;
    }
    es_reply_begin(out, r->id);
    es_control_bench_json(c->options.bench, c->options.live, out);
    es_json_array(out, "stations");
    for (size_t i = 0; i < c->desk_count; i++)
        if (only == NULL || only == c->desks[i])
            es_control_station_json(c->desks[i], out);
    es_json_end_array(out);
    es_json_end_object(out);
    return ES_OK;
}

/* Somebody signed a certificate again: into the log with it, before it is announced. */
static enum es_status seal(struct es_control *c, const struct es_caller *caller, struct es_request_line *r,
                           struct es_text *out, struct es_error *err)
{
    if (!es_name_is_plain(r->number))
        return es_fail(err, ES_USAGE, "\"%.40s\" is not the number of a certificate", r->number);
    enum es_status s = es_office_seal(c->options.office, r->number, err);
    if (s != ES_OK)
        return s;
    log_act(c, caller, "certificate %s: its signatures are in the log", r->number);
    es_reply_begin(out, r->id);
    es_json_text(out, "number", r->number);
    es_json_end_object(out);
    return ES_OK;
}

/* Not beside a run: the folder is searched for what replaced it, and nothing may keep a stop waiting. */
static enum es_status amend(struct es_control *c, const struct es_caller *caller, struct es_request_line *r,
                            struct es_text *out, struct es_error *err)
{
    char number[ES_STORE_NUMBER_MAX];
    if (!es_name_is_plain(r->number))
        return es_fail(err, ES_USAGE, "\"%.40s\" is not the number of a certificate", r->number);
    if (es_control_busy(c))
        return es_fail(err, ES_REFUSED, "a station is at work; amend %s when the bench is idle", r->number);
    const struct es_amendment order = {.because = r->replaces_because,
                                       .person = caller->person,
                                       .texts = {[ES_AMEND_CUSTOMER] = r->customer,
                                                 [ES_AMEND_CONTACT] = r->contact,
                                                 [ES_AMEND_REFERENCE] = r->reference,
                                                 [ES_AMEND_TAG] = r->tag,
                                                 [ES_AMEND_LOT] = r->lot,
                                                 [ES_AMEND_SUPPLIER] = r->supplier,
                                                 [ES_AMEND_REASON] = r->reason,
                                                 [ES_AMEND_PARTS] = r->parts_replaced,
                                                 [ES_AMEND_RECEIVED] = r->received,
                                                 [ES_AMEND_CONDITION] = r->condition}};
    enum es_status s = es_office_amend(c->options.office, r->number, &order, number, err);
    if (s != ES_OK)
        return s;
    log_act(c, caller, "certificate %s amends %s: %s", number, r->number, r->replaces_because);
    es_reply_begin(out, r->id);
    es_json_text(out, "number", number);
    es_json_end_object(out);
    return ES_OK;
}

static enum es_status dispatch(struct es_control *c, struct es_caller *caller, struct es_request_line *r,
                               struct es_text *out, struct es_error *err)
{
    if (!caller->greeted && r->what != ES_DO_HELLO)
        return es_fail(err, ES_USAGE, "the first request of a connection is \"hello\"");
    if (c->ending && (r->what == ES_DO_RUN || r->what == ES_DO_RESET || r->what == ES_DO_AMEND))
        return es_fail(err, ES_REFUSED, "the daemon is about to end");
    switch (r->what) {
    case ES_DO_HELLO:
        return hello(c, caller, r, out, err);
    case ES_DO_BENCH:
        return bench(c, r, out, err);
    case ES_DO_RUN:
        return run(c, caller, r, out, err);
    case ES_DO_WATCH:
        return watch(c, caller, r, out, err);
    case ES_DO_ANSWER:
        return answer(c, caller, r, out, err);
    case ES_DO_STOP:
    case ES_DO_RESET:
        return stop_or_reset(c, caller, r, out, err);
    case ES_DO_RUNS:
        return es_control_runs(c->store, r, out, err);
    case ES_DO_CERTIFICATES:
        return es_control_certificates(c->store, r, out, err);
    case ES_DO_CERTIFICATE:
        return es_control_certificate(c->store, r, out, err);
    case ES_DO_PLANS:
        return es_control_plans(c->options.library, c->options.types, r, out, err);
    case ES_DO_SEAL:
        return seal(c, caller, r, out, err);
    case ES_DO_AMEND:
        return amend(c, caller, r, out, err);
    case ES_DO_COUNT:
        break;
    }
    return es_fail(err, ES_INTERNAL, "a request of no known kind");
}

bool es_control_answer(struct es_control *c, struct es_caller *caller, const char *line, size_t length,
                       struct es_text *out)
{
    struct es_error err = {0};
    struct es_request_line request;
    enum es_status s = es_request_parse(line, length, &request, &err);
    long id = request.id;
    size_t before = out->length;
    if (s == ES_OK)
        s = dispatch(c, caller, &request, out, &err);
    if (s == ES_OK && out->out_of_memory)
        s = es_fail(&err, ES_NO_MEMORY, "not enough memory for the reply");
    if (s != ES_OK && out->length == before)
        es_reply_error(out, id, &err);
    es_request_free(&request);
    return caller->greeted && !out->out_of_memory;
}

bool es_control_next(struct es_control *c, struct es_caller *caller, bool values_too, struct es_text *out)
{
    (void)c;
    if (caller->follows == NULL)
        return false;
    struct es_feed *feed = es_desk_feed(caller->follows);
    uint64_t lost;
    switch (es_feed_event(feed, &caller->event_cursor, &lost, out)) {
    case ES_FEED_EVENT:
        return true;
    case ES_FEED_GAP:
        es_json_object(out, NULL);
        es_json_text(out, "event", "gap");
        es_json_integer(out, "lost", (long long)lost);
        es_json_end_object(out);
        return true;
    case ES_FEED_NOTHING:
        break;
    }
    return values_too && es_feed_newest(feed, &caller->value_cursor, out);
}

void es_control_leave(struct es_control *c, struct es_caller *caller)
{
    (void)c;
    if (caller->follows != NULL && caller->attends)
        es_desk_attend(caller->follows, false);
    caller->follows = NULL;
    caller->attends = false;
}

void es_control_tick(struct es_control *c, es_time now)
{
    for (size_t i = 0; i < c->desk_count; i++)
        es_desk_tick(c->desks[i], now);
}

bool es_control_busy(struct es_control *c)
{
    for (size_t i = 0; i < c->desk_count; i++)
        if (es_desk_busy(c->desks[i]))
            return true;
    return false;
}

/* Runs whose journals were never settled: what the last stop of the program, or of the machine, cut off. */
#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "rig/bench/recorder.h"
#include "rig/bench/recording_file.h"
#include "rig/bench/run_parts.h"

static const char *member(const cJSON *root, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, name));
}

/* ---- Listing ---- */

struct summary {
    struct es_interrupted *item;
    es_time origin, last;
    bool begun;
};

static enum es_status summarise(void *self, const struct es_journal_record *r, struct es_error *err)
{
    struct summary *s = self;
    s->last = r->at > s->last ? r->at : s->last;
    s->item->ended |= r->kind == ES_JOURNAL_END;
    if (r->kind != ES_JOURNAL_BEGIN) {
        return ES_OK;
    }
    cJSON *root = cJSON_Parse(r->text);
    struct es_interrupted *i = s->item;
    const struct es_run_text texts[] = {
        {&i->run, member(root, "run")},       {&i->plan, member(root, "plan")},
        {&i->type, member(root, "type")},     {&i->station, member(root, "station")},
        {&i->serial, member(root, "serial")}, {&i->person, member(root, "person")},
        {&i->began, member(root, "began")}};
    bool good = ES_RUN_COPY_ALL(texts);
    const char *origin = member(root, "origin");
    s->origin = origin ? (es_time)strtoll(origin, NULL, 10) : 0;
    s->begun = root && i->run;
    cJSON_Delete(root);
    return good ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory to read a journal");
}

static void free_item(struct es_interrupted *i)
{
    free(i->journal);
    free(i->run);
    free(i->plan);
    free(i->type);
    free(i->station);
    free(i->serial);
    free(i->person);
    free(i->began);
}

void es_run_interrupted_free(struct es_interrupted *items, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        free_item(&items[i]);
    }
    free(items);
}

/* A file that is cut off before its first block holds no run; it is listed all the same, with its name. */
static enum es_status list_one(const char *folder, const char *name, struct es_interrupted *item,
                               struct es_error *err)
{
    if (asprintf(&item->journal, "%s/%s", folder, name) < 0) {
        item->journal = NULL;
        return es_fail(err, ES_NO_MEMORY, "no memory to list the journals");
    }
    struct summary s = {.item = item};
    size_t whole;
    enum es_status status = es_journal_read(NULL, item->journal, summarise, &s, &item->damaged, &whole, err);
    if (status == ES_BAD_INPUT) {
        item->damaged = true;
        status = ES_OK;
    }
    if (status == ES_OK && !s.begun) {
        item->run = strndup(name, strlen(name) - strlen(".journal"));
    }
    item->covered = s.begun && s.last > s.origin ? es_seconds(s.last - s.origin) : 0;
    return status;
}

static bool is_journal(const char *name)
{
    size_t length = strlen(name), end = strlen(".journal");
    return length > end && !strcmp(name + length - end, ".journal") && name[0] != '.';
}

static int by_journal(const void *a, const void *b)
{
    return strcmp(((const struct es_interrupted *)a)->journal, ((const struct es_interrupted *)b)->journal);
}

enum es_status es_run_interrupted(const char *folder, struct es_interrupted **out, size_t *count,
                                  struct es_error *err)
{
    struct es_interrupted *items = NULL;
    size_t used = 0;
    enum es_status status = ES_OK;
    DIR *d = opendir(folder);
    if (!d && errno != ENOENT) {
        return es_fail_errno(err, errno, "%s cannot be read", folder);
    }
    for (struct dirent *e; d && status == ES_OK && (e = readdir(d));) {
        if (!is_journal(e->d_name)) {
            continue;
        }
        struct es_interrupted *more = reallocarray(items, used + 1, sizeof *more);
        if (!more) {
            status = es_fail(err, ES_NO_MEMORY, "no memory to list the journals");
            break;
        }
        items = more;
        items[used] = (struct es_interrupted){0};
        status = list_one(folder, e->d_name, &items[used++], err);
    }
    if (d) {
        closedir(d);
    }
    if (status != ES_OK) {
        es_run_interrupted_free(items, used);
        return status;
    }
    if (used > 1) {
        qsort(items, used, sizeof *items, by_journal);
    }
    *out = items;
    *count = used;
    return ES_OK;
}

/* ---- The outcome ---- */

struct rebuild {
    struct es_outcome *outcome;
    const char *folder; /* NULL: recordings are not kept */
    struct es_recorder recorder;
    es_time last;
    char *end, *trip, *safe;
};

static bool take_begin(struct es_outcome *o, const cJSON *root)
{
    const struct es_run_text texts[] = {{&o->run, member(root, "run")},
                                        {&o->began, member(root, "began")},
                                        {&o->plan, member(root, "plan")},
                                        {&o->plan_version, member(root, "plan version")},
                                        {&o->plan_digest, member(root, "plan digest")},
                                        {&o->plan_title, member(root, "plan title")},
                                        {&o->type, member(root, "type")},
                                        {&o->type_version, member(root, "type version")},
                                        {&o->type_digest, member(root, "type digest")},
                                        {&o->type_title, member(root, "type title")},
                                        {&o->bench, member(root, "bench")},
                                        {&o->bench_digest, member(root, "bench digest")},
                                        {&o->station, member(root, "station")},
                                        {&o->place, member(root, "place")},
                                        {&o->unit_serial, member(root, "serial")},
                                        {&o->unit_tag, member(root, "tag")},
                                        {&o->customer, member(root, "customer")},
                                        {&o->reason, member(root, "reason")},
                                        {&o->state, member(root, "state")},
                                        {&o->parts_replaced, member(root, "parts replaced")},
                                        {&o->person, member(root, "person")}};
    return ES_RUN_COPY_ALL(texts);
}

static enum es_status keep_recording(struct rebuild *b, int handle, es_time now, struct es_error *err)
{
    struct es_trace *trace;
    enum es_status status = es_recorder_stop(&b->recorder, handle, now, &trace, err);
    if (status != ES_OK || !b->folder) {
        if (status == ES_OK) {
            es_trace_free(trace);
        }
        return status;
    }
    char digest[65], file[96];
    size_t bytes;
    status = es_recording_write(NULL, b->folder, trace, "", digest, &bytes, err);
    if (status == ES_OK) {
        struct es_recording_record *record = es_outcome_add_recording(b->outcome);
        es_recording_file_name(digest, file);
        if (!record || !es_run_copy(&record->name, trace->name) || !es_run_copy(&record->procedure, "") ||
            !es_run_copy(&record->digest, digest) || !es_run_copy(&record->file, file)) {
            status = es_fail(err, ES_NO_MEMORY, "no memory to keep a recording");
        } else {
            record->bytes = bytes;
        }
    }
    es_trace_free(trace);
    return status;
}

static int handle_of(const struct rebuild *b, const char *name)
{
    for (int i = 0; i < ES_RECORDINGS_MAX; i++) {
        if (b->recorder.items[i].used && !strcmp(b->recorder.items[i].trace.name, name)) {
            return i;
        }
    }
    return -1;
}

static void take_scan(struct rebuild *b, const struct es_journal_record *r)
{
    for (size_t i = 0; i < r->count; i++) {
        struct es_reading reading = {r->values[i].value, r->values[i].quality, r->at, r->u_time};
        es_recorder_sample(&b->recorder, r->values[i].role, &reading);
    }
}

static enum es_status take_record(void *self, const struct es_journal_record *r, struct es_error *err)
{
    struct rebuild *b = self;
    bool good = true;
    int handle;
    b->last = r->at > b->last ? r->at : b->last;
    switch (r->kind) {
    case ES_JOURNAL_BEGIN: {
        cJSON *root = cJSON_Parse(r->text);
        good = take_begin(b->outcome, root);
        cJSON_Delete(root);
        break;
    }
    case ES_JOURNAL_SCAN:
        take_scan(b, r);
        break;
    case ES_JOURNAL_WRITE:
        if (r->write.status == ES_OK) {
            es_recorder_command(&b->recorder, r->write.role, r->at, 0, r->write.from, r->write.to);
        }
        break;
    case ES_JOURNAL_RECORDING:
        return es_recorder_start(&b->recorder, r->text, r->roles, r->count, 1e9, r->at, &handle, err);
    case ES_JOURNAL_STOP:
        handle = handle_of(b, r->text);
        return handle < 0 ? ES_OK : keep_recording(b, handle, r->at, err);
    case ES_JOURNAL_TRIP:
        good = es_run_copy(&b->trip, r->text);
        break;
    case ES_JOURNAL_END:
        good = es_run_copy(&b->end, r->text);
        break;
    case ES_JOURNAL_SAFE:
    case ES_JOURNAL_EVENT:
        break;
    }
    return good ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory to read a journal");
}

static enum es_status say_why(const struct es_interrupted *item, struct rebuild *b, struct es_error *err)
{
    struct es_text t = {0};
    if (b->end) {
        es_text_printf(&t,
                       "the program stopped after the run had ended (%s) and before its certificate was kept",
                       b->end);
    } else {
        es_text_printf(&t, "interrupted: the program or the machine stopped %.1f s after the run began",
                       item->covered);
    }
    if (b->trip) {
        es_text_printf(&t, "; the interlock had acted: %s", b->trip);
    }
    char *text;
    enum es_status status = es_text_take(&t, &text, err);
    if (status == ES_OK) {
        free(b->outcome->ended_because);
        b->outcome->ended_because = text;
    }
    return status;
}

enum es_status es_run_interrupted_outcome(const struct es_interrupted *item, const char *recordings,
                                          struct es_outcome *outcome, struct es_error *err)
{
    struct es_outcome fresh;
    es_outcome_init(&fresh);
    struct rebuild *b = calloc(1, sizeof *b);
    if (!b) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read a journal");
    }
    *b = (struct rebuild){.outcome = &fresh, .folder = recordings};
    es_recorder_init(&b->recorder, NULL);
    bool damaged;
    size_t whole;
    enum es_status status = es_journal_read(NULL, item->journal, take_record, b, &damaged, &whole, err);
    if (status == ES_BAD_INPUT) {
        status = ES_OK; /* cut off before its first block */
    }
    for (int i = 0; status == ES_OK && i < ES_RECORDINGS_MAX; i++) {
        if (b->recorder.items[i].used) {
            status = keep_recording(b, i, b->last, err);
        }
    }
    if (status == ES_OK && !es_run_copy(&fresh.run, item->run)) {
        status = es_fail(err, ES_NO_MEMORY, "no memory to read a journal");
    }
    if (status == ES_OK) {
        status = say_why(item, b, err);
    }
    if (status == ES_OK) {
        *outcome = fresh;
        es_outcome_init(&fresh);
    }
    es_outcome_free(&fresh);
    es_recorder_free(&b->recorder);
    free(b->end);
    free(b->trip);
    free(b->safe);
    free(b);
    return status;
}

enum es_status es_run_interrupted_settle(const struct es_interrupted *item, struct es_error *err)
{
    return es_file_remove(NULL, item->journal, err);
}

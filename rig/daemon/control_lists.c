#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/signed.h"
#include "rig/console/choices.h"
#include "rig/console/json_writer.h"
#include "rig/daemon/control_lists.h"

#define PLAN_ENDING ".plan.json"
#define TYPE_ENDING ".json"

static const char *run_state_word(enum es_run_state state)
{
    static const char *const words[] = {[ES_RUN_OPEN] = "under way",
                                        [ES_RUN_CERTIFIED] = "completed",
                                        [ES_RUN_NOT_COMPLETED] = "not completed"};
    return words[state];
}

enum es_status es_control_runs(struct es_store *store, const struct es_request_line *r, struct es_text *out,
                               struct es_error *err)
{
    struct es_store_runs runs = {0};
    enum es_status s = es_store_runs(store, &runs, err);
    if (s != ES_OK)
        return s;
    es_reply_begin(out, r->id);
    es_json_array(out, "runs");
    size_t i = (size_t)r->from;
    for (size_t n = 0; i < runs.count && n < ES_PAGE; i++, n++) {
        const struct es_store_run *run = &runs.items[i];
        es_json_object(out, NULL);
        es_json_text(out, "run", run->run);
        es_json_text(out, "began", run->began);
        es_json_text(out, "station", run->station);
        es_json_text(out, "plan", run->plan);
        es_json_text(out, "type", run->type);
        es_json_text(out, "serial", run->serial);
        es_json_text(out, "person", run->person);
        es_json_text(out, "state", run_state_word(run->state));
        es_json_text(out, "ended", run->ended);
        es_json_text(out, "number", run->number);
        es_json_text(out, "why", run->why);
        es_json_end_object(out);
    }
    es_json_end_array(out);
    es_json_bool(out, "more", i < runs.count);
    es_json_end_object(out);
    es_store_runs_free(&runs);
    return ES_OK;
}

enum es_status es_control_certificates(struct es_store *store, const struct es_request_line *r,
                                       struct es_text *out, struct es_error *err)
{
    struct es_store_list list = {0};
    struct es_store_filter filter = {.serial = r->serial, .since = r->since};
    enum es_status s = es_store_certificates(store, &filter, &list, err);
    if (s != ES_OK)
        return s;
    es_reply_begin(out, r->id);
    es_json_array(out, "certificates");
    size_t i = (size_t)r->from;
    for (size_t n = 0; i < list.count && n < ES_PAGE; i++, n++) {
        const struct es_store_entry *e = &list.items[i];
        es_json_object(out, NULL);
        es_json_text(out, "number", e->number);
        es_json_text(out, "kind", e->kind);
        es_json_text(out, "issued", e->issued);
        es_json_text(out, "serial", e->serial);
        es_json_text(out, "type", e->type);
        es_json_text(out, "plan", e->plan);
        es_json_text(out, "state", e->state);
        es_json_text(out, "verdict", e->verdict);
        es_json_text(out, "run", e->run);
        es_json_text(out, "customer", e->customer);
        es_json_text(out, "digest", e->digest);
        es_json_text(out, "fault", e->fault);
        es_json_end_object(out);
    }
    es_json_end_array(out);
    es_json_bool(out, "more", i < list.count);
    es_json_end_object(out);
    es_store_list_free(&list);
    return ES_OK;
}

enum es_status es_control_certificate(struct es_store *store, const struct es_request_line *r,
                                      struct es_text *out, struct es_error *err)
{
    if (!es_name_is_plain(r->number))
        return es_fail(err, ES_USAGE, "\"%.40s\" is not the number of a certificate", r->number);
    char *bytes = NULL;
    size_t length = 0;
    enum es_status s = es_store_latest(store, r->number, &bytes, &length, NULL, err);
    if (s != ES_OK)
        return s;
    es_reply_begin(out, r->id);
    es_json_text(out, "number", r->number);
    es_json_text(out, "certificate", bytes);
    es_json_end_object(out);
    free(bytes);
    return ES_OK;
}

/* Names in `folder` that end in `ending` as array `name`. */
static enum es_status list_folder(const char *folder, const char *ending, const char *name,
                                  struct es_text *out, struct es_error *err)
{
    struct es_choices names;
    enum es_status s = es_choices_read(folder, ending, &names, err);
    if (s != ES_OK)
        return s;
    es_json_array(out, name);
    for (size_t i = 0; i < names.count; i++)
        es_json_text(out, NULL, names.items[i]);
    es_json_end_array(out);
    es_choices_free(&names);
    return ES_OK;
}

static bool lies_in(const char *folder, const char *name, const char *ending)
{
    struct es_text path = {0};
    es_text_printf(&path, "%s/%s%s", folder, name, ending);
    bool there = path.bytes != NULL && access(path.bytes, F_OK) == 0;
    es_text_free(&path);
    return there;
}

enum es_status es_control_find(const char *library, const char *types, const struct es_request_line *r,
                               struct es_error *err)
{
    struct es_text text = {0};
    if (!lies_in(library, r->plan, PLAN_ENDING)) {
        es_text_printf(&text, "there is no test plan \"%s\"; ", r->plan);
        es_choices_tell(library, PLAN_ENDING, &text);
    }
    if (!lies_in(types, r->type, TYPE_ENDING)) {
        es_text_printf(&text, "%sthere is no type sheet \"%s\"; ", text.length > 0 ? ". And " : "", r->type);
        es_choices_tell(types, TYPE_ENDING, &text);
    }
    enum es_status s = ES_OK;
    if (text.length > 0)
        s = es_fail(err, ES_NOT_FOUND, "%s", text.bytes);
    es_text_free(&text);
    return s;
}

enum es_status es_control_plans(const char *library, const char *types, const struct es_request_line *r,
                                struct es_text *out, struct es_error *err)
{
    struct es_text lists = {0};
    es_text_char(&lists, '{');
    enum es_status s = list_folder(library, PLAN_ENDING, "plans", &lists, err);
    if (s == ES_OK)
        s = list_folder(types, TYPE_ENDING, "types", &lists, err);
    if (s == ES_OK)
        s = es_text_status(&lists, err);
    if (s == ES_OK) {
        es_reply_begin(out, r->id);
        es_text_char(out, ',');
        es_text_append(out, lists.bytes + 1, lists.length - 1);
        es_json_end_object(out);
    }
    es_text_free(&lists);
    return s;
}

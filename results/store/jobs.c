#include "results/store/jobs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/store/inner.h"
#include "rig/base/text.h"

#define PART   "jobs"
#define ENDING ".jsonl"

static bool is_job(const char *name)
{
    size_t digits = strncmp(name, "J-", 2) == 0 ? strspn(name + 2, "0123456789") : 0;
    return digits >= 6 && digits <= 9 && (name[2 + digits] == 0 || strcmp(name + 2 + digits, ENDING) == 0);
}

static char *job_path(const struct es_store *store, const char *number, struct es_error *err)
{
    char name[ES_STORE_NUMBER_MAX + sizeof ENDING];
    (void)snprintf(name, sizeof name, "%s" ENDING, number);
    return es_store_path(store, PART, name, err);
}

static enum es_status lock_jobs(struct es_store *store, struct es_lines_lock *lock, struct es_error *err)
{
    char *folder = es_store_path(store, PART, NULL, err);
    char *path = folder ? es_store_path(store, PART, "lock", err) : NULL;
    enum es_status st = path ? es_folder_make(store->ops, folder, 0750, err) : ES_NO_MEMORY;
    if (st == ES_OK) {
        st = es_lines_lock(path, 0640, lock, err);
    }
    free(path);
    free(folder);
    return st;
}

/* ---- Lines ---- */

struct pair {
    const char *name, *value;
};

static enum es_status append_pairs(struct es_store *store, const char *number, const struct pair *pairs,
                                   size_t count, struct es_error *err)
{
    struct es_text line = {0};
    for (size_t i = 0; i < count; i++) {
        if (pairs[i].value) {
            es_text_char(&line, line.length > 0 ? ',' : '{');
            es_text_json(&line, pairs[i].name);
            es_text_char(&line, ':');
            es_text_json(&line, pairs[i].value);
        }
    }
    es_text_add(&line, "}\n");
    char *path = job_path(store, number, err);
    enum es_status st = path ? es_text_status(&line, err) : ES_NO_MEMORY;
    if (st == ES_OK) {
        st = es_lines_append(store->ops, path, 0640, line.bytes, err);
    }
    free(path);
    es_text_free(&line);
    return st;
}

static const char *text_of(const cJSON *line, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(line, name));
}

static void take_opened(const cJSON *line, struct es_job *job)
{
    job->unit = (struct es_job_unit){.serial = text_of(line, "serial"),
                                     .tag = text_of(line, "tag"),
                                     .type = text_of(line, "type"),
                                     .lot = text_of(line, "lot"),
                                     .supplier = text_of(line, "supplier"),
                                     .customer = text_of(line, "customer"),
                                     .customer_contact = text_of(line, "customer_contact"),
                                     .customer_reference = text_of(line, "customer_reference"),
                                     .reason = text_of(line, "reason"),
                                     .condition = text_of(line, "condition"),
                                     .received = text_of(line, "received")};
    job->opened_by = text_of(line, "who");
    job->opened = text_of(line, "when");
    job->stage = "arrived";
}

static void take_run(const cJSON *line, struct es_job *job)
{
    const char *state = text_of(line, "state");
    job->released = job->released_by = NULL; /* a later result has to be released anew */
    if (state && strcmp(state, "as found") == 0) {
        job->as_found = text_of(line, "certificate");
        job->as_found_verdict = text_of(line, "verdict");
        job->stage = "tested";
    } else {
        job->as_left = text_of(line, "certificate");
        job->as_left_verdict = text_of(line, "verdict");
        job->as_left_by = text_of(line, "ran_by");
        job->stage = "retested";
    }
}

static enum es_status take_line(const cJSON *line, struct es_text *parts, struct es_job *job,
                                struct es_error *err)
{
    const char *what = text_of(line, "what");
    const char *text = text_of(line, "text");
    if (!what || !text_of(line, "who") || !text_of(line, "when") ||
        (strcmp(what, "opened") == 0) == (job->opened != NULL)) {
        return es_fail(err, ES_BAD_INPUT,
                       "a line does not say what, who and when, or the first is not \"opened\"");
    }
    if (strcmp(what, "opened") == 0) {
        take_opened(line, job);
        if (!job->unit.serial || !job->unit.received) {
            return es_fail(err, ES_BAD_INPUT,
                           "the first line does not say which unit it is, or when it came");
        }
    } else if (strcmp(what, "run") == 0) {
        take_run(line, job);
    } else if (strcmp(what, "found") == 0) {
        job->found = text;
        job->released = job->released_by = NULL;
    } else if (strcmp(what, "parts") == 0) {
        es_text_printf(parts, "%s%s", parts->length > 0 ? "; " : "", text ? text : "");
        job->stage = "repaired";
        job->released = job->released_by = NULL;
        job->as_left = job->as_left_verdict = job->as_left_by = NULL; /* it has to be tested again */
    } else if (strcmp(what, "released") == 0) {
        job->released_by = text_of(line, "who");
        job->released = text_of(line, "when");
        job->stage = "released";
    } else if (strcmp(what, "delivered") == 0) {
        job->delivered = text_of(line, "when");
        job->stage = "delivered";
    } else if (strcmp(what, "note") != 0) {
        return es_fail(err, ES_BAD_INPUT, "a line says \"%.20s\", which this program does not know", what);
    }
    return ES_OK;
}

enum es_status es_job_read(struct es_store *store, const char *number, struct es_job *out,
                           struct es_error *err)
{
    struct es_job job = {0};
    struct es_text parts = {0};
    if (!is_job(number) || strlen(number) >= ES_STORE_NUMBER_MAX) {
        return es_fail(err, ES_BAD_INPUT, "\"%.40s\" is not a job's number (J-000001)", number);
    }
    (void)snprintf(job.number, sizeof job.number, "%s", number);
    char *path = job_path(store, number, err);
    enum es_status st = path ? es_lines_read(store->ops, path, &job.lines, err) : ES_NO_MEMORY;
    if (st == ES_OK && job.lines.count == 0) {
        st = es_fail(err, ES_NOT_FOUND, "there is no job %s in %s", number, store->folder);
    }
    for (size_t i = 0; i < job.lines.count && st == ES_OK; i++) {
        st = take_line(es_lines_at(&job.lines, i), &parts, &job, err);
        st = st == ES_OK ? st : es_error_context(err, st, "%s: line %zu", path, i + 1);
    }
    if (st == ES_OK && parts.length > 0) {
        st = es_text_take(&parts, &job.parts, err);
    }
    es_text_free(&parts);
    free(path);
    if (st != ES_OK) {
        es_job_free(&job);
        return st;
    }
    *out = job;
    return ES_OK;
}

void es_job_free(struct es_job *job)
{
    es_lines_free(&job->lines);
    free(job->parts);
    *job = (struct es_job){0};
}

/* ---- Opening ---- */

void es_jobs_free(struct es_jobs *jobs)
{
    free(jobs->numbers);
    *jobs = (struct es_jobs){0};
}

enum es_status es_job_list(struct es_store *store, struct es_jobs *out, struct es_error *err)
{
    struct es_names names = {0};
    struct es_jobs jobs = {0};
    enum es_status st = es_store_names(store, PART, &names, err);
    if (st != ES_OK) {
        return st;
    }
    jobs.numbers = calloc(names.count + 1, sizeof *jobs.numbers);
    for (size_t i = 0; jobs.numbers && i < names.count; i++) {
        size_t length = strcspn(names.items[i], ".");
        if (is_job(names.items[i]) && names.items[i][length] == '.') {
            (void)snprintf(jobs.numbers[jobs.count++], ES_STORE_NUMBER_MAX, "%.*s", (int)length,
                           names.items[i]);
        }
    }
    es_names_free(&names);
    if (!jobs.numbers) {
        return es_fail(err, ES_NO_MEMORY, "no memory to list jobs");
    }
    *out = jobs;
    return ES_OK;
}

static enum es_status next_number(struct es_store *store, char number[static ES_STORE_NUMBER_MAX],
                                  struct es_error *err)
{
    struct es_jobs jobs = {0};
    unsigned long highest = 0;
    enum es_status st = es_job_list(store, &jobs, err);
    for (size_t i = 0; i < jobs.count; i++) {
        unsigned long n = strtoul(jobs.numbers[i] + 2, NULL, 10);
        highest = n > highest ? n : highest;
    }
    es_jobs_free(&jobs);
    if (st == ES_OK) {
        (void)snprintf(number, ES_STORE_NUMBER_MAX, "J-%06lu", highest + 1);
    }
    return st;
}

static bool is_date(const char *text)
{
    return text && strlen(text) == 10 && strspn(text, "0123456789-") == 10 && text[4] == '-' &&
           text[7] == '-';
}

/* Names that stand in certificates and are searched for. */
static enum es_status check_unit(const struct es_job_unit *u, struct es_error *err)
{
    const struct {
        const char *what, *text;
    } names[] = {{"the serial number", u->serial},
                 {"the tag", u->tag},
                 {"the type", u->type},
                 {"the lot", u->lot},
                 {"the supplier", u->supplier},
                 {"the customer", u->customer},
                 {"the customer's contact", u->customer_contact},
                 {"the customer's reference", u->customer_reference}};
    enum es_status st = ES_OK;
    if (!u->serial || !u->serial[0]) {
        return es_fail(err, ES_USAGE, "a job needs the unit's serial number");
    }
    if (!is_date(u->received)) {
        return es_fail(err, ES_USAGE, "a job needs the date of receipt (2026-02-01)");
    }
    for (size_t i = 0; st == ES_OK && i < sizeof names / sizeof names[0]; i++) {
        if (names[i].text) {
            st = es_text_check_line(names[i].what, names[i].text, err);
        }
    }
    return st;
}

enum es_status es_job_open(struct es_store *store, const struct es_job_unit *u, const char *who,
                           const char *when, char number[static ES_STORE_NUMBER_MAX], struct es_error *err)
{
    struct es_lines_lock lock = {.fd = -1};
    char made[ES_STORE_NUMBER_MAX];
    enum es_status st = check_unit(u, err);
    if (st == ES_OK) {
        st = lock_jobs(store, &lock, err);
    }
    if (st != ES_OK) {
        return st;
    }
    st = next_number(store, made, err);
    if (st == ES_OK) {
        const struct pair pairs[] = {{"what", "opened"},
                                     {"who", who},
                                     {"when", when},
                                     {"serial", u->serial},
                                     {"tag", u->tag},
                                     {"type", u->type},
                                     {"lot", u->lot},
                                     {"supplier", u->supplier},
                                     {"customer", u->customer},
                                     {"customer_contact", u->customer_contact},
                                     {"customer_reference", u->customer_reference},
                                     {"reason", u->reason},
                                     {"condition", u->condition},
                                     {"received", u->received}};
        st = append_pairs(store, made, pairs, sizeof pairs / sizeof pairs[0], err);
    }
    es_lines_unlock(&lock);
    if (st == ES_OK) {
        memcpy(number, made, sizeof made);
    }
    return st;
}

/* ---- Going on ---- */

static bool is(const struct es_job_change *c, const char *what)
{
    return strcmp(c->what, what) == 0;
}

static enum es_status check_release(const struct es_job *job, const struct es_job_change *c,
                                    struct es_error *err)
{
    if (job->released) {
        return es_fail(err, ES_REFUSED, "job %s is released already, by %s", job->number, job->released_by);
    }
    if (!job->found) {
        return es_fail(err, ES_REFUSED,
                       "job %s cannot be released: nobody said what was found (\"" ES_JOB_NO_FAULT
                       "\" is a finding)",
                       job->number);
    }
    if (!job->as_left || (job->as_left_verdict && strcmp(job->as_left_verdict, "not completed") == 0)) {
        return es_fail(
            err, ES_REFUSED,
            "job %s cannot be released: there is no completed test as left since the last part was "
            "replaced",
            job->number);
    }
    if (job->as_left_by && strcmp(job->as_left_by, c->who) == 0) {
        return es_fail(err, ES_REFUSED,
                       "job %s cannot be released by %s, who ran its last test: it takes a second "
                       "person",
                       job->number, c->who);
    }
    return ES_OK;
}

static enum es_status check_change(const struct es_job *job, const struct es_job_change *c,
                                   struct es_error *err)
{
    bool says = is(c, "found") || is(c, "parts") || is(c, "note");
    if (job->delivered) {
        return es_fail(err, ES_REFUSED, "job %s was delivered on %.10s; open a new one for a new visit",
                       job->number, job->delivered);
    }
    if (!says && !is(c, "run") && !is(c, "released") && !is(c, "delivered")) {
        return es_fail(err, ES_USAGE, "\"%.20s\" is nothing that happens to a job", c->what);
    }
    if (says && (!c->text || !c->text[strspn(c->text, " \t")])) {
        return es_fail(err, ES_USAGE, "\"%s\" needs a text", c->what);
    }
    if (is(c, "run") && (!c->certificate || !c->state)) {
        return es_fail(err, ES_USAGE, "a run needs its certificate and the unit's state");
    }
    if (is(c, "delivered") && !job->released) {
        return es_fail(err, ES_REFUSED, "job %s is not released; it cannot be delivered", job->number);
    }
    return is(c, "released") ? check_release(job, c, err) : ES_OK;
}

enum es_status es_job_add(struct es_store *store, const char *number, const struct es_job_change *c,
                          struct es_error *err)
{
    struct es_lines_lock lock = {.fd = -1};
    struct es_job job = {0};
    enum es_status st = lock_jobs(store, &lock, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_job_read(store, number, &job, err);
    if (st == ES_OK) {
        st = check_change(&job, c, err);
    }
    if (st == ES_OK) {
        const struct pair pairs[] = {{"what", c->what},       {"who", c->who},
                                     {"when", c->when},       {"text", c->text},
                                     {"state", c->state},     {"certificate", c->certificate},
                                     {"verdict", c->verdict}, {"ran_by", c->ran_by}};
        st = append_pairs(store, number, pairs, sizeof pairs / sizeof pairs[0], err);
    }
    es_job_free(&job);
    es_lines_unlock(&lock);
    return st;
}

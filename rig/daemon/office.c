#include <ctype.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/certificate.h"
#include "results/store/books.h"
#include "results/store/jobs.h"
#include "results/store/repairs.h"
#include "results/store/replaced.h"
#include "rig/base/clock.h"
#include "rig/base/digest.h"
#include "rig/base/text.h"
#include "rig/bench/run.h"
#include "rig/daemon/office.h"

#define PREFIX_SIZE 25

struct es_office {
    struct es_office_options options;
    char prefix[PREFIX_SIZE];
    pthread_mutex_t lock; /* store */
    struct es_store *store;
    struct es_key *key;
    const struct es_detection *table;
};

/* "Virtual bench" -> "Virtual-bench"; of a long name whole words, where there are some. */
static void make_prefix(const char *name, char out[static PREFIX_SIZE])
{
    size_t n = 0;
    for (; *name != '\0' && n < PREFIX_SIZE - 1; name++) {
        unsigned char c = (unsigned char)*name;
        if (c < 0x80 && isalnum(c))
            out[n++] = (char)c;
        else if (n > 0 && out[n - 1] != '-')
            out[n++] = '-';
    }
    out[n] = '\0';
    const char *cut = isalnum((unsigned char)*name) ? strrchr(out, '-') : NULL; /* within a word */
    if (cut != NULL)
        n = (size_t)(cut - out);
    while (n > 0 && out[n - 1] == '-')
        n--;
    out[n] = '\0';
    if (n == 0)
        memcpy(out, "bench", sizeof "bench");
}

/* One that was asked for is taken as it is, or not at all. */
static enum es_status take_prefix(struct es_office *o, const char *asked, struct es_error *err)
{
    if (asked == NULL) {
        make_prefix(o->options.bench->name, o->prefix);
        return ES_OK;
    }
    char made[PREFIX_SIZE];
    make_prefix(asked, made);
    if (strcmp(asked, made) != 0)
        return es_fail(
            err, ES_USAGE,
            "--prefix takes up to %d letters and digits, with single hyphens between, not \"%.40s\"",
            PREFIX_SIZE - 1, asked);
    memcpy(o->prefix, made, sizeof made);
    return ES_OK;
}

enum es_status es_office_open(const struct es_office_options *options, struct es_office **out,
                              struct es_error *err)
{
    struct es_office *o = calloc(1, sizeof *o);
    if (o == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to open the state folder");
    o->options = *options;
    enum es_status s = take_prefix(o, options->prefix, err);
    if (s == ES_OK)
        s = es_store_open(options->state, ES_STORE_WRITE, &o->store, err);
    if (s != ES_OK) {
        free(o);
        return s;
    }
    (void)pthread_mutex_init(&o->lock, NULL);
    *out = o;
    return ES_OK;
}

void es_office_close(struct es_office *o)
{
    if (o == NULL)
        return;
    es_key_free(o->key);
    es_store_close(o->store);
    (void)pthread_mutex_destroy(&o->lock);
    free(o);
}

void es_office_take_table(struct es_office *o, const struct es_detection *table)
{
    o->table = table;
}

/* Enters a certificate (NULL: all that are missing) in the log. It is durable and signed as it is; what
 * cannot be entered now is with the next one, or at the next start. */
static void seal_books(struct es_office *o)
{
    char now[32];
    struct es_error err;
    es_clock_wall_text(now);
    if (es_store_seal_books(o->store, o->key, now, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_ERROR, "the log of the books: %s", err.text);
}

static void seal(struct es_office *o, const char *number)
{
    char now[32];
    struct es_error err;
    es_clock_wall_text(now);
    if (es_store_seal(o->store, o->key, number, now, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_ERROR, "the log of certificates: %s", err.text);
}

/* The book of keys is asked each time: a key can be revoked while the daemon runs. */
static enum es_status check_key(struct es_office *o, struct es_error *err)
{
    char now[32];
    struct es_error why;
    es_clock_wall_text(now);
    enum es_status s = es_store_key_check(o->store, es_key_public(o->key), ES_ROLE_OF_BENCH, now, &why);
    if (s == ES_NOT_FOUND) /* told when it was taken */
        return ES_OK;
    return s == ES_OK ? s : es_fail(err, s, "no certificate can be issued: %s", why.text);
}

static enum es_status check_new_key(struct es_office *o, struct es_error *err)
{
    struct es_store_trust book = {0};
    const char *thumbprint = es_key_public(o->key)->thumbprint;
    enum es_status s = check_key(o, err);
    if (s == ES_OK)
        s = es_store_trust(o->store, &book, err);
    bool known = false;
    for (size_t i = 0; i < book.count; i++)
        known = known || strcmp(book.items[i].key.thumbprint, thumbprint) == 0;
    if (s == ES_OK && !known)
        es_log(o->options.log, ES_LOG_WARNING,
               "key %s does not stand in the bench's book of keys: what it signs is not trusted here "
               "(endstop key trust)",
               thumbprint);
    es_store_trust_free(&book);
    return s;
}

enum es_status es_office_take_key(struct es_office *o, struct es_error *err)
{
    const char *file = o->options.passphrase_file;
    const struct es_passphrase from_file = es_passphrase_of_file(file);
    const struct es_passphrase *passphrase = file != NULL ? &from_file : NULL;
    enum es_status s = o->options.key != NULL ? es_key_load_with(o->options.key, passphrase, &o->key, err)
                                              : es_store_key_load_with(o->store, passphrase, &o->key, err);
    if (s == ES_NOT_FOUND && o->options.key == NULL)
        return es_fail(err, s, "this bench has no signing key yet; make one: endstop key create --state %s",
                       es_store_folder(o->store));
    if (s == ES_OK)
        s = check_new_key(o, err);
    if (s != ES_OK)
        return s;
    seal(o, NULL);
    seal_books(o);
    return ES_OK;
}

enum es_status es_office_seal(struct es_office *o, const char *number, struct es_error *err)
{
    char now[32];
    es_clock_wall_text(now);
    pthread_mutex_lock(&o->lock);
    enum es_status s = check_key(o, err);
    if (s == ES_OK)
        s = es_store_seal(o->store, o->key, number, now, err);
    if (s == ES_OK)
        seal_books(o);
    pthread_mutex_unlock(&o->lock);
    return s;
}

struct making {
    struct es_office *office;
    const struct es_outcome *outcome;
    const struct es_office_order *order;
    const struct es_certificate_visit *visit;
    bool replaces; /* what the order says */
};

static enum es_status make_certificate(void *self, const char *number, char **bytes, size_t *length,
                                       struct es_error *err)
{
    const struct making *m = self;
    const struct es_office *o = m->office;
    char now[32];
    es_clock_wall_text(now);
    struct es_certificate_meta meta = {
        .number = number,
        .issued = now,
        .clock_synchronised = es_clock_is_synchronised(),
        .laboratory = o->options.laboratory,
        .laboratory_address = o->options.laboratory_address,
        .software_version = ES_VERSION,
        .issuer_thumbprint = es_key_public(o->key)->thumbprint,
        .virtual_bench = o->options.bench->is_virtual,
        .overdue_reason = m->order->overdue_reason,
        .replaces = m->replaces ? m->order->replaces : NULL,
        .replaces_because = m->replaces ? m->order->replaces_because : NULL,
        .visit = m->visit,
    };
    char *payload = NULL;
    size_t payload_length = 0;
    enum es_status s = es_certificate_build(m->outcome, &meta, &payload, &payload_length, err);
    if (s != ES_OK)
        return s;
    s = es_certificate_sign(payload, payload_length, o->key, "bench", now, bytes, length, err);
    free(payload);
    return s;
}

/* What the workshop found so far, counted by the table's causes. A book that cannot be read is logged and
 * leaves the assumed rates as they are. */
static void count_repairs(struct es_office *o, struct es_confirmed *out)
{
    struct es_repairs repairs = {0};
    struct es_error err;
    if (o->table == NULL)
        return;
    if (es_repairs_read(o->store, &repairs, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_WARNING, "likely causes do without the confirmed repairs: %s",
               err.text);
    for (size_t i = 0; i < repairs.count; i++)
        es_confirmed_add(out, o->table, repairs.items[i].found);
    es_repairs_free(&repairs);
}

/* An interpretation is no reason to withhold a certificate: without one it is logged, and left out. */
static struct es_likely *interpret(struct es_office *o, const struct es_outcome *outcome)
{
    struct es_confirmed confirmed = {0};
    struct es_likely *likely = NULL;
    struct es_error err;
    if (!outcome->completed)
        return NULL;
    count_repairs(o, &confirmed);
    if (es_likely_make(o->table, &confirmed, outcome, &likely, &err) != ES_OK) {
        es_log(o->options.log, ES_LOG_WARNING, "run %s: no likely causes: %s", outcome->run, err.text);
        return NULL;
    }
    return likely;
}

/* ---- Jobs ---- */

/* What a job says for the certificate of one of its tests. */
struct from_job {
    struct es_job job;
    struct es_certificate_visit visit;
    char before[65]; /* digest of the certificate as found */
};

/* The result as found stands beside the one as left. */
static void set_before(struct es_office *o, const struct es_outcome *outcome, struct from_job *f)
{
    char *bytes = NULL;
    size_t length = 0;
    if (f->job.as_found == NULL || outcome->state == NULL || strcmp(outcome->state, "as left") != 0 ||
        es_store_certificate(o->store, f->job.as_found, &bytes, &length, NULL) != ES_OK)
        return;
    es_digest_hex(bytes, length, f->before);
    free(bytes);
    const char *verdict = f->job.as_found_verdict;
    bool judged = verdict != NULL && strcmp(verdict, "not completed") != 0;
    f->visit.before = (struct es_certificate_before){.number = f->job.as_found,
                                                     .sha256 = f->before,
                                                     .state = "as found",
                                                     .verdict = judged ? verdict : NULL};
}

/* Fills what the order left open. A job that cannot be read any more is logged: the test was made all the
 * same. */
static bool take_job(struct es_office *o, const struct es_office_order *order, struct es_outcome *told,
                     struct from_job *f)
{
    struct es_error err;
    const char *number = order->job;
    f->visit = (struct es_certificate_visit){
        .customer_reference = order->reference, .lot = order->lot, .supplier = order->supplier};
    if (number == NULL)
        return false;
    if (es_job_read(o->store, number, &f->job, &err) != ES_OK) {
        es_log(o->options.log, ES_LOG_WARNING, "run %s: its certificate does without the job: %s", told->run,
               err.text);
        return false;
    }
    const struct es_job_unit *u = &f->job.unit;
    struct es_certificate_visit *v = &f->visit;
    v->customer_contact = u->customer_contact;
    v->customer_reference = order->reference != NULL ? order->reference : u->customer_reference;
    v->lot = order->lot != NULL ? order->lot : u->lot;
    v->supplier = order->supplier != NULL ? order->supplier : u->supplier;
    v->job = f->job.number;
    v->received = u->received;
    v->condition = u->condition;
    v->found = f->job.found;
    set_before(o, told, f);
    const struct {
        char **slot;
        const char *text;
    } open[] = {{&told->customer, u->customer},
                {&told->unit_tag, u->tag},
                {&told->reason, u->reason},
                {&told->parts_replaced, f->job.parts}};
    for (size_t i = 0; i < sizeof open / sizeof open[0]; i++)
        if (*open[i].slot == NULL)
            *open[i].slot = (char *)(uintptr_t)open[i].text; /* borrowed: `told` owns nothing */
    return true;
}

static void note_in_job(struct es_office *o, const struct from_job *f, const struct es_outcome *outcome,
                        const char *number)
{
    char now[32];
    struct es_error err;
    es_clock_wall_text(now);
    const struct es_job_change change = {.what = "run",
                                         .who = outcome->person != NULL ? outcome->person : "?",
                                         .when = now,
                                         .certificate = number,
                                         .state = outcome->state,
                                         .verdict = outcome->completed ? es_verdict_word(outcome->verdict)
                                                                       : "not completed",
                                         .ran_by = outcome->person};
    if (es_job_add(o->store, f->job.number, &change, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_WARNING, "certificate %s could not be noted in job %s: %s", number,
               f->job.number, err.text);
}

static enum es_status check_job(struct es_office *o, const char *job, const char *serial,
                                struct es_error *err)
{
    struct es_job found = {0};
    enum es_status s = es_job_read(o->store, job, &found, err);
    if (s == ES_OK && strcmp(found.unit.serial, serial) != 0)
        s = es_fail(err, ES_REFUSED, "job %s is of unit %s, not %s", job, found.unit.serial, serial);
    else if (s == ES_OK && found.delivered != NULL)
        s = es_fail(err, ES_REFUSED, "job %s was delivered; open a new one for a new visit", job);
    es_job_free(&found);
    return s;
}

enum es_status es_office_check(struct es_office *o, const struct es_office_order *order, struct es_error *err)
{
    if ((order->replaces != NULL) != (order->replaces_because != NULL))
        return es_fail(err, ES_USAGE,
                       "a certificate that replaces another says which and why; one without the other is "
                       "not enough");
    pthread_mutex_lock(&o->lock);
    enum es_status s = order->job != NULL ? check_job(o, order->job, order->serial, err) : ES_OK;
    if (s == ES_OK && order->replaces != NULL)
        s = es_store_may_replace(o->store, order->replaces, order->serial, err);
    pthread_mutex_unlock(&o->lock);
    return s;
}

/* Looked at again: another station may have replaced it while this run went on. */
static bool still_replaces(struct es_office *o, const struct es_outcome *outcome,
                           const struct es_office_order *order)
{
    struct es_error err;
    if (order->replaces == NULL || !outcome->completed)
        return false;
    if (es_store_may_replace(o->store, order->replaces, order->serial, &err) == ES_OK)
        return true;
    es_log(o->options.log, ES_LOG_WARNING, "run %s: its certificate does not replace %s: %s", outcome->run,
           order->replaces, err.text);
    return false;
}

/* The lock is held. */
static enum es_status issue_locked(struct es_office *o, const struct es_outcome *outcome,
                                   const struct es_office_order *order,
                                   char number[static ES_STORE_NUMBER_MAX], struct es_error *err)
{
    struct es_outcome told = *outcome; /* all but the interpretation stays the caller's */
    told.likely = interpret(o, outcome);
    struct from_job from = {0};
    bool of_job = take_job(o, order, &told, &from);
    struct making making = {.office = o,
                            .outcome = &told,
                            .order = order,
                            .visit = &from.visit,
                            .replaces = still_replaces(o, outcome, order)};
    struct es_store_maker maker = {.self = &making, .make = make_certificate};
    enum es_status s = check_key(o, err);
    if (s == ES_OK)
        s = es_store_issue(o->store, o->prefix, &maker, number, err);
    es_likely_free(told.likely);
    if (s == ES_OK && of_job)
        note_in_job(o, &from, outcome, number);
    es_job_free(&from.job);
    if (s != ES_OK)
        return s;
    seal(o, number);
    char now[32];
    es_clock_wall_text(now);
    const char *why = NULL;
    if (!outcome->completed)
        why = outcome->ended_because != NULL ? outcome->ended_because : "not completed";
    struct es_error end_err;
    /* The paper is durable, so the run is settled even if this fails: the store then finds the run by it. */
    if (es_store_run_end(o->store, outcome->run, now, number, why, &end_err) != ES_OK)
        es_log(o->options.log, ES_LOG_WARNING, "the end of run %s could not be written beside %s: %s",
               outcome->run, number, end_err.text);
    return ES_OK;
}

enum es_status es_office_issue(struct es_office *o, const struct es_outcome *outcome,
                               const struct es_office_order *order, char number[static ES_STORE_NUMBER_MAX],
                               struct es_error *err)
{
    pthread_mutex_lock(&o->lock);
    enum es_status s = issue_locked(o, outcome, order, number, err);
    if (s == ES_OK)
        seal_books(o); /* the job's among them */
    pthread_mutex_unlock(&o->lock);
    return s;
}

void es_office_give_up(struct es_office *o, const char *run, const char *why)
{
    char now[32];
    es_clock_wall_text(now);
    struct es_error err;
    pthread_mutex_lock(&o->lock);
    enum es_status s = es_store_run_end(o->store, run, now, NULL, why, &err);
    pthread_mutex_unlock(&o->lock);
    if (s != ES_OK)
        es_log(o->options.log, ES_LOG_ERROR,
               "the end of run %s could not be written (%s); the next start lists it as interrupted", run,
               err.text);
}

enum es_status es_office_begin(struct es_office *o, const struct es_store_run *run, char **journals,
                               char **recordings, struct es_error *err)
{
    struct es_text path = {0};
    es_text_printf(&path, "%s/recordings", es_store_folder(o->store));
    char *recordings_path = NULL;
    enum es_status s = es_text_take(&path, &recordings_path, err);
    if (s != ES_OK)
        goto free_path;
    pthread_mutex_lock(&o->lock);
    s = check_key(o, err);
    if (s == ES_OK)
        s = es_store_run_begin(o->store, run, err);
    if (s == ES_OK)
        s = es_store_run_folder(o->store, run->run, journals, err);
    pthread_mutex_unlock(&o->lock);
    if (s == ES_OK) {
        *recordings = recordings_path;
        recordings_path = NULL;
    }
free_path:
    free(recordings_path);
    es_text_free(&path);
    return s;
}

/* One journal of a run that was never closed: its record, then the journal's mark. */
static enum es_status settle_journal(struct es_office *o, const struct es_interrupted *item,
                                     const char *recordings, struct es_error *err)
{
    struct es_outcome outcome = {0};
    char number[ES_STORE_NUMBER_MAX];
    enum es_status s = es_run_interrupted_outcome(item, recordings, &outcome, err);
    if (s == ES_OK)
        s = issue_locked(o, &outcome, &(struct es_office_order){.serial = outcome.unit_serial}, number, err);
    if (s == ES_OK) {
        es_log(o->options.log, ES_LOG_WARNING,
               "run %s (serial %s) was interrupted: not completed, record %s; %.0f s of it are kept",
               item->run, item->serial != NULL ? item->serial : "?", number, item->covered);
        s = es_run_interrupted_settle(item, err);
    }
    es_outcome_free(&outcome);
    return s;
}

static enum es_status settle_run(struct es_office *o, const struct es_store_run *run, struct es_error *err)
{
    char *folder = NULL;
    struct es_interrupted *items = NULL;
    size_t count = 0;
    struct es_text recordings = {0};
    es_text_printf(&recordings, "%s/recordings", es_store_folder(o->store));
    enum es_status s = es_text_status(&recordings, err);
    if (s == ES_OK)
        s = es_store_run_folder(o->store, run->run, &folder, err);
    if (s == ES_OK)
        s = es_run_interrupted(folder, &items, &count, err);
    for (size_t i = 0; s == ES_OK && i < count; i++)
        s = settle_journal(o, &items[i], recordings.bytes, err);
    if (s == ES_OK && count == 0) {
        char now[32];
        es_clock_wall_text(now);
        es_log(o->options.log, ES_LOG_WARNING,
               "run %s (serial %s) was interrupted before anything was recorded: not completed", run->run,
               run->serial != NULL ? run->serial : "?");
        s = es_store_run_end(o->store, run->run, now, NULL,
                             "interrupted before anything was recorded: the daemon ended without notice",
                             err);
    }
    es_run_interrupted_free(items, count);
    free(folder);
    es_text_free(&recordings);
    return s;
}

enum es_status es_office_settle_interrupted(struct es_office *o, size_t *count, struct es_error *err)
{
    struct es_store_runs runs = {0};
    pthread_mutex_lock(&o->lock);
    enum es_status s = es_store_runs(o->store, &runs, err);
    *count = 0;
    for (size_t i = 0; s == ES_OK && i < runs.count; i++) {
        if (runs.items[i].state != ES_RUN_OPEN)
            continue;
        struct es_error run_err;
        ++*count;
        if (settle_run(o, &runs.items[i], &run_err) != ES_OK)
            es_log(o->options.log, ES_LOG_ERROR, "run %s was interrupted and could not be settled: %s",
                   runs.items[i].run, run_err.text);
    }
    pthread_mutex_unlock(&o->lock);
    es_store_runs_free(&runs);
    return s;
}

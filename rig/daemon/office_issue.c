/* From an outcome to a durable certificate. */
#include <stdlib.h>
#include <string.h>

#include "results/certificate/certificate.h"
#include "results/store/jobs.h"
#include "results/store/repairs.h"
#include "results/store/replaced.h"
#include "rig/base/clock.h"
#include "rig/base/digest.h"
#include "rig/daemon/office_inner.h"

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

/* What the workshop found so far in such units, counted by the table's causes. A book that cannot be read is
 * logged and leaves the assumed rates as they are. */
static void count_repairs(struct es_office *o, const char *type, struct es_confirmed *out)
{
    struct es_repairs repairs = {0};
    struct es_error err;
    if (o->table == NULL)
        return;
    if (es_repairs_read(o->store, &repairs, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_WARNING, "likely causes do without the confirmed repairs: %s",
               err.text);
    for (size_t i = 0; i < repairs.count; i++)
        es_confirmed_add(out, o->table, type, repairs.items[i].type, repairs.items[i].found);
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
    count_repairs(o, outcome->type, &confirmed);
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

enum es_status es_office_issue_locked(struct es_office *o, const struct es_outcome *outcome,
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
    enum es_status s = es_office_check_key(o, err);
    if (s == ES_OK)
        s = es_store_issue(o->store, o->prefix, &maker, number, err);
    es_likely_free(told.likely);
    if (s == ES_OK && of_job)
        note_in_job(o, &from, outcome, number);
    es_job_free(&from.job);
    if (s != ES_OK)
        return s;
    es_office_enter(o, number);
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
    enum es_status s = es_office_issue_locked(o, outcome, order, number, err);
    if (s == ES_OK)
        es_office_enter_books(o); /* the job's among them */
    pthread_mutex_unlock(&o->lock);
    return s;
}

/* A certificate issued anew with a word corrected. */
#include <stdlib.h>
#include <string.h>

#include "results/certificate/content.h"
#include "results/store/jobs.h"
#include "results/store/key_register.h"
#include "results/store/replaced.h"
#include "results/store/signed.h"
#include "rig/base/clock.h"
#include "rig/base/text.h"
#include "rig/daemon/office_inner.h"

struct amending {
    struct es_office *office;
    const struct es_amendment *order;
    const char *bytes;
    size_t length;
};

static enum es_status make(void *self, const char *number, char **bytes, size_t *length, struct es_error *err)
{
    const struct amending *m = self;
    const struct es_office *o = m->office;
    char now[32];
    char *payload = NULL;
    size_t payload_length = 0;
    es_clock_wall_text(now);
    struct es_amendment a = *m->order;
    a.number = number;
    a.issued = now;
    a.software_version = ES_VERSION;
    a.issuer_thumbprint = es_key_public(o->key)->thumbprint;
    a.clock_synchronised = es_clock_is_synchronised();
    enum es_status s = es_certificate_amend(m->bytes, m->length, &a, &payload, &payload_length, err);
    if (s == ES_OK)
        s = es_certificate_sign(payload, payload_length, o->key, ES_ROLE_OF_BENCH, now, bytes, length, err);
    free(payload);
    return s;
}

/* What is not as signed is not carried on under a new signature. */
static enum es_status check_old(struct es_office *o, const char *number, const char *bytes, size_t length,
                                struct es_error *err)
{
    struct es_store_trust trust = {0};
    struct es_certificate_report report = {0};
    enum es_status s = es_store_trust(o->store, &trust, err);
    if (s == ES_OK)
        s = es_certificate_verify(number, bytes, length, trust.items, trust.count, &report, err);
    if (s == ES_OK && report.finding != ES_CERTIFICATE_VALID)
        s = es_fail(err, ES_REFUSED, "%s is not amended: %s", number, report.text);
    es_store_trust_free(&trust);
    return s;
}

/* The job's book names the new one; a job that was delivered takes no further line. */
static void note_in_job(struct es_office *o, const struct es_content *old, const struct es_amendment *order,
                        const char *made)
{
    char now[32];
    struct es_text text = {0};
    struct es_error err;
    if (old->job[0] == '\0')
        return;
    es_clock_wall_text(now);
    es_text_printf(&text, "certificate %s amends %s: %s", made, old->number, order->because);
    const struct es_job_change change = {
        .what = "note", .who = order->person, .when = now, .text = text.bytes};
    enum es_status s = es_text_status(&text, &err);
    if (s == ES_OK)
        s = es_job_add(o->store, old->job, &change, &err);
    if (s != ES_OK)
        es_log(o->options.log, ES_LOG_WARNING, "that %s amends %s could not be noted in job %s: %s", made,
               old->number, old->job, err.text);
    es_text_free(&text);
}

static enum es_status amend(struct es_office *o, const char *bytes, size_t length,
                            const struct es_content *old, const struct es_amendment *order,
                            char made[static ES_STORE_NUMBER_MAX], struct es_error *err)
{
    struct amending amending = {.office = o, .order = order, .bytes = bytes, .length = length};
    struct es_store_maker maker = {.self = &amending, .make = make};
    enum es_status s = check_old(o, old->number, bytes, length, err);
    if (s == ES_OK)
        s = es_store_may_replace(o->store, old->number, old->serial, err);
    if (s == ES_OK)
        s = es_store_issue(o->store, o->prefix, &maker, made, err);
    if (s != ES_OK)
        return s;
    es_office_enter(o, made);
    note_in_job(o, old, order, made);
    es_office_enter_books(o);
    return ES_OK;
}

enum es_status es_office_amend(struct es_office *o, const char *number, const struct es_amendment *order,
                               char made[static ES_STORE_NUMBER_MAX], struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_content old = {0};
    pthread_mutex_lock(&o->lock);
    enum es_status s = es_office_check_key(o, err);
    if (s == ES_OK)
        s = es_store_latest(o->store, number, &bytes, &length, NULL, err);
    if (s == ES_OK)
        s = es_document_parse(number, bytes, length, &findings, &doc, err);
    if (s == ES_BAD_INPUT)
        s = es_findings_status(&findings, err);
    if (s == ES_OK)
        s = es_content_read(es_document_root(doc), &old, err);
    if (s == ES_OK)
        s = amend(o, bytes, length, &old, order, made, err);
    pthread_mutex_unlock(&o->lock);
    es_content_free(&old);
    es_document_free(doc);
    es_findings_free(&findings);
    free(bytes);
    return s;
}

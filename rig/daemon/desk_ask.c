#include <math.h>
#include <string.h>
#include <time.h>

#include "rig/console/json_writer.h"
#include "rig/daemon/desk_ask.h"
#include "rig/daemon/desk_job.h"
#include "rig/daemon/desk_report.h"

#define LOOK_EVERY (ES_NS_PER_S / 20) /* how often giving up is asked for */

static void tell_question(struct es_desk *d, long number, const struct es_question *q)
{
    struct es_text json = {0};
    es_report_question(&json, NULL, number, q);
    es_feed_append(d->feed, json.bytes, json.length);
    es_text_free(&json);
}

static void tell_answer(struct es_desk *d, long number, const struct es_question *q,
                        const struct es_answer *a)
{
    char text[120];
    switch (q->kind) {
    case ES_ASK_CHOICE:
        snprintf(text, sizeof text, "%s", q->options[a->choice]);
        break;
    case ES_ASK_NUMBER:
        es_quantity_format(a->number, q->unit, 6, text, sizeof text);
        break;
    case ES_ASK_DONE:
        snprintf(text, sizeof text, "%s", a->yes ? "done" : "not done");
        break;
    case ES_ASK_CONFIRM:
    default:
        snprintf(text, sizeof text, "%s", a->yes ? "yes" : "no");
    }
    struct es_text json = {0};
    es_json_object(&json, NULL);
    es_json_text(&json, "event", "answered");
    es_json_integer(&json, "question", number);
    es_json_text(&json, "answer", text);
    es_json_text(&json, "person", a->person);
    es_json_end_object(&json);
    es_feed_append(d->feed, json.bytes, json.length);
    es_text_free(&json);
}

/* Waits with the lock held; gives it up while asking whether to give up. */
static enum es_status wait_for_answer(struct es_desk *d, es_time deadline, bool (*give_up)(const void *site),
                                      const void *site, struct es_error *err)
{
    while (!d->answered) {
        es_time now = es_clock_now();
        if (now >= deadline)
            return es_fail(err, ES_TIMEOUT, "nobody answered in time");
        es_time until = now + LOOK_EVERY < deadline ? now + LOOK_EVERY : deadline;
        struct timespec at = {.tv_sec = (time_t)(until / ES_NS_PER_S),
                              .tv_nsec = (long)(until % ES_NS_PER_S)};
        (void)pthread_cond_timedwait(&d->changed, &d->lock, &at);
        if (d->answered)
            break;
        pthread_mutex_unlock(&d->lock);
        bool up = give_up != NULL && give_up(site);
        pthread_mutex_lock(&d->lock);
        if (up && !d->answered)
            return es_fail(err, ES_CANCELLED, "the run was stopped while it waited for an answer");
    }
    return ES_OK;
}

enum es_status es_desk_ask(void *self, const struct es_question *q, struct es_answer *a,
                           bool (*give_up)(const void *site), const void *site, struct es_error *err)
{
    struct es_desk *d = self;
    es_time deadline =
        es_clock_now() + es_from_seconds(isfinite(q->timeout) && q->timeout > 0 ? q->timeout : 600);
    pthread_mutex_lock(&d->lock);
    long number = ++d->question_number;
    d->question = q;
    d->answered = false;
    d->asking = true;
    pthread_mutex_unlock(&d->lock);
    tell_question(d, number, q); /* after `asking`, so that an answer to it finds the question open */
    pthread_mutex_lock(&d->lock);
    enum es_status s = wait_for_answer(d, deadline, give_up, site, err);
    if (s == ES_OK)
        *a = d->answer;
    d->asking = false;
    d->question = NULL;
    pthread_mutex_unlock(&d->lock);
    if (s == ES_OK)
        tell_answer(d, number, q, a);
    else
        es_desk_tell(d, "unanswered", "text", err != NULL ? err->text : "");
    return s;
}

/* The lock is held and the question is open. */
static enum es_status read_answer(const struct es_question *q, const struct es_request_line *r,
                                  struct es_answer *a, struct es_error *err)
{
    bool yes_or_no = r->answer == ES_REPLY_YES || r->answer == ES_REPLY_NO;
    switch (q->kind) {
    case ES_ASK_CONFIRM:
        if (!yes_or_no)
            return es_fail(err, ES_REFUSED, "the question wants yes or no");
        a->yes = r->answer == ES_REPLY_YES;
        return ES_OK;
    case ES_ASK_DONE:
        if (!yes_or_no && r->answer != ES_REPLY_DONE)
            return es_fail(err, ES_REFUSED, "the question wants to hear that it is done");
        a->yes = r->answer != ES_REPLY_NO;
        return ES_OK;
    case ES_ASK_CHOICE: {
        long count = 0;
        while (q->options != NULL && q->options[count] != NULL)
            count++;
        if (r->answer != ES_REPLY_CHOICE || r->choice < 0 || r->choice >= count)
            return es_fail(err, ES_REFUSED, "the question wants one of its %ld choices", count);
        a->choice = (int)r->choice;
        return ES_OK;
    }
    case ES_ASK_NUMBER: {
        struct es_quantity quantity;
        if (r->answer != ES_REPLY_NUMBER || r->number == NULL)
            return es_fail(err, ES_REFUSED, "the question wants a number in %s", q->unit->name);
        enum es_status s = es_quantity_parse_as(r->number, q->unit->dimension, &quantity, err);
        if (s == ES_OK)
            a->number = quantity.value;
        return s;
    }
    }
    return es_fail(err, ES_INTERNAL, "a question of no known kind");
}

enum es_status es_desk_answer(struct es_desk *d, const struct es_request_line *r, const char *person,
                              struct es_error *err)
{
    enum es_status s = ES_OK;
    pthread_mutex_lock(&d->lock);
    struct es_answer answer = {0};
    if (!d->asking || d->answered || r->question != d->question_number)
        s = es_fail(err, ES_REFUSED, "question %ld is not open any more", r->question);
    else
        s = read_answer(d->question, r, &answer, err);
    if (s == ES_OK) {
        snprintf(answer.person, sizeof answer.person, "%s", person);
        d->answer = answer;
        d->answered = true;
        pthread_cond_broadcast(&d->changed);
    }
    pthread_mutex_unlock(&d->lock);
    return s;
}

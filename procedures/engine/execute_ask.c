/* What is asked of people, and who answered. */
#include <stdio.h>
#include <string.h>

#include "procedures/engine/execution.h"

static enum es_status put(struct es_execution *x, const struct es_step *s, enum es_question_kind kind,
                          struct es_answer *answer, struct es_error *err)
{
    double most;

    enum es_status status = es_amount_resolve(&s->at_most, ES_ROLE_NONE, x->type, &most, err);
    if (status != ES_OK)
        return status;
    const struct es_question q = {.kind = kind,
                                  .text = s->text,
                                  .caution = s->caution,
                                  .picture = s->picture,
                                  .options = (const char *const *)s->options,
                                  .unit = s->unit,
                                  .timeout = most};
    return x->port->ask(x->port->self, &q, answer, err);
}

static size_t option_count(const struct es_step *s)
{
    size_t n = 0;

    while (s->options != NULL && s->options[n] != NULL)
        n++;
    return n;
}

static enum es_status check_choice(const struct es_step *s, const struct es_answer *a, struct es_error *err)
{
    if (a->choice < 0 || (size_t)a->choice >= option_count(s))
        return es_fail(err, ES_INTERNAL, "an answer that was not among those offered");
    return ES_OK;
}

enum es_status es_execute_ask(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    const enum es_question_kind kind = s->options != NULL ? ES_ASK_CHOICE
                                       : s->unit != NULL  ? ES_ASK_NUMBER
                                                          : ES_ASK_DONE;
    struct es_answer a = {0};
    char number[64];
    const char *answer = "done";

    enum es_status status = put(x, s, kind, &a, err);
    if (status == ES_OK && kind == ES_ASK_CHOICE)
        status = check_choice(s, &a, err);
    if (status != ES_OK)
        return status;
    if (kind == ES_ASK_CHOICE) {
        answer = s->options[a.choice];
    } else if (kind == ES_ASK_NUMBER) {
        (void)es_quantity_format(a.number, s->unit, 3, number, sizeof number);
        answer = number;
    }
    return es_keep_confirmation(x, s->text, answer, a.person, err);
}

enum es_status es_ask_done(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    struct es_answer a = {0};

    const enum es_status status = put(x, s, ES_ASK_DONE, &a, err);
    return status == ES_OK ? es_keep_confirmation(x, s->text, "done", a.person, err) : status;
}

enum es_status es_execute_confirm(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    struct es_answer a = {0};
    char reason[320];

    enum es_status status = put(x, s, ES_ASK_CONFIRM, &a, err);
    if (status == ES_OK)
        status = es_keep_confirmation(x, s->text, a.yes ? "yes" : "no", a.person, err);
    if (status != ES_OK || a.yes)
        return status;
    (void)snprintf(reason, sizeof reason, "the operator did not confirm: %s", s->text);
    return es_otherwise(x, s, reason, err);
}

static enum es_status one_caution(struct es_execution *x, const char *text, struct es_error *err)
{
    const struct es_question q = {.kind = ES_ASK_CONFIRM,
                                  .text = "Do you confirm that this caution is heeded?",
                                  .caution = text,
                                  .timeout = ES_QUESTION_TIMEOUT};
    struct es_answer a = {0};

    if (x->options->unattended)
        return es_keep_confirmation(x, text, "confirmed beforehand", x->options->person, err);
    enum es_status s = x->port->ask(x->port->self, &q, &a, err);
    if (s != ES_OK)
        return es_error_context(err, s, "a caution was not confirmed");
    s = es_keep_confirmation(x, text, a.yes ? "confirmed" : "not confirmed", a.person, err);
    if (s == ES_OK && !a.yes)
        return es_fail(err, ES_CANCELLED, "a caution was not confirmed, so that nothing was moved: %s", text);
    return s;
}

enum es_status es_confirm_cautions(struct es_execution *x, struct es_error *err)
{
    for (size_t i = 0; i < x->plan->entry_count; i++) {
        const struct es_procedure *p = x->plan->entries[i].procedure;
        for (size_t k = 0; k < p->caution_count; k++) {
            if (!es_plan_caution_is_new(x->plan, i, k))
                continue;
            const enum es_status s = one_caution(x, p->cautions[k], err);
            if (s != ES_OK)
                return s;
        }
    }
    return ES_OK;
}

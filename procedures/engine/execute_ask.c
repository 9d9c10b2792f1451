/* What is asked of people, and who answered. */
#include <stdio.h>
#include <string.h>

#include "procedures/engine/execution.h"

static const char *if_no(const struct es_step *s, enum es_question_kind kind)
{
    if (kind == ES_ASK_DONE)
        return "The run ends as not completed and the station is made safe.";
    if (kind != ES_ASK_CONFIRM)
        return NULL;
    switch (s->otherwise) {
    case ES_ELSE_GO_ON:
        return "The run goes on, and the certificate says that the answer was no.";
    case ES_ELSE_STOP_RUN:
        return "The run ends as not completed and the station is made safe.";
    default:
        return "The rest of this procedure is left out; what it would have judged is not tested.";
    }
}

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
                                  .timeout = most,
                                  .if_no = if_no(s, kind)};
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
    const char *answer = number;

    if (kind == ES_ASK_DONE)
        return es_ask_done(x, s, err);
    enum es_status status = put(x, s, kind, &a, err);
    if (status == ES_OK && kind == ES_ASK_CHOICE)
        status = check_choice(s, &a, err);
    if (status != ES_OK)
        return status;
    if (kind == ES_ASK_CHOICE) {
        answer = s->options[a.choice];
    } else {
        (void)es_quantity_format(a.number, s->unit, 3, number, sizeof number);
    }
    return es_keep_confirmation(x, s->text, answer, a.person, err);
}

enum es_status es_ask_done(struct es_execution *x, const struct es_step *s, struct es_error *err)
{
    struct es_answer a = {0};

    enum es_status status = put(x, s, ES_ASK_DONE, &a, err);
    if (status == ES_OK)
        status = es_keep_confirmation(x, s->text, a.yes ? "done" : "not done", a.person, err);
    if (status == ES_OK && !a.yes)
        return es_fail(err, ES_CANCELLED, "the operator did not do what was asked: %s", s->text);
    return status;
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

static enum es_status one_caution(struct es_execution *x, const char *text, unsigned number, unsigned of,
                                  struct es_error *err)
{
    const struct es_question q = {.kind = ES_ASK_CONFIRM,
                                  .text = "Do you confirm that this caution is heeded?",
                                  .caution = text,
                                  .number = number,
                                  .of = of,
                                  .if_no = "The run ends here as not completed; nothing has been moved.",
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

static unsigned count_cautions(const struct es_plan *plan)
{
    unsigned count = 0;

    for (size_t i = 0; i < plan->entry_count; i++)
        for (size_t k = 0; k < plan->entries[i].procedure->caution_count; k++)
            count += es_plan_caution_is_new(plan, i, k);
    return count;
}

enum es_status es_confirm_cautions(struct es_execution *x, struct es_error *err)
{
    const unsigned of = count_cautions(x->plan);
    unsigned number = 0;

    for (size_t i = 0; i < x->plan->entry_count; i++) {
        const struct es_procedure *p = x->plan->entries[i].procedure;
        for (size_t k = 0; k < p->caution_count; k++) {
            if (!es_plan_caution_is_new(x->plan, i, k))
                continue;
            const enum es_status s = one_caution(x, p->cautions[k], ++number, of, err);
            if (s != ES_OK)
                return s;
        }
    }
    return ES_OK;
}

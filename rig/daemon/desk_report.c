/* The events of a desk as JSON. */
#include <math.h>

#include "rig/console/json_writer.h"
#include "rig/daemon/desk_report.h"

void es_safe_report_json(struct es_text *out, const char *name, const struct es_safe_report *report)
{
    es_json_object(out, name);
    es_json_bool(out, "reached", report->reached);
    es_json_bool(out, "late", report->late);
    es_json_number(out, "seconds", report->seconds);
    es_json_number(out, "allowed", report->allowed);
    es_json_text(out, "cause", report->cause);
    es_json_text(out, "sentence", report->sentence);
    es_json_array(out, "steps");
    for (size_t i = 0; i < report->count && i < ES_SAFE_WRITE_MAX; i++) {
        const struct es_safe_step *step = &report->steps[i];
        es_json_object(out, NULL);
        es_json_text(out, "role", es_role_info(step->role)->name);
        es_json_number(out, "value", step->value);
        es_json_text(out, "outcome", es_safe_outcome_word(step->outcome));
        es_json_number(out, "at", step->at);
        es_json_text(out, "text", step->text);
        es_json_end_object(out);
    }
    es_json_end_array(out);
    es_json_end_object(out);
}

void es_report_event(struct es_text *out, const struct es_event *event)
{
    static const struct {
        const char *word, *state;
    } words[] = {
        [ES_EVENT_PROCEDURE_BEGIN] = {"procedure", "begin"},
        [ES_EVENT_PROCEDURE_END] = {"procedure", "end"},
        [ES_EVENT_STEP] = {"step", NULL},
        [ES_EVENT_RECORDING_BEGIN] = {"recording", "begin"},
        [ES_EVENT_RECORDING_END] = {"recording", "end"},
        [ES_EVENT_NOTE] = {"note", NULL},
    };
    es_json_object(out, NULL);
    es_json_text(out, "event", words[event->kind].word);
    if (words[event->kind].state != NULL)
        es_json_text(out, "state", words[event->kind].state);
    if (event->name != NULL)
        es_json_text(out, "name", event->name);
    if (event->text != NULL)
        es_json_text(out, "text", event->text);
    es_json_number(out, "elapsed", event->elapsed);
    es_json_number(out, "remaining", event->remaining);
    if (event->role_count > 0) {
        es_json_array(out, "roles");
        for (size_t i = 0; i < event->role_count; i++)
            es_json_text(out, NULL, es_role_info(event->roles[i])->name);
        es_json_end_array(out);
    }
    es_json_end_object(out);
}

const char *es_question_kind_word(enum es_question_kind kind)
{
    static const char *const words[] = {[ES_ASK_CONFIRM] = "confirm",
                                        [ES_ASK_CHOICE] = "choice",
                                        [ES_ASK_NUMBER] = "number",
                                        [ES_ASK_DONE] = "done"};
    return words[kind];
}

void es_report_question(struct es_text *out, const char *name, long number, const struct es_question *q)
{
    es_json_object(out, name);
    if (name == NULL)
        es_json_text(out, "event", "question");
    es_json_integer(out, "question", number);
    es_json_text(out, "kind", es_question_kind_word(q->kind));
    es_json_text(out, "text", q->text);
    es_json_text(out, "caution", q->caution);
    es_json_text(out, "picture", q->picture);
    if (q->kind == ES_ASK_CHOICE && q->options != NULL) {
        es_json_array(out, "options");
        for (size_t i = 0; q->options[i] != NULL; i++)
            es_json_text(out, NULL, q->options[i]);
        es_json_end_array(out);
    }
    if (q->kind == ES_ASK_NUMBER && q->unit != NULL)
        es_json_text(out, "unit", q->unit->name);
    es_json_number(out, "timeout", q->timeout);
    if (q->of > 0) {
        es_json_integer(out, "number", q->number);
        es_json_integer(out, "of", q->of);
    }
    if (q->if_no != NULL)
        es_json_text(out, "if no", q->if_no);
    es_json_end_object(out);
}

const char *es_quality_word(enum es_quality quality)
{
    static const char *const words[] = {
        [ES_GOOD] = "good", [ES_STALE] = "stale", [ES_OUT_OF_RANGE] = "out of range", [ES_FAILED] = "failed"};
    return words[quality];
}

void es_report_values(struct es_text *out, const struct es_bench_station *station,
                      const struct es_reading *by_role)
{
    es_json_object(out, NULL);
    es_json_text(out, "event", "values");
    es_json_text(out, "station", station->name);
    es_json_object(out, "values");
    for (size_t i = 0; i < station->channel_count; i++) {
        const struct es_bench_channel *c = &station->channels[i];
        const struct es_reading *r = &by_role[c->role];
        es_json_object(out, es_role_info(c->role)->name);
        es_json_number(out, "value", r->quality == ES_GOOD ? es_to_unit(r->value, c->unit) : NAN);
        es_json_text(out, "unit", c->unit->name);
        es_json_text(out, "quality", es_quality_word(r->quality));
        es_json_end_object(out);
    }
    es_json_end_object(out);
    es_json_end_object(out);
}

void es_report_findings(struct es_text *out, const struct es_findings *findings)
{
    es_json_array(out, "findings");
    for (size_t i = 0; i < findings->count; i++) {
        const struct es_finding *f = &findings->items[i];
        es_json_object(out, NULL);
        es_json_text(out, "file", f->file);
        es_json_integer(out, "line", f->line);
        es_json_integer(out, "column", f->column);
        es_json_text(out, "found", f->found);
        es_json_text(out, "expected", f->expected);
        es_json_text(out, "advice", f->advice);
        es_json_end_object(out);
    }
    es_json_end_array(out);
}

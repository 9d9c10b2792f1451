#include "results/archive/questions.h"

#include <stdio.h>
#include <string.h>

#include "results/archive/question_parts.h"

static const struct es_answer_column find_columns[] = {ES_COLUMN("number", "number"),
                                                       ES_COLUMN_HIDDEN("bench"),
                                                       ES_COLUMN_SPARE("kind", "kind", 2),
                                                       ES_COLUMN_TIME("issued", "issued"),
                                                       ES_COLUMN("serial", "serial"),
                                                       ES_COLUMN("type", "type"),
                                                       ES_COLUMN_SPARE("plan", "plan", 1),
                                                       ES_COLUMN("state", "state"),
                                                       ES_COLUMN("verdict", "verdict"),
                                                       ES_COLUMN("customer", "customer"),
                                                       ES_COLUMN_DAY("released", "released"),
                                                       ES_COLUMN_SPARE("releaser", "by", 3),
                                                       ES_COLUMN("out_of_force", "out of force")};

static enum es_status ask_find(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                               struct es_error *err)
{
    const struct es_value values[] = {es_value_text(es_question_any(q->serial)),
                                      es_value_text(es_question_any(q->since))};
    return q->serial
               ? es_database_run(&archive->db, ES_SQL_FIND_SERIAL, values, 2, es_answer_take, a, NULL, err)
               : es_database_run(&archive->db, ES_SQL_FIND_SINCE, values + 1, 1, es_answer_take, a, NULL,
                                 err);
}

static const struct es_answer_column touched_columns[] = {
    ES_COLUMN("number", "number"),      ES_COLUMN_HIDDEN("bench"),
    ES_COLUMN_TIME("issued", "issued"), ES_COLUMN("serial", "serial"),
    ES_COLUMN("type", "type"),          ES_COLUMN("customer", "customer"),
    ES_COLUMN("verdict", "verdict"),    ES_COLUMN("out_of_force", "out of force"),
    ES_COLUMN_HEAD("instrument"),       ES_COLUMN_HEAD("identity"),
    ES_COLUMN_HEAD("calibration"),      ES_COLUMN_HEAD("due")};

static enum es_status ask_touched(struct es_archive *archive, const struct es_question *q,
                                  struct es_answer *a, struct es_error *err)
{
    const struct es_value values[] = {es_value_text(es_question_any(q->instrument)),
                                      es_value_text(es_question_any(q->since))};
    return q->instrument
               ? es_database_run(&archive->db, ES_SQL_TOUCHED, values, 2, es_answer_take, a, NULL, err)
               : es_fail(err, ES_USAGE,
                         "which instrument? Its identity, its name, or its calibration's number");
}

static const struct es_question_row find = {find_columns, ES_COUNT(find_columns), ask_find};
static const struct es_question_row touched = {touched_columns, ES_COUNT(touched_columns), ask_touched};

static const struct es_question_row *row_of(const struct es_question *q)
{
    switch (q->kind) {
    case ES_ASK_FIND:
        return &find;
    case ES_ASK_HISTORY:
        return &es_question_history;
    case ES_ASK_PAIRS:
        return q->measurand ? &es_question_pair_values : &es_question_pairs;
    case ES_ASK_NO_FAULT:
        return &es_question_no_fault;
    case ES_ASK_FAILURES:
        return &es_question_failures;
    case ES_ASK_TOUCHED:
        return &touched;
    case ES_ASK_CHART:
        return &es_question_chart;
    case ES_ASK_REPEATABILITY:
        break;
    }
    return &es_question_repeatability;
}

/* What was looked for, in words. */
static void tell_nothing(const struct es_question *q, char out[static 320])
{
    static const char *const what[] = {
        [ES_ASK_FIND] = "The archive holds no certificate",
        [ES_ASK_HISTORY] = "The archive holds no certificate in force",
        [ES_ASK_PAIRS] = "The archive holds no unit that was tested as found",
        [ES_ASK_NO_FAULT] = "The archive holds no unit that was tested as found",
        [ES_ASK_FAILURES] = "No certificate in force failed that is not as left",
        [ES_ASK_TOUCHED] = "No certificate names this instrument (identity, name or calibration's number)",
        [ES_ASK_CHART] = "No certificate in force has a value",
        [ES_ASK_REPEATABILITY] = "There are no repeated tests of one unit in one state"};
    const struct {
        const char *before, *text;
    } parts[] = {{" of serial number ", q->serial}, {" of type ", q->type},           {": ", q->instrument},
                 {" of \"", q->measurand},          {" in procedure ", q->procedure}, {" since ", q->since}};
    size_t used = (size_t)snprintf(out, 320, "%s", what[q->kind]);
    for (size_t i = 0; i < ES_COUNT(parts); i++) {
        if (parts[i].text && used < 319) {
            used += (size_t)snprintf(out + used, 320 - used, "%s%.60s%s", parts[i].before, parts[i].text,
                                     parts[i].text == q->measurand ? "\"" : "");
        }
    }
}

enum es_status es_question_ask(struct es_archive *archive, const struct es_question *question,
                               struct es_answer *answer, struct es_error *err)
{
    const struct es_question_row *row = row_of(question);
    *answer = (struct es_answer){.columns = row->columns, .column_count = row->count};
    tell_nothing(question, answer->nothing);
    enum es_status st = row->ask(archive, question, answer, err);
    if (st == ES_OK && (row == &find || row == &touched)) {
        (void)snprintf(answer->summary, sizeof answer->summary, "%zu certificate%s", answer->rows,
                       answer->rows == 1 ? "" : "s");
    }
    return st;
}

/* Questions that count units: no fault found, and failures by something. */
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/binomial.h"
#include "results/archive/question_parts.h"
#include "results/statistics/statistics.h"

bool es_question_groups_by(const char *by)
{
    static const char *const words[] = {"type", "customer", "lot", "supplier", "plan", "reason", "month"};
    for (size_t i = 0; i < ES_COUNT(words); i++) {
        if (strcmp(by, words[i]) == 0) {
            return true;
        }
    }
    return false;
}

static const char *named(const char *group)
{
    return group[0] ? group : "(not given)";
}

static const struct es_answer_column no_fault_columns[] = {ES_COLUMN("group", "group"),
                                                           ES_COLUMN_NUMBER("as_found", "tested as found"),
                                                           ES_COLUMN_NUMBER("no_fault", "no fault found"),
                                                           ES_COLUMN_SHARE("share", "share"),
                                                           ES_COLUMN_SHARE("low", "from"),
                                                           ES_COLUMN_SHARE("high", "to (95 %)")};

static enum es_status ask_no_fault(struct es_archive *archive, const struct es_question *q,
                                   struct es_answer *a, struct es_error *err)
{
    const struct es_value values[] = {es_value_text(es_question_any(q->since)),
                                      es_value_text(es_question_any(q->by)),
                                      es_value_text(es_question_any(q->type))};
    if (q->by && !es_question_groups_by(q->by)) {
        return es_fail(err, ES_USAGE, "units can be grouped by " ES_GROUP_WORDS ", not by \"%s\"", q->by);
    }
    enum es_status st =
        es_database_run(&archive->db, ES_SQL_NO_FAULT, values, 3, es_answer_take, a, NULL, err);
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        size_t n = (size_t)es_answer_number_at(a, i, 1), passed = (size_t)es_answer_number_at(a, i, 2);
        struct es_share share = es_share_wilson(passed, n, 0.95);
        st = es_answer_set(a, i, 0, q->by ? named(es_answer_at(a, i, 0)) : "all", err);
        st = st == ES_OK ? es_answer_set_number(a, i, 3, (double)passed / (double)n, err) : st;
        st = st == ES_OK ? es_answer_set_number(a, i, 4, share.lower, err) : st;
        st = st == ES_OK ? es_answer_set_number(a, i, 5, share.upper, err) : st;
    }
    return st;
}

const struct es_question_row es_question_no_fault = {no_fault_columns, ES_COUNT(no_fault_columns),
                                                     ask_no_fault};

static const struct es_answer_column failure_columns[] = {
    ES_COLUMN("name", "what failed"), ES_COLUMN_NUMBER("count", "count"), ES_COLUMN_SHARE("share", "share"),
    ES_COLUMN_SHARE("cumulative", "together")};

static enum es_status rank(struct es_answer *a, struct es_error *err)
{
    struct es_pareto_row *rows = calloc(a->rows + 1, sizeof *rows);
    struct es_answer sorted = *a;
    sorted.cells = NULL;
    sorted.rows = sorted.capacity = 0;
    enum es_status st = rows ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the answer");
    for (size_t i = 0; rows && i < a->rows; i++) {
        rows[i] = (struct es_pareto_row){.name = es_answer_at(a, i, 0),
                                         .count = (size_t)es_answer_number_at(a, i, 1)};
    }
    if (rows) {
        es_pareto(rows, a->rows);
    }
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        char count[32], share[32], cumulative[32];
        const char *cells[] = {named(rows[i].name), es_answer_text_of((double)rows[i].count, count),
                               es_answer_text_of(rows[i].share, share),
                               es_answer_text_of(rows[i].cumulative, cumulative)};
        st = es_answer_add(&sorted, cells, err);
    }
    free(rows);
    es_answer_free(a);
    *a = sorted;
    return st;
}

static enum es_status ask_failures(struct es_archive *archive, const struct es_question *q,
                                   struct es_answer *a, struct es_error *err)
{
    const char *by = q->by ? q->by : "measurand";
    const struct es_value values[] = {es_value_text(es_question_any(q->since)), es_value_text(by),
                                      es_value_text(es_question_any(q->type))};
    bool lines = strcmp(by, "measurand") == 0, causes = strcmp(by, "cause") == 0;
    if (!lines && !causes && !es_question_groups_by(by)) {
        return es_fail(err, ES_USAGE,
                       "failures are counted by measurand, cause, " ES_GROUP_WORDS ", not by \"%s\"", by);
    }
    enum es_statement statement = lines    ? ES_SQL_FAILED_LINES
                                  : causes ? ES_SQL_FAILED_CAUSES
                                           : ES_SQL_FAILED_BY;
    enum es_status st = es_database_run(&archive->db, statement, values, 3, es_answer_take, a, NULL, err);
    return st == ES_OK ? rank(a, err) : st;
}

const struct es_question_row es_question_failures = {failure_columns, ES_COUNT(failure_columns),
                                                     ask_failures};

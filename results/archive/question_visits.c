/* Questions that set visits of one unit beside each other: history, as found against as left. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/question_parts.h"
#include "results/statistics/statistics.h"

/* ---- History ---- */

static const struct es_answer_column history_columns[] = {ES_COLUMN("number", "number"),
                                                          ES_COLUMN_TIME("issued", "issued"),
                                                          ES_COLUMN("state", "state"),
                                                          ES_COLUMN("verdict", "verdict"),
                                                          ES_COLUMN_HEAD("procedure"),
                                                          ES_COLUMN_HEAD("measurand"),
                                                          ES_COLUMN_HEAD("unit"),
                                                          ES_COLUMN_NUMBER("value", "value"),
                                                          ES_COLUMN_NUMBER("U", "U (95 %)"),
                                                          ES_COLUMN_NUMBER("lower", "lower"),
                                                          ES_COLUMN_NUMBER("upper", "upper"),
                                                          ES_COLUMN("line_verdict", "line"),
                                                          ES_COLUMN_NUMBER("E_n", "E_n")};

static bool same_cells(const struct es_answer *a, size_t row, size_t from, size_t to)
{
    for (size_t c = from; c <= to; c++) {
        if (strcmp(es_answer_at(a, row, c), es_answer_at(a, row - 1, c)) != 0) {
            return false;
        }
    }
    return true;
}

static void en_text(double en, char out[static 32])
{
    out[0] = 0;
    if (isfinite(en)) {
        (void)snprintf(out, 32, "%.3f", en);
    }
}

static enum es_status ask_history(struct es_archive *archive, const struct es_question *q,
                                  struct es_answer *a, struct es_error *err)
{
    enum { PROCEDURE = 4, UNIT = 6, VALUE = 7, U = 8, EN = 12 };
    const struct es_value values[] = {
        es_value_text(es_question_any(q->serial)), es_value_text(es_question_any(q->measurand)),
        es_value_text(es_question_any(q->procedure)), es_value_text(es_question_any(q->since))};
    if (!q->serial) {
        return es_fail(err, ES_USAGE, "a history needs a serial number");
    }
    size_t disagree = 0;
    enum es_status st =
        es_database_run(&archive->db, ES_SQL_HISTORY, values, 4, es_answer_take, a, NULL, err);
    for (size_t i = 1; st == ES_OK && i < a->rows; i++) {
        char text[32];
        double en = same_cells(a, i, PROCEDURE, UNIT)
                        ? es_en_number(es_answer_number_at(a, i, VALUE), es_answer_number_at(a, i, U),
                                       es_answer_number_at(a, i - 1, VALUE), es_answer_number_at(a, i - 1, U))
                        : NAN;
        disagree += fabs(en) > 1;
        en_text(en, text);
        st = es_answer_set(a, i, EN, text, err);
    }
    (void)snprintf(a->summary, sizeof a->summary,
                   "%zu values; %zu of them disagree with the visit before (|E_n| above 1)", a->rows,
                   disagree);
    return st;
}

const struct es_question_row es_question_history = {history_columns, ES_COUNT(history_columns), ask_history};

/* ---- As found beside as left ---- */

#define OPEN_MAX 13

/* The as-found row that waits for its as-left one, column by column. */
struct pairing {
    struct es_answer *answer;
    enum es_status (*add)(struct es_answer *a, const char open[OPEN_MAX][128], const struct es_value *left,
                          struct es_error *err);
    size_t same; /* so many columns tell one unit, or one measurand of it, from another */
    char open[OPEN_MAX][128];
    bool waits;
};

/* Columns of both statements end their key with the state at its place. */
enum { SERIAL, TYPE, NUMBER, ISSUED, STATE, VERDICT, PROCEDURE, UNIT, VALUE, U, LOWER, UPPER, LINE };

static void keep_text(const struct es_value *v, char out[static 128])
{
    if (v->kind == ES_VALUE_TEXT) {
        (void)snprintf(out, 128, "%s", v->text);
    } else {
        (void)es_answer_text_of(es_column_real(v), out);
    }
}

static bool is_same(const struct pairing *p, const struct es_value *columns)
{
    static const size_t key[] = {SERIAL, TYPE, PROCEDURE, UNIT};
    for (size_t i = 0; i < p->same; i++) {
        if (strcmp(p->open[key[i]], es_column_text(&columns[key[i]])) != 0) {
            return false;
        }
    }
    return true;
}

static enum es_status close_pair(struct pairing *p, const struct es_value *left, struct es_error *err)
{
    if (!p->waits) {
        return ES_OK;
    }
    p->waits = false;
    return p->add(p->answer, (const char(*)[128])p->open, left, err);
}

static enum es_status take_visit(void *self, const struct es_value *columns, size_t count,
                                 struct es_error *err)
{
    struct pairing *p = self;
    bool left = strcmp(es_column_text(&columns[STATE]), "as left") == 0;
    enum es_status st = close_pair(p, left && p->waits && is_same(p, columns) ? columns : NULL, err);
    if (!left) {
        for (size_t i = 0; i < OPEN_MAX && i < count; i++) {
            keep_text(&columns[i], p->open[i]);
        }
        p->waits = true;
    }
    return st;
}

static const struct es_answer_column pair_columns[] = {
    ES_COLUMN("serial", "serial"),           ES_COLUMN("type", "type"),
    ES_COLUMN("found_number", "number"),     ES_COLUMN_TIME("found_issued", "issued"),
    ES_COLUMN("found", "as found"),          ES_COLUMN("left_number", "number"),
    ES_COLUMN_TIME("left_issued", "issued"), ES_COLUMN("left", "as left")};

static enum es_status add_pair(struct es_answer *a, const char open[OPEN_MAX][128],
                               const struct es_value *left, struct es_error *err)
{
    const char *cells[8] = {open[SERIAL], open[TYPE], open[NUMBER], open[ISSUED], open[VERDICT]};
    if (left) {
        cells[5] = es_column_text(&left[NUMBER]);
        cells[6] = es_column_text(&left[ISSUED]);
        cells[7] = es_column_text(&left[VERDICT]);
    }
    return es_answer_add(a, cells, err);
}

static enum es_status ask_pairs(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                                struct es_error *err)
{
    struct pairing p = {.answer = a, .add = add_pair, .same = 2};
    const struct es_value values[] = {es_value_text(es_question_any(q->since)),
                                      es_value_text(es_question_any(q->type)),
                                      es_value_text(es_question_any(q->serial))};
    enum es_status st = es_database_run(&archive->db, ES_SQL_VISITS, values, 3, take_visit, &p, NULL, err);
    return st == ES_OK ? close_pair(&p, NULL, err) : st;
}

const struct es_question_row es_question_pairs = {pair_columns, ES_COUNT(pair_columns), ask_pairs};

static const struct es_answer_column value_columns[] = {ES_COLUMN_HEAD("procedure"),
                                                        ES_COLUMN_HEAD("unit"),
                                                        ES_COLUMN("serial", "serial"),
                                                        ES_COLUMN_HIDDEN("type"),
                                                        ES_COLUMN_HIDDEN("found_number"),
                                                        ES_COLUMN_DAY("found_issued", "as found"),
                                                        ES_COLUMN_NUMBER("found", "value"),
                                                        ES_COLUMN_NUMBER("found_U", "U (95 %)"),
                                                        ES_COLUMN("found_verdict", "line"),
                                                        ES_COLUMN_HIDDEN("left_number"),
                                                        ES_COLUMN_DAY("left_issued", "as left"),
                                                        ES_COLUMN_NUMBER("left", "value"),
                                                        ES_COLUMN_NUMBER("left_U", "U (95 %)"),
                                                        ES_COLUMN("left_verdict", "line"),
                                                        ES_COLUMN_NUMBER("change", "change"),
                                                        ES_COLUMN_NUMBER("E_n", "E_n"),
                                                        ES_COLUMN_HIDDEN_NUMBER("lower"),
                                                        ES_COLUMN_HIDDEN_NUMBER("upper")};

static enum es_status add_values(struct es_answer *a, const char open[OPEN_MAX][128],
                                 const struct es_value *left, struct es_error *err)
{
    char value[32], expanded[32], change[32], en[32];
    const char *cells[ES_COUNT(value_columns)] = {open[PROCEDURE], open[UNIT],   open[SERIAL],
                                                  open[TYPE],      open[NUMBER], open[ISSUED],
                                                  open[VALUE],     open[U],      open[LINE]};
    cells[16] = open[LOWER];
    cells[17] = open[UPPER];
    if (left) {
        double was = strtod(open[VALUE], NULL), is = es_column_real(&left[VALUE]);
        cells[9] = es_column_text(&left[NUMBER]);
        cells[10] = es_column_text(&left[ISSUED]);
        cells[11] = es_answer_text_of(is, value);
        cells[12] = es_answer_text_of(es_column_real(&left[U]), expanded);
        cells[13] = es_column_text(&left[LINE]);
        cells[14] = es_answer_text_of(is - was, change);
        en_text(open[U][0] ? es_en_number(is, es_column_real(&left[U]), was, strtod(open[U], NULL)) : NAN,
                en);
        cells[15] = en;
    }
    return es_answer_add(a, cells, err);
}

static enum es_status ask_pair_values(struct es_archive *archive, const struct es_question *q,
                                      struct es_answer *a, struct es_error *err)
{
    struct pairing p = {.answer = a, .add = add_values, .same = 4};
    const struct es_value values[] = {es_value_text(q->measurand), es_value_text(es_question_any(q->since)),
                                      es_value_text(es_question_any(q->type)),
                                      es_value_text(es_question_any(q->serial)),
                                      es_value_text(es_question_any(q->procedure))};
    enum es_status st =
        es_database_run(&archive->db, ES_SQL_PAIR_LINES, values, 5, take_visit, &p, NULL, err);
    return st == ES_OK ? close_pair(&p, NULL, err) : st;
}

const struct es_question_row es_question_pair_values = {value_columns, ES_COUNT(value_columns),
                                                        ask_pair_values};

#include "results/archive/questions.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/statistics/statistics.h"
#include "rig/base/text.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

void es_answer_free(struct es_answer *answer)
{
    for (size_t i = 0; i < answer->rows * answer->column_count; i++) {
        free(answer->cells[i]);
    }
    free(answer->cells);
    *answer = (struct es_answer){.rows = 0};
}

/* Cells are copied; NULL: empty. */
static enum es_status add_row(struct es_answer *a, const char *const *cells, struct es_error *err)
{
    if (a->rows == a->capacity) {
        size_t more = a->capacity ? a->capacity * 2 : 32;
        char **grown = reallocarray(a->cells, more * a->column_count, sizeof *grown);
        if (!grown) {
            return es_fail(err, ES_NO_MEMORY, "no memory for the answer");
        }
        a->cells = grown;
        a->capacity = more;
    }
    bool ok = true;
    for (size_t i = 0; i < a->column_count; i++) {
        char **cell = &a->cells[a->rows * a->column_count + i];
        *cell = strdup(cells[i] ? cells[i] : "");
        ok = ok && *cell;
    }
    a->rows++;
    return ok ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the answer");
}

static const char *number_text(double value, char out[static 32])
{
    out[0] = 0;
    if (isfinite(value)) {
        (void)snprintf(out, 32, "%.9g", value);
    }
    return out;
}

static void set_cell(struct es_answer *a, size_t row, size_t column, const char *text)
{
    char **cell = &a->cells[row * a->column_count + column];
    char *copy = strdup(text);
    if (copy) {
        free(*cell);
        *cell = copy;
    }
}

static const char *cell_of(const struct es_answer *a, size_t row, size_t column)
{
    return a->cells[row * a->column_count + column];
}

static double cell_number(const struct es_answer *a, size_t row, size_t column)
{
    const char *text = cell_of(a, row, column);
    return text[0] ? strtod(text, NULL) : NAN;
}

/* Columns as they come; what the answer has beyond them is filled afterwards. */
static enum es_status take_row(void *self, const struct es_value *columns, size_t count, struct es_error *err)
{
    struct es_answer *a = self;
    char numbers[16][32];
    const char *cells[16] = {NULL};
    for (size_t i = 0; i < count && i < a->column_count; i++) {
        bool plain = columns[i].kind == ES_VALUE_TEXT;
        cells[i] = plain ? columns[i].text : number_text(es_column_real(&columns[i]), numbers[i]);
    }
    return add_row(a, cells, err);
}

static const char *any(const char *text)
{
    return text ? text : "";
}

/* ---- The questions ---- */

static const struct es_answer_column find_columns[] = {
    {"number", false},  {"bench", false},    {"kind", false},        {"issued", false},
    {"serial", false},  {"type", false},     {"plan", false},        {"state", false},
    {"verdict", false}, {"customer", false}, {"out_of_force", false}};

static enum es_status ask_find(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                               struct es_error *err)
{
    const struct es_value by_serial[] = {es_value_text(any(q->serial)), es_value_text(any(q->since))};
    return q->serial
               ? es_database_run(&archive->db, ES_SQL_FIND_SERIAL, by_serial, 2, take_row, a, NULL, err)
               : es_database_run(&archive->db, ES_SQL_FIND_SINCE, by_serial + 1, 1, take_row, a, NULL, err);
}

static const struct es_answer_column history_columns[] = {
    {"number", false},    {"issued", false},       {"state", false}, {"verdict", false}, {"procedure", false},
    {"measurand", false}, {"unit", false},         {"value", true},  {"U", true},        {"lower", true},
    {"upper", true},      {"line_verdict", false}, {"E_n", true}};

static enum es_status ask_history(struct es_archive *archive, const struct es_question *q,
                                  struct es_answer *a, struct es_error *err)
{
    enum { MEASURAND = 5, PROCEDURE = 4, UNIT = 6, VALUE = 7, U = 8, EN = 12 };
    const struct es_value value = es_value_text(any(q->serial));
    if (!q->serial) {
        return es_fail(err, ES_USAGE, "a history needs a serial number");
    }
    enum es_status st = es_database_run(&archive->db, ES_SQL_HISTORY, &value, 1, take_row, a, NULL, err);
    for (size_t i = 1; st == ES_OK && i < a->rows; i++) {
        bool same = true;
        for (size_t c = PROCEDURE; c <= UNIT; c++) {
            same = same && strcmp(cell_of(a, i, c), cell_of(a, i - 1, c)) == 0;
        }
        double en = same ? es_en_number(cell_number(a, i, VALUE), cell_number(a, i, U),
                                        cell_number(a, i - 1, VALUE), cell_number(a, i - 1, U))
                         : NAN;
        char text[32] = "";
        if (isfinite(en)) {
            (void)snprintf(text, sizeof text, "%.3f", en);
        }
        set_cell(a, i, EN, text);
    }
    return st;
}

static const struct es_answer_column pair_columns[] = {
    {"serial", false}, {"type", false},        {"found_number", false}, {"found_issued", false},
    {"found", false},  {"left_number", false}, {"left_issued", false},  {"left", false}};

struct pairing {
    struct es_answer *answer;
    char open[6][128]; /* the as-found certificate that waits: serial, type, number, issued, state, verdict */
    bool waits;
};

static enum es_status close_pair(struct pairing *p, const struct es_value *left, struct es_error *err)
{
    const char *cells[8] = {p->open[0], p->open[1], p->open[2], p->open[3], p->open[5], NULL, NULL, NULL};
    if (!p->waits) {
        return ES_OK;
    }
    if (left) {
        cells[5] = es_column_text(&left[2]);
        cells[6] = es_column_text(&left[3]);
        cells[7] = es_column_text(&left[5]);
    }
    p->waits = false;
    return add_row(p->answer, cells, err);
}

static enum es_status take_visit(void *self, const struct es_value *columns, size_t count,
                                 struct es_error *err)
{
    struct pairing *p = self;
    bool left = strcmp(es_column_text(&columns[4]), "as left") == 0;
    bool same = p->waits && strcmp(p->open[0], es_column_text(&columns[0])) == 0 &&
                strcmp(p->open[1], es_column_text(&columns[1])) == 0;
    enum es_status st = close_pair(p, left && same ? columns : NULL, err);
    if (!left) {
        for (size_t i = 0; i < 6 && i < count; i++) {
            (void)snprintf(p->open[i], sizeof p->open[i], "%s", es_column_text(&columns[i]));
        }
        p->waits = true;
    }
    return st;
}

static enum es_status ask_pairs(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                                struct es_error *err)
{
    struct pairing p = {.answer = a};
    const struct es_value since = es_value_text(any(q->since));
    enum es_status st = es_database_run(&archive->db, ES_SQL_VISITS, &since, 1, take_visit, &p, NULL, err);
    return st == ES_OK ? close_pair(&p, NULL, err) : st;
}

static const char group_words[] = "type, customer, lot, supplier, plan, reason or month";

static bool is_group(const char *by)
{
    static const char *const words[] = {"type", "customer", "lot", "supplier", "plan", "reason", "month"};
    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(by, words[i]) == 0) {
            return true;
        }
    }
    return false;
}

static const struct es_answer_column no_fault_columns[] = {
    {"group", false}, {"as_found", true}, {"no_fault", true}, {"share", true}, {"low", true}, {"high", true}};

static enum es_status ask_no_fault(struct es_archive *archive, const struct es_question *q,
                                   struct es_answer *a, struct es_error *err)
{
    const struct es_value values[] = {es_value_text(any(q->since)), es_value_text(any(q->by))};
    const double z = 1.959963984540054; /* 97.5 % of the normal distribution */
    if (q->by && !is_group(q->by)) {
        return es_fail(err, ES_USAGE, "units can be grouped by %s, not by \"%s\"", group_words, q->by);
    }
    enum es_status st = es_database_run(&archive->db, ES_SQL_NO_FAULT, values, 2, take_row, a, NULL, err);
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) { /* Wilson 1927 */
        char text[32];
        double n = cell_number(a, i, 1), p = cell_number(a, i, 2) / n;
        double centre = (p + z * z / (2 * n)) / (1 + z * z / n);
        double half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n));
        set_cell(a, i, 3, number_text(p, text));
        set_cell(a, i, 4, number_text(fmax(0, centre - half), text));
        set_cell(a, i, 5, number_text(fmin(1, centre + half), text));
    }
    return st;
}

static const struct es_answer_column failure_columns[] = {
    {"name", false}, {"count", true}, {"share", true}, {"cumulative", true}};

static enum es_status rank(struct es_answer *a, struct es_error *err)
{
    struct es_pareto_row *rows = calloc(a->rows + 1, sizeof *rows);
    struct es_answer sorted = {.columns = a->columns, .column_count = a->column_count};
    enum es_status st = rows ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the answer");
    for (size_t i = 0; rows && i < a->rows; i++) {
        rows[i] = (struct es_pareto_row){.name = cell_of(a, i, 0), .count = (size_t)cell_number(a, i, 1)};
    }
    if (rows) {
        es_pareto(rows, a->rows);
    }
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        char count[32], share[32], cumulative[32];
        const char *cells[] = {rows[i].name[0] ? rows[i].name : "(not given)",
                               number_text((double)rows[i].count, count), number_text(rows[i].share, share),
                               number_text(rows[i].cumulative, cumulative)};
        st = add_row(&sorted, cells, err);
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
    const struct es_value values[] = {es_value_text(any(q->since)), es_value_text(by)};
    bool lines = strcmp(by, "measurand") == 0, causes = strcmp(by, "cause") == 0;
    if (!lines && !causes && !is_group(by)) {
        return es_fail(err, ES_USAGE, "failures are counted by measurand, cause, %s, not by \"%s\"",
                       group_words, by);
    }
    enum es_statement statement = lines    ? ES_SQL_FAILED_LINES
                                  : causes ? ES_SQL_FAILED_CAUSES
                                           : ES_SQL_FAILED_BY;
    enum es_status st =
        es_database_run(&archive->db, statement, values, lines || causes ? 1 : 2, take_row, a, NULL, err);
    return st == ES_OK ? rank(a, err) : st;
}

static const struct es_answer_column touched_columns[] = {
    {"number", false},     {"bench", false},    {"issued", false},      {"serial", false},
    {"type", false},       {"customer", false}, {"verdict", false},     {"out_of_force", false},
    {"instrument", false}, {"identity", false}, {"calibration", false}, {"due", false}};

static enum es_status ask_touched(struct es_archive *archive, const struct es_question *q,
                                  struct es_answer *a, struct es_error *err)
{
    const struct es_value values[] = {es_value_text(any(q->subject)), es_value_text(any(q->since))};
    return q->subject ? es_database_run(&archive->db, ES_SQL_TOUCHED, values, 2, take_row, a, NULL, err)
                      : es_fail(err, ES_USAGE,
                                "which instrument? Its identity, its name, or its calibration's number");
}

static const struct es_answer_column chart_columns[] = {
    {"number", false},    {"issued", false}, {"serial", false}, {"type", false},
    {"procedure", false}, {"unit", false},   {"value", true},   {"U", true},
    {"centre", true},     {"lower", true},   {"upper", true},   {"signals", false}};

static void write_signals(struct es_answer *a, size_t row, uint32_t bits)
{
    struct es_text t = {0};
    for (int rule = 0; rule < ES_RUN_RULE_COUNT; rule++) {
        if (bits & (1u << rule)) {
            es_text_printf(&t, "%s%s", t.length ? "; " : "", es_run_rule_text((enum es_run_rule)(1 << rule)));
        }
    }
    set_cell(a, row, 11, t.bytes ? t.bytes : "");
    es_text_free(&t);
}

static enum es_status draw_chart(struct es_answer *a, struct es_error *err)
{
    struct es_control_chart chart;
    double *values = calloc(a->rows + 1, sizeof *values);
    uint32_t *signals = calloc(a->rows + 1, sizeof *signals);
    enum es_status st = values && signals ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the chart");
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        values[i] = cell_number(a, i, 6);
        if (strcmp(cell_of(a, i, 5), cell_of(a, 0, 5)) != 0) {
            st = es_fail(err, ES_BAD_INPUT,
                         "its values are in different units (%s, %s): choose a type or a serial",
                         cell_of(a, 0, 5), cell_of(a, i, 5));
        }
    }
    if (st == ES_OK) {
        st = es_control_chart(values, a->rows, 0, ES_RUN_RULES_ALL, signals, &chart, err);
    }
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        char text[32];
        set_cell(a, i, 8, number_text(chart.centre, text));
        set_cell(a, i, 9, number_text(chart.lower, text));
        set_cell(a, i, 10, number_text(chart.upper, text));
        write_signals(a, i, signals[i]);
    }
    free(values);
    free(signals);
    return st;
}

static enum es_status ask_chart(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                                struct es_error *err)
{
    const struct es_value values[] = {es_value_text(any(q->subject)), es_value_text(any(q->type)),
                                      es_value_text(any(q->serial)), es_value_text(any(q->since))};
    if (!q->subject) {
        return es_fail(err, ES_USAGE, "which measurand?");
    }
    enum es_status st = es_database_run(&archive->db, ES_SQL_SERIES, values, 4, take_row, a, NULL, err);
    return st == ES_OK && a->rows > 0 ? draw_chart(a, err) : st;
}

#define QUESTION(word, function)                                                                             \
    {                                                                                                        \
        word##_columns, COUNT(word##_columns), function                                                      \
    }

static const struct {
    const struct es_answer_column *columns;
    size_t count;
    enum es_status (*ask)(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                          struct es_error *err);
} questions[] = {[ES_ASK_FIND] = QUESTION(find, ask_find),
                 [ES_ASK_HISTORY] = QUESTION(history, ask_history),
                 [ES_ASK_PAIRS] = QUESTION(pair, ask_pairs),
                 [ES_ASK_NO_FAULT] = QUESTION(no_fault, ask_no_fault),
                 [ES_ASK_FAILURES] = QUESTION(failure, ask_failures),
                 [ES_ASK_TOUCHED] = QUESTION(touched, ask_touched),
                 [ES_ASK_CHART] = QUESTION(chart, ask_chart)};

enum es_status es_question_ask(struct es_archive *archive, const struct es_question *question,
                               struct es_answer *answer, struct es_error *err)
{
    *answer = (struct es_answer){.columns = questions[question->kind].columns,
                                 .column_count = questions[question->kind].count};
    return questions[question->kind].ask(archive, question, answer, err);
}

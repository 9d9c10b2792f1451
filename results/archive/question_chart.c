/* Control chart of one measurand over many certificates. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/question_parts.h"
#include "results/statistics/statistics.h"
#include "rig/base/text.h"

enum {
    PROCEDURE,
    UNIT,
    NUMBER,
    ISSUED,
    SERIAL,
    TYPE,
    VALUE,
    U,
    LOWER,
    UPPER,
    CENTRE,
    CONTROL_LOW,
    CONTROL_HIGH,
    SIGNALS,
    BITS
};

static const struct es_answer_column columns[] = {ES_COLUMN_HEAD("procedure"),
                                                  ES_COLUMN_HEAD("unit"),
                                                  ES_COLUMN("number", "number"),
                                                  ES_COLUMN_TIME("issued", "issued"),
                                                  ES_COLUMN("serial", "serial"),
                                                  ES_COLUMN("type", "type"),
                                                  ES_COLUMN_NUMBER("value", "value"),
                                                  ES_COLUMN_HIDDEN_NUMBER("U"),
                                                  ES_COLUMN_HIDDEN_NUMBER("lower"),
                                                  ES_COLUMN_HIDDEN_NUMBER("upper"),
                                                  ES_COLUMN_HIDDEN_NUMBER("centre"),
                                                  ES_COLUMN_HIDDEN_NUMBER("control_low"),
                                                  ES_COLUMN_HIDDEN_NUMBER("control_high"),
                                                  ES_COLUMN("signals", "signals"),
                                                  ES_COLUMN_HIDDEN_NUMBER("signal_bits")};

static enum es_status write_signals(struct es_answer *a, size_t row, uint32_t bits, struct es_error *err)
{
    struct es_text t = {0};
    for (int rule = 0; rule < ES_RUN_RULE_COUNT; rule++) {
        if (bits & (1u << rule)) {
            es_text_printf(&t, "%s%s", t.length ? "; " : "", es_run_rule_text((enum es_run_rule)(1 << rule)));
        }
    }
    enum es_status st = es_text_status(&t, err);
    st = st == ES_OK ? es_answer_set(a, row, SIGNALS, t.bytes ? t.bytes : "", err) : st;
    es_text_free(&t);
    return st == ES_OK ? es_answer_set_number(a, row, BITS, bits, err) : st;
}

/* A chart is of one thing: mixed procedures or units would be compared with one another. */
static enum es_status check_one_kind(const struct es_answer *a, struct es_error *err)
{
    for (size_t i = 1; i < a->rows; i++) {
        if (strcmp(es_answer_at(a, i, UNIT), es_answer_at(a, 0, UNIT)) != 0) {
            return es_fail(err, ES_USAGE,
                           "its values are in different units (%s, %s): choose by --type, --serial or "
                           "--procedure",
                           es_answer_at(a, 0, UNIT), es_answer_at(a, i, UNIT));
        }
        if (strcmp(es_answer_at(a, i, PROCEDURE), es_answer_at(a, 0, PROCEDURE)) != 0) {
            return es_fail(err, ES_USAGE, "several procedures measure it (%s, %s): choose one by --procedure",
                           es_answer_at(a, 0, PROCEDURE), es_answer_at(a, i, PROCEDURE));
        }
    }
    return ES_OK;
}

static enum es_status chart(struct es_answer *a, struct es_error *err)
{
    struct es_control_chart limits;
    double *values = calloc(a->rows, sizeof *values);
    uint32_t *signals = calloc(a->rows, sizeof *signals);
    enum es_status st = values && signals ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the chart");
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        values[i] = es_answer_number_at(a, i, VALUE);
    }
    if (st == ES_OK) {
        st = es_control_chart(values, a->rows, 0, ES_RUN_RULES_ALL, signals, &limits, err);
    }
    for (size_t i = 0; st == ES_OK && i < a->rows; i++) {
        st = es_answer_set_number(a, i, CENTRE, limits.centre, err);
        st = st == ES_OK ? es_answer_set_number(a, i, CONTROL_LOW, limits.lower, err) : st;
        st = st == ES_OK ? es_answer_set_number(a, i, CONTROL_HIGH, limits.upper, err) : st;
        st = st == ES_OK ? write_signals(a, i, signals[i], err) : st;
    }
    if (st == ES_OK) {
        (void)snprintf(
            a->summary, sizeof a->summary,
            "Mean %.4g %.40s, sigma %.3g; limits at 3 sigma %.4g to %.4g; %zu of %zu values carry a "
            "signal",
            limits.centre, es_answer_at(a, 0, UNIT), limits.sigma, limits.lower, limits.upper, limits.signals,
            a->rows);
    }
    free(values);
    free(signals);
    return st;
}

static enum es_status ask(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                          struct es_error *err)
{
    struct es_value values[ES_SERIES_FILTERS];
    if (!q->measurand) {
        return es_fail(err, ES_USAGE, "which measurand?");
    }
    es_question_series(q, values);
    enum es_status st =
        es_database_run(&archive->db, ES_SQL_SERIES, values, ES_SERIES_FILTERS, es_answer_take, a, NULL, err);
    st = st == ES_OK ? check_one_kind(a, err) : st;
    return st == ES_OK && a->rows > 0 ? chart(a, err) : st;
}

const struct es_question_row es_question_chart = {columns, ES_COUNT(columns), ask};

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/question_parts.h"

void es_answer_free(struct es_answer *answer)
{
    for (size_t i = 0; i < answer->rows * answer->column_count; i++) {
        free(answer->cells[i]);
    }
    free(answer->cells);
    *answer = (struct es_answer){.rows = 0};
}

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory for the answer");
}

enum es_status es_answer_add(struct es_answer *a, const char *const *cells, struct es_error *err)
{
    if (a->rows == a->capacity) {
        size_t more = a->capacity ? a->capacity * 2 : 32;
        char **grown = reallocarray(a->cells, more * a->column_count, sizeof *grown);
        if (!grown) {
            return no_memory(err);
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
    return ok ? ES_OK : no_memory(err);
}

const char *es_answer_text_of(double value, char out[static 32])
{
    out[0] = 0;
    if (isfinite(value)) {
        (void)snprintf(out, 32, "%.9g", value);
    }
    return out;
}

enum es_status es_answer_take(void *answer, const struct es_value *columns, size_t count,
                              struct es_error *err)
{
    struct es_answer *a = answer;
    char numbers[ES_ANSWER_COLUMNS_MAX][32];
    const char *cells[ES_ANSWER_COLUMNS_MAX] = {NULL};
    for (size_t i = 0; i < count && i < a->column_count; i++) {
        bool plain = columns[i].kind == ES_VALUE_TEXT;
        cells[i] = plain ? columns[i].text : es_answer_text_of(es_column_real(&columns[i]), numbers[i]);
    }
    return es_answer_add(a, cells, err);
}

enum es_status es_answer_set(struct es_answer *a, size_t row, size_t column, const char *text,
                             struct es_error *err)
{
    char **cell = &a->cells[row * a->column_count + column];
    char *copy = strdup(text);
    if (!copy) {
        return no_memory(err);
    }
    free(*cell);
    *cell = copy;
    return ES_OK;
}

enum es_status es_answer_set_number(struct es_answer *a, size_t row, size_t column, double value,
                                    struct es_error *err)
{
    char text[32];
    return es_answer_set(a, row, column, es_answer_text_of(value, text), err);
}

const char *es_answer_at(const struct es_answer *a, size_t row, size_t column)
{
    return a->cells[row * a->column_count + column];
}

double es_answer_number_at(const struct es_answer *a, size_t row, size_t column)
{
    const char *text = es_answer_at(a, row, column);
    return text[0] ? strtod(text, NULL) : NAN;
}

const char *es_answer_cell(const struct es_answer *answer, size_t row, const char *column)
{
    for (size_t c = 0; c < answer->column_count && row < answer->rows; c++) {
        if (strcmp(answer->columns[c].name, column) == 0) {
            return es_answer_at(answer, row, c);
        }
    }
    return "";
}

double es_answer_number(const struct es_answer *answer, size_t row, const char *column)
{
    const char *text = es_answer_cell(answer, row, column);
    return text[0] ? strtod(text, NULL) : NAN;
}

const char *es_question_any(const char *text)
{
    return text ? text : "";
}

void es_question_series(const struct es_question *q, struct es_value out[static ES_SERIES_FILTERS])
{
    const char *const texts[ES_SERIES_FILTERS] = {q->measurand, q->type,      q->serial,
                                                  q->since,     q->procedure, q->tested};
    for (size_t i = 0; i < ES_SERIES_FILTERS; i++) {
        out[i] = es_value_text(es_question_any(texts[i]));
    }
}

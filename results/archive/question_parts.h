/* The parts of the questions. Internal to results/archive. */
#ifndef ES_ARCHIVE_QUESTION_PARTS_H
#define ES_ARCHIVE_QUESTION_PARTS_H

#include "results/archive/questions.h"

#define ES_COUNT(a) (sizeof(a) / sizeof((a)[0]))

/* Rows of short definitions of columns. */
#define ES_COLUMN(n, t)                                                                                      \
    {                                                                                                        \
        .name = (n), .title = (t)                                                                            \
    }
#define ES_COLUMN_SPARE(n, t, s)                                                                             \
    {                                                                                                        \
        .name = (n), .title = (t), .spare = (s)                                                              \
    }
#define ES_COLUMN_NUMBER(n, t)                                                                               \
    {                                                                                                        \
        .name = (n), .title = (t), .kind = ES_ANSWER_NUMBER                                                  \
    }
#define ES_COLUMN_SHARE(n, t)                                                                                \
    {                                                                                                        \
        .name = (n), .title = (t), .kind = ES_ANSWER_SHARE                                                   \
    }
#define ES_COLUMN_TIME(n, t)                                                                                 \
    {                                                                                                        \
        .name = (n), .title = (t), .kind = ES_ANSWER_TIME                                                    \
    }
#define ES_COLUMN_DAY(n, t)                                                                                  \
    {                                                                                                        \
        .name = (n), .title = (t), .kind = ES_ANSWER_DAY                                                     \
    }
#define ES_COLUMN_HEAD(n)                                                                                    \
    {                                                                                                        \
        .name = (n), .title = "", .heads = true                                                              \
    }
#define ES_COLUMN_HIDDEN(n)                                                                                  \
    {                                                                                                        \
        .name = (n), .title = "", .hidden = true                                                             \
    }
#define ES_COLUMN_HIDDEN_NUMBER(n)                                                                           \
    {                                                                                                        \
        .name = (n), .title = "", .kind = ES_ANSWER_NUMBER, .hidden = true                                   \
    }

#define ES_ANSWER_COLUMNS_MAX 24

struct es_question_row {
    const struct es_answer_column *columns;
    size_t count;
    enum es_status (*ask)(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                          struct es_error *err);
};

extern const struct es_question_row es_question_history, es_question_pairs, es_question_pair_values,
    es_question_no_fault, es_question_failures, es_question_chart, es_question_repeatability;

/* Cells are copied; NULL: empty. */
enum es_status es_answer_add(struct es_answer *a, const char *const *cells,
                             struct es_error *err) ES_MUST_CHECK;
/* An es_row_fn that adds the columns as they come; what the answer has beyond them is filled afterwards. */
enum es_status es_answer_take(void *answer, const struct es_value *columns, size_t count,
                              struct es_error *err);
enum es_status es_answer_set(struct es_answer *a, size_t row, size_t column, const char *text,
                             struct es_error *err) ES_MUST_CHECK;
/* Nothing when it is not finite. */
enum es_status es_answer_set_number(struct es_answer *a, size_t row, size_t column, double value,
                                    struct es_error *err) ES_MUST_CHECK;
const char *es_answer_at(const struct es_answer *a, size_t row, size_t column);
double es_answer_number_at(const struct es_answer *a, size_t row, size_t column);
/* Nine digits; "" when not finite. */
const char *es_answer_text_of(double value, char out[static 32]);

const char *es_question_any(const char *text); /* "" for NULL */
#define ES_SERIES_FILTERS 6
/* What narrows down the values of a measurand, as the statements of a series take them; texts are borrowed
 * from q. */
void es_question_series(const struct es_question *q, struct es_value out[static ES_SERIES_FILTERS]);
/* The columns that units can be grouped by, as statements know them. */
bool es_question_groups_by(const char *by);
#define ES_GROUP_WORDS "type, customer, lot, supplier, plan, reason or month"

#endif

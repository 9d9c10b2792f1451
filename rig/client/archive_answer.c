#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/client/archive_answer.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

#define COLUMNS_MAX 24
#define SHORT       11 /* texts up to this length are not broken */
#define DAY         10 /* columns of a date, where its time goes below it */
#define DIGITS      4  /* of the largest number in a column */

static const char *at(const struct es_answer *a, size_t row, size_t column)
{
    return a->cells[row * a->column_count + column];
}

/* ---- For programs ---- */

enum es_status es_answer_json(const struct es_answer *answer, struct es_error *err)
{
    struct es_text t = {0};
    es_json_array(&t, NULL);
    for (size_t r = 0; r < answer->rows; r++) {
        es_json_object(&t, NULL);
        for (size_t c = 0; c < answer->column_count; c++) {
            const char *cell = at(answer, r, c), *name = answer->columns[c].name;
            bool number =
                answer->columns[c].kind == ES_ANSWER_NUMBER || answer->columns[c].kind == ES_ANSWER_SHARE;
            if (!number)
                es_json_text(&t, name, cell);
            else if (cell[0] == '\0')
                es_json_text(&t, name, NULL);
            else
                es_json_raw(&t, name, cell, strlen(cell));
        }
        es_json_end_object(&t);
    }
    es_json_end_array(&t);
    enum es_status s = es_text_status(&t, err);
    if (s == ES_OK)
        printf("%s\n", t.bytes);
    es_text_free(&t);
    return s;
}

enum es_status es_answer_csv(const struct es_answer *answer, struct es_error *err)
{
    const char *names[COLUMNS_MAX];
    if (answer->column_count > COLUMNS_MAX)
        return es_fail(err, ES_INTERNAL, "an answer with %zu columns", answer->column_count);
    for (size_t c = 0; c < answer->column_count; c++)
        names[c] = answer->columns[c].name;
    es_csv_row(stdout, names, answer->column_count);
    for (size_t r = 0; r < answer->rows; r++)
        es_csv_row(stdout, (const char *const *)answer->cells + r * answer->column_count,
                   answer->column_count);
    return ES_OK;
}

/* ---- For people ---- */

static int decimals_of(const char *number)
{
    const char *point = strchr(number, '.');
    return point == NULL || strchr(number, 'e') != NULL ? 0 : (int)strspn(point + 1, "0123456789");
}

/* Rows first..end-1 of a column get as many decimals as show the digits of their largest number, and no more
 * than they have. -1: too large or too small a range for that. */
static int column_decimals(const struct es_answer *a, size_t column, size_t first, size_t end)
{
    double largest = 0;
    int most = 0;
    for (size_t r = first; r < end; r++) {
        const char *cell = at(a, r, column);
        double size = cell[0] != '\0' ? fabs(strtod(cell, NULL)) : 0;
        largest = size > largest ? size : largest;
        most = decimals_of(cell) > most ? decimals_of(cell) : most;
        if (strchr(cell, 'e') != NULL)
            return -1;
    }
    int wanted = largest > 0 ? DIGITS - 1 - (int)floor(log10(largest)) : 0;
    wanted = wanted < 0 ? 0 : wanted;
    return wanted < most ? wanted : most;
}

static const char *cell_text(const struct es_answer_column *column, int decimals, const char *cell,
                             char out[static 64])
{
    if (cell[0] == '\0' || column->kind == ES_ANSWER_TEXT)
        return cell;
    if (column->kind == ES_ANSWER_DAY)
        snprintf(out, 64, "%.10s", cell);
    else if (column->kind == ES_ANSWER_TIME)
        snprintf(out, 64, "%.10s%s%.5s", cell, strlen(cell) > 15 ? " " : "",
                 strlen(cell) > 15 ? cell + 11 : "");
    else if (column->kind == ES_ANSWER_SHARE)
        snprintf(out, 64, "%.1f %%", 100 * strtod(cell, NULL));
    else if (decimals < 0)
        snprintf(out, 64, "%.*g", DIGITS, strtod(cell, NULL));
    else
        snprintf(out, 64, "%.*f", decimals, strtod(cell, NULL));
    return out;
}

struct layout {
    struct es_column columns[COLUMNS_MAX];
    size_t shown[COLUMNS_MAX], count;
};

/* Columns of its longest cell; 0: nothing stands in it. */
static size_t longest(const struct es_answer *a, size_t column)
{
    size_t most = 0;
    for (size_t r = 0; r < a->rows; r++) {
        size_t length = strlen(at(a, r, column));
        most = length > most ? length : most;
    }
    return most;
}

/* Columns of the longest piece that no line is broken in. */
static size_t longest_piece(const struct es_answer *a, size_t column)
{
    size_t most = SHORT;
    for (size_t r = 0; r < a->rows; r++) {
        const char *cell = at(a, r, column);
        for (size_t i = 0, begun = 0; cell[i] != '\0'; i++) {
            bool hyphen = cell[i] == '-' && !isdigit((unsigned char)cell[i + 1]);
            begun = cell[i] == ' ' ? i + 1 : begun;
            most = i + 1 - begun > most ? i + 1 - begun : most;
            begun = hyphen ? i + 1 : begun;
        }
    }
    return most;
}

static void lay_out(const struct es_answer *a, struct layout *l)
{
    for (size_t c = 0; c < a->column_count && l->count < COLUMNS_MAX; c++) {
        const struct es_answer_column *column = &a->columns[c];
        bool text = column->kind == ES_ANSWER_TEXT;
        size_t length = longest(a, c);
        if (column->hidden || column->heads || length == 0)
            continue;
        l->columns[l->count] = (struct es_column){
            .title = column->title,
            .align = column->kind == ES_ANSWER_NUMBER || column->kind == ES_ANSWER_SHARE ? ES_ALIGN_RIGHT
                                                                                         : ES_ALIGN_LEFT,
            .wraps = (text && length > SHORT) || column->kind == ES_ANSWER_TIME,
            .least = text ? longest_piece(a, c) : DAY,
            .spare = column->spare,
            .named = !text};
        l->shown[l->count++] = c;
    }
}

/* The first row after `row` that has another heading. */
static size_t end_of_group(const struct es_answer *a, size_t row)
{
    for (size_t r = row + 1; r < a->rows; r++)
        for (size_t c = 0; c < a->column_count; c++)
            if (a->columns[c].heads && strcmp(at(a, r, c), at(a, row, c)) != 0)
                return r;
    return a->rows;
}

static void add_heading(const struct es_answer *a, size_t row, struct es_table *table)
{
    struct es_text t = {0};
    for (size_t c = 0; c < a->column_count; c++)
        if (a->columns[c].heads && at(a, row, c)[0] != '\0')
            es_text_printf(&t, "%s%s", t.length > 0 ? ", " : "", at(a, row, c));
    if (t.length > 0)
        es_table_heading(table, t.bytes);
    es_text_free(&t);
}

static void add_group(const struct es_answer *a, const struct layout *l, size_t first, size_t end,
                      struct es_table *table)
{
    int decimals[COLUMNS_MAX] = {0};
    add_heading(a, first, table);
    for (size_t i = 0; i < l->count; i++)
        decimals[i] = a->columns[l->shown[i]].kind == ES_ANSWER_NUMBER
                          ? column_decimals(a, l->shown[i], first, end)
                          : 0;
    for (size_t r = first; r < end; r++) {
        char texts[COLUMNS_MAX][64];
        const char *cells[COLUMNS_MAX];
        for (size_t i = 0; i < l->count; i++)
            cells[i] = cell_text(&a->columns[l->shown[i]], decimals[i], at(a, r, l->shown[i]), texts[i]);
        es_table_row(table, ES_PLAIN, cells);
    }
}

enum es_status es_answer_print(const struct es_answer *answer, const struct es_screen *screen,
                               struct es_error *err)
{
    struct layout l = {.count = 0};
    if (answer->rows == 0) {
        es_verb_say(screen, "%s.", answer->nothing);
        return ES_OK;
    }
    lay_out(answer, &l);
    struct es_table *table = es_table_new(l.columns, l.count);
    for (size_t first = 0, end; table != NULL && first < answer->rows; first = end) {
        end = end_of_group(answer, first);
        add_group(answer, &l, first, end, table);
    }
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, stdout, err);
    es_table_free(table);
    if (s == ES_OK && answer->summary[0] != '\0') {
        putchar('\n');
        es_verb_say(screen, "%s.", answer->summary);
    }
    return s;
}

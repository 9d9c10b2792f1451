#include "procedures/measures/csv_reader.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool es_csv_make_trace(struct es_csv_reader *r)
{
    struct es_trace *t = calloc(1, sizeof *t);
    if (!t)
        return false;
    r->trace = t;
    t->name = strdup(r->name);
    t->series = calloc(r->column_count + 1, sizeof *t->series);
    r->times = calloc(r->rows + 1, sizeof *r->times);
    r->lines = calloc(r->rows + 1, sizeof *r->lines);
    if (!t->name || !t->series || !r->times || !r->lines)
        return false;
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        if (c->is_time || c->role == ES_ROLE_NONE)
            continue;
        c->series = t->series_count;
        struct es_series *s = &t->series[t->series_count++];
        const struct es_role_info *info = es_role_info(c->role);
        *s = (struct es_series){.role = c->role,
                                .dimension = c->factor ? c->factor->dimension : info->dimension,
                                .t = calloc(r->rows + 1, sizeof *s->t),
                                .y = calloc(r->rows + 1, sizeof *s->y),
                                .quality = calloc(r->rows + 1, 1),
                                .u = c->u};
        if (!s->t || !s->y || !s->quality)
            return false;
    }
    r->rows = 0;
    return true;
}

/* Digits, marks and an exponent, and yet no number of the file's style: which? */
static void tell_malformed(struct es_csv_reader *r, unsigned line, const struct es_csv_cell *cell,
                           bool is_time)
{
    struct es_csv_marks marks;
    es_csv_marks_of(cell->text, cell->length, &marks);
    bool exponent = memchr(cell->text, 'e', cell->length) || memchr(cell->text, 'E', cell->length);
    if (marks.number && (exponent || cell->length > 300))
        es_csv_fault_cell(r, line, cell, "a number of at most 1.8e308 in size", "");
    else
        es_csv_fault_cell(r, line, cell,
                          r->report.decimal == ',' ? "a number with decimal comma" : "a number",
                          is_time ? ES_CSV_TIME_ADVICE : "Where there is no value leave the cell empty.");
}

/* Infinity and "not a number" as instruments answer them (SCPI 1999, 7.2.1; from memory). */
static bool is_instruments_mark(long double v)
{
    return fabsl(v) > 9.8999e37L && fabsl(v) < 9.9101e37L;
}

static bool read_cell(struct es_csv_reader *r, unsigned line, const struct es_csv_cell *cell,
                      const struct es_csv_known *c, double *out)
{
    long double v = 0;
    switch (es_csv_number_read(cell->text, cell->length, &c->style, &v)) {
    case ES_CSV_NUMBER:
        if (is_instruments_mark(v)) {
            es_csv_fault_cell(r, line, cell, "a number that was measured",
                              "9.9E37 and 9.91E37 are an instrument's overflow and no value (SCPI 1999): "
                              "where there is no value leave the cell empty.");
            return false;
        }
        *out = (double)(c->factor ? v * (long double)c->factor->factor + (long double)c->factor->offset : v);
        if (isfinite(*out))
            return true;
        es_csv_fault_cell(r, line, cell, "a number that is no larger than a double in the coherent unit", "");
        return false;
    case ES_CSV_MISSING:
        *out = NAN;
        return true;
    case ES_CSV_AMBIGUOUS:
        es_csv_fault_cell(
            r, line, cell, "a number that can be read in one way only",
            "Its mark may be a decimal or a thousands mark: say which one is decimal (--decimal).");
        return false;
    case ES_CSV_MALFORMED:
    default:
        tell_malformed(r, line, cell, c->is_time);
        return false;
    }
}

/* Other columns have a value in this row: an empty cell then says that this one was not sampled, not that its
 * sample is missing. */
static bool has_value(const struct es_csv_reader *r, const struct es_csv_row *row)
{
    for (size_t i = 0; i < r->column_count; i++)
        if (i != r->time && es_csv_wanted(&r->columns[i]) && row->cells[i].length)
            return true;
    return false;
}

static void tell_cells(struct es_csv_reader *r, const struct es_csv_row *row)
{
    char found[64] = "a quote that is not closed", expected[64];
    const char *advice = "Complete the row, or take it out.";
    unsigned column = row->count ? row->cells[row->count - 1].column : 1;
    if (row->open_quote)
        advice = "Close the quote, or take it out.";
    else
        (void)snprintf(found, sizeof found, row->too_many ? "more than %zu cells" : "%zu cell%s", row->count,
                       row->count == 1 ? "" : "s");
    if (!row->open_quote && row->count > r->column_count && r->report.separator == ',')
        advice = "Where the decimal sign is a comma too, save the table with semicolons or tabs.";
    (void)snprintf(expected, sizeof expected, "%zu cells as in the rows above", r->column_count);
    es_csv_fault(r, row->line, column, found, expected, advice);
}

/* Of a column of dates or times of day: s since its first row. */
static bool read_clock(struct es_csv_reader *r, unsigned line, const struct es_csv_cell *cell, double *out)
{
    struct es_csv_clock clock;
    if (!es_csv_clock_read(cell->text, cell->length, &clock)) {
        es_csv_fault_cell(r, line, cell, "a date and time of day, or a time of day", ES_CSV_TIME_ADVICE);
        return false;
    }
    if (r->rows == 0)
        r->first = clock;
    if (clock.dated != r->first.dated || clock.zoned != r->first.zoned) {
        es_csv_fault_cell(r, line, cell, "a time in the form of the first row", ES_CSV_TIME_ADVICE);
        return false;
    }
    *out = es_csv_clock_between(&r->first, &clock);
    return true;
}

static bool take_time(struct es_csv_reader *r, unsigned line, const struct es_csv_cell *cell, double *t)
{
    const struct es_csv_known *c = &r->columns[r->time];
    if (cell->length && c->clock ? !read_clock(r, line, cell, t) : !read_cell(r, line, cell, c, t))
        return false;
    if (!isfinite(*t)) {
        es_csv_fault_cell(r, line, cell, "a time", "Take the row out, or write its time.");
        return false;
    }
    if (r->rows && *t < r->times[r->rows - 1]) {
        es_csv_fault_cell(r, line, cell, "a time not before that of the row above",
                          c->clock && !r->first.zoned
                              ? "Midnight, or clocks put back? Write dates with their zone, or seconds."
                              : "Cut the file where a new recording begins.");
        return false;
    }
    return true;
}

void es_csv_take_row(struct es_csv_reader *r, const struct es_csv_row *row)
{
    if (row->open_quote || row->too_many || row->count != r->column_count) {
        tell_cells(r, row);
        return;
    }
    double t;
    if (!take_time(r, row->line, &row->cells[r->time], &t))
        return;
    bool others = has_value(r, row);
    size_t at = r->rows++;
    r->times[at] = t;
    r->lines[at] = row->line;
    for (size_t i = 0; i < r->column_count; i++) {
        const struct es_csv_known *c = &r->columns[i];
        if (c->is_time || c->role == ES_ROLE_NONE)
            continue;
        struct es_series *s = &r->trace->series[c->series];
        double v = NAN;
        if (!read_cell(r, row->line, &row->cells[i], c, &v))
            v = NAN;
        s->y[at] = v;
        bool absent = row->cells[i].length == 0 && others;
        s->quality[at] = isfinite(v) ? ES_GOOD : absent ? ES_CSV_ABSENT : ES_FAILED;
        r->report.missing += s->quality[at] == ES_FAILED;
    }
}

/* Rows with one time stamp become one. Returns false on rows that contradict each other. */
static bool merge_series(struct es_series *s, size_t from, size_t to, size_t into, bool by_mean)
{
    double sum = 0, first = NAN;
    size_t n = 0;
    bool agree = true, absent = true;
    for (size_t i = from; i < to; i++) {
        absent = absent && s->quality[i] == ES_CSV_ABSENT;
        if (s->quality[i] != ES_GOOD)
            continue;
        agree = agree && (n == 0 || s->y[i] == first);
        if (n == 0)
            first = s->y[i];
        sum += s->y[i];
        n++;
    }
    s->y[into] = n == 0 ? NAN : agree ? first : sum / (double)n;
    s->quality[into] = n ? ES_GOOD : absent ? ES_CSV_ABSENT : ES_FAILED;
    return agree || by_mean;
}

void es_csv_merge_rows(struct es_csv_reader *r)
{
    size_t into = 0;
    for (size_t i = 0; i < r->rows;) {
        size_t next = i + 1;
        while (next < r->rows && r->times[next] == r->times[i])
            next++;
        bool agree = true;
        for (size_t k = 0; k < r->trace->series_count; k++)
            agree = merge_series(&r->trace->series[k], i, next, into, r->options->merge_repeats) && agree;
        if (!agree) {
            char found[96];
            snprintf(found, sizeof found, "%zu rows with the time %.9g s and different values", next - i,
                     r->times[i]);
            es_csv_fault(r, r->lines[next - 1], 0, found, "each time once",
                         "Have repeated times averaged (--merge-repeats), or cut the file.");
        }
        r->report.merged += next - i - 1;
        r->times[into++] = r->times[i];
        i = next;
    }
    r->rows = into;
}

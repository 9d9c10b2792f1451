#include "procedures/measures/csv_trace.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/csv_encoding.h"
#include "procedures/measures/csv_notes.h"
#include "procedures/measures/numeric/summary.h"

#define MOST_FAULTS 100
#define GAP_FACTOR  3.5

void es_csv_fault(struct es_csv_reader *r, unsigned line, unsigned column, const char *found,
                  const char *expected, const char *advice)
{
    if (r->faults++ < MOST_FAULTS)
        es_findings_add(r->findings, r->name, line, line > 0 && column == 0 ? 1 : column, found, expected,
                        advice);
}

void es_csv_fault_cell(struct es_csv_reader *r, unsigned line, const struct es_csv_cell *cell,
                       const char *expected, const char *advice)
{
    char found[48];
    snprintf(found, sizeof found, "\"%.*s\"", (int)(cell->length > 40 ? 40 : cell->length), cell->text);
    es_csv_fault(r, line, cell->column, found, expected, advice);
}

bool es_csv_is_numbers(const struct es_csv_row *row)
{
    if (row->count < 2)
        return false;
    if (row->cells[0].length == 0 || es_csv_is_missing(row->cells[0].text, row->cells[0].length))
        return es_csv_like_number(&row->cells[1]);
    return es_csv_like_number(&row->cells[0]);
}

static bool is_empty(const struct es_csv_row *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->cells[i].length)
            return false;
    return true;
}

bool es_csv_wanted(const struct es_csv_known *c)
{
    return c->is_time || c->role != ES_ROLE_NONE;
}

/* Text between the numbers, or a row of them that has to be read? A full row with one number in a column that
 * counts is no text, whatever its other cells hold. */
static bool is_data(const struct es_csv_reader *r, const struct es_csv_row *row)
{
    if (row->cells[0].length && row->cells[0].text[0] == '#')
        return false;
    if (es_csv_is_numbers(row))
        return true;
    for (size_t i = 0; row->count == r->column_count && i < row->count; i++)
        if (es_csv_wanted(&r->columns[i]) && es_csv_like_number(&row->cells[i]))
            return true;
    return false;
}

void es_csv_each_row(struct es_csv_reader *r, bool counting,
                     void (*take)(struct es_csv_reader *, const struct es_csv_row *))
{
    struct es_csv_text t = es_csv_start(r->text, r->length);
    const char *line;
    size_t length;
    struct es_csv_row row;
    while (es_csv_next_line(&t, &line, &length)) {
        if (t.line < r->first_data)
            continue;
        es_csv_split(line, length, t.line, r->report.separator, &row);
        es_csv_drop_empty_end(&row, r->column_count);
        if (is_empty(&row))
            continue;
        if (is_data(r, &row))
            take(r, &row);
        else if (counting)
            r->report.text_rows++;
    }
}

static bool add_commands(struct es_csv_reader *r, const struct es_series *s)
{
    size_t room = 0;
    double before = NAN;
    size_t last = 0;
    for (size_t i = 0; i < s->count; i++) {
        if (s->quality[i] != ES_GOOD)
            continue;
        if (isfinite(before) && fabs(s->y[i] - before) > r->options->command_least) {
            struct es_trace *t = r->trace;
            if (t->command_count >= room) {
                room = 2 * t->command_count + 8;
                struct es_command *all = realloc(t->commands, room * sizeof *all);
                if (!all)
                    return false;
                t->commands = all;
            }
            double half = 0.5 * (s->t[i] - s->t[last]);
            t->commands[t->command_count++] =
                (struct es_command){s->role, s->t[last] + half, half / sqrt(3.0), before, s->y[i]};
        }
        before = s->y[i];
        last = i;
    }
    return true;
}

static int by_time(const void *a, const void *b)
{
    const struct es_command *x = a, *y = b;
    return (x->t > y->t) - (x->t < y->t);
}

/* Only the rows in which the series was sampled; of a series without any, one sample that failed. */
static void leave_out_absent(const struct es_csv_reader *r, struct es_series *s)
{
    for (size_t i = 0; i < r->rows; i++) {
        if (s->quality[i] == ES_CSV_ABSENT)
            continue;
        s->t[s->count] = r->times[i];
        s->y[s->count] = s->y[i];
        s->quality[s->count++] = s->quality[i];
    }
    if (s->count == 0) {
        s->t[0] = r->times[0];
        s->quality[0] = ES_FAILED;
        s->count = 1;
    }
}

static bool finish(struct es_csv_reader *r)
{
    struct es_trace *t = r->trace;
    double start = r->noted ? 0 : r->times[0];
    for (size_t i = 0; i < r->rows; i++)
        r->times[i] -= start;
    t->duration = fmax(t->duration, r->times[r->rows - 1]);
    for (size_t k = 0; k < t->series_count; k++) {
        struct es_series *s = &t->series[k];
        leave_out_absent(r, s);
        if (!r->noted && es_role_info(s->role)->direction == ES_OUT && !add_commands(r, s))
            return false;
    }
    if (t->command_count)
        qsort(t->commands, t->command_count, sizeof *t->commands, by_time);
    for (size_t i = 1; i < r->rows; i++) /* times are not needed any more: intervals instead */
        r->times[i - 1] = r->times[i] - r->times[i - 1];
    if (r->rows > 1) {
        double usual = es_median(r->times, r->rows - 1);
        for (size_t i = 0; i + 1 < r->rows; i++)
            if (r->times[i] > GAP_FACTOR * usual)
                r->report.gaps++;
    }
    return true;
}

static enum es_status read_all(struct es_csv_reader *r, struct es_error *err)
{
    struct es_csv_header header;
    struct es_csv_row numbers;
    if (memchr(r->text, '\0', r->length)) {
        es_csv_fault(r, 0, 0, "bytes that are no text", "a text file in UTF-8", "Save it as UTF-8 text.");
        return es_findings_status(r->findings, err);
    }
    if (!es_csv_find_layout(r, &header, &numbers))
        return es_findings_status(r->findings, err);
    es_csv_find_columns(r, &header, &numbers);
    if (r->faults)
        return es_findings_status(r->findings, err);
    r->noted = es_csv_is_noted(r->text, r->length);
    es_csv_find_marks(r);
    if (!es_csv_make_trace(r))
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu rows of \"%s\".", r->rows, r->name);
    if (r->noted && !es_csv_take_notes(r))
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for the writes of \"%s\".", r->name);
    es_csv_each_row(r, true, es_csv_take_row);
    if (!r->faults && !r->rows)
        es_csv_fault(r, r->first_data, 0, "no row of numbers", "rows with a time and at least one value", "");
    if (!r->faults)
        es_csv_merge_rows(r);
    if (r->faults)
        return es_findings_status(r->findings, err);
    r->report.rows = r->rows;
    if (!finish(r))
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for the commands of \"%s\".", r->name);
    return ES_OK;
}

enum es_status es_csv_trace_read(const char *name, const char *text, size_t length,
                                 const struct es_csv_options *options, struct es_findings *findings,
                                 struct es_trace **out, struct es_csv_report *report, struct es_error *err)
{
    static const struct es_csv_options none = {0};
    if (length > ES_CSV_MAX)
        return es_fail(err, ES_BAD_INPUT, "\"%s\" has %zu bytes; at most %u are read.", name, length,
                       ES_CSV_MAX);
    struct es_csv_reader *r = calloc(1, sizeof *r);
    if (!r)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory to read \"%s\".", name);
    char *converted = NULL;
    if (es_csv_is_utf16(text, length)) {
        converted = es_csv_utf8_from_utf16(text, length, &length);
        if (!converted) {
            free(r);
            return es_fail(err, ES_NO_MEMORY, "Not enough memory to read \"%s\".", name);
        }
        text = converted;
    }
    r->name = name;
    r->text = length ? text : "";
    r->length = length;
    r->options = options ? options : &none;
    r->findings = findings;
    enum es_status status = read_all(r, err);
    if (status == ES_OK) {
        *out = r->trace;
        if (report)
            *report = r->report;
    } else {
        es_trace_free(r->trace);
    }
    free(r->times);
    free(r->lines);
    free(r);
    free(converted);
    return status;
}

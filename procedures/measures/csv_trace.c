#include "procedures/measures/csv_trace.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "procedures/measures/csv_lines.h"
#include "procedures/measures/csv_number.h"
#include "procedures/measures/numeric/summary.h"

#define MOST_FAULTS 100
#define GAP_FACTOR  3.5

/* What is known of one column of the text. */
struct column {
    char name[64]; /* from the header, without the unit */
    char unit[32]; /* as written in the header */
    unsigned at;   /* where, in the header */
    bool is_time;
    enum es_role role; /* ES_ROLE_NONE: left out */
    const struct es_unit *factor;
    struct es_channel_uncertainty u;
    struct es_csv_style style;
    bool sure_point, many_points; /* evidence within the column */
    size_t series;                /* index in the trace */
};

struct reader {
    const char *name, *text;
    size_t length;
    const struct es_csv_options *options;
    struct es_findings *findings;
    struct es_csv_report report;
    struct column columns[ES_CSV_CELLS];
    size_t column_count, time;
    unsigned first_data; /* line */
    size_t rows;         /* of numbers */
    double *times;
    struct es_trace *trace;
    size_t faults;
};

static void fault(struct reader *r, unsigned line, unsigned column, const char *found, const char *expected,
                  const char *advice)
{
    if (r->faults++ < MOST_FAULTS)
        es_findings_add(r->findings, r->name, line, column, found, expected, advice);
}

static void fault_cell(struct reader *r, unsigned line, const struct es_csv_cell *cell, const char *expected,
                       const char *advice)
{
    char found[48];
    snprintf(found, sizeof found, "\"%.*s\"", (int)(cell->length > 40 ? 40 : cell->length), cell->text);
    fault(r, line, cell->column, found, expected, advice);
}

/* A row of numbers: its first cell, or the one after a blank first cell, begins like a number. */
static bool is_numbers(const struct es_csv_row *row)
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

/* ---- Layout: separator, header, first row of numbers ---- */

/* A line that starts like a number, or whose first cell is a blank before one. */
static bool line_like_numbers(const char *line, size_t length)
{
    struct es_csv_row row;
    es_csv_split(line, length, 1, es_csv_separator(line, length), &row);
    return is_numbers(&row);
}

static bool find_layout(struct reader *r, struct es_csv_row *header, bool *has_header)
{
    struct es_csv_text t = es_csv_start(r->text, r->length);
    const char *line, *last = NULL;
    size_t length, last_length = 0;
    unsigned last_number = 0;
    while (es_csv_next_line(&t, &line, &length)) {
        bool blank = true;
        for (size_t i = 0; i < length && blank; i++)
            blank = line[i] == ' ' || line[i] == '\t';
        if (blank)
            continue;
        if (line_like_numbers(line, length))
            break;
        last = line;
        last_length = length;
        last_number = t.line;
        line = NULL;
    }
    if (!line || t.line == 0 || !line_like_numbers(line, length)) {
        fault(r, 0, 0, "no row of numbers", "rows with a time and at least one value", "");
        return false;
    }
    r->first_data = t.line;
    r->report.separator = es_csv_separator(line, length);
    struct es_csv_row row;
    *has_header = false;
    if (last) { /* the last text before the numbers is the header when it has as many cells */
        char separator = es_csv_separator(last, last_length);
        es_csv_split(last, last_length, last_number, separator, header);
        es_csv_split(line, length, t.line, separator, &row);
        if (header->count > 1 && row.count == header->count) {
            *has_header = true;
            r->report.separator = separator;
        }
    }
    es_csv_split(line, length, t.line, r->report.separator, &row);
    r->column_count = row.count;
    if (row.too_many)
        fault(r, t.line, 0, "more than 64 columns", "at most 64", "Leave out what is not needed.");
    return !row.too_many;
}

/* ---- Columns: names, units, roles ---- */

static void take_name(struct column *c, const struct es_csv_cell *cell)
{
    size_t end = cell->length;
    c->at = cell->column;
    char close = end ? cell->text[end - 1] : 0, open = close == ']' ? '[' : close == ')' ? '(' : 0;
    const char *start = open ? memrchr(cell->text, open, end) : NULL;
    if (start) {
        size_t length = (size_t)(cell->text + end - 1 - (start + 1));
        snprintf(c->unit, sizeof c->unit, "%.*s", (int)(length > 31 ? 31 : length), start + 1);
        end = (size_t)(start - cell->text);
    }
    while (end && cell->text[end - 1] == ' ')
        end--;
    snprintf(c->name, sizeof c->name, "%.*s", (int)(end > 63 ? 63 : end), cell->text);
}

static void name_to_role(struct column *c)
{
    char lower[64];
    size_t i = 0;
    for (; c->name[i]; i++)
        lower[i] = (char)(c->name[i] >= 'A' && c->name[i] <= 'Z' ? c->name[i] + 32 : c->name[i]);
    lower[i] = '\0';
    c->is_time = strcmp(lower, "time") == 0 || strcmp(lower, "t") == 0;
    c->role = c->is_time ? ES_ROLE_NONE : es_role_find(lower);
}

/* The column that an option means: by number, else by name. */
static struct column *column_of(struct reader *r, const char *wanted)
{
    char *end;
    unsigned long number = strtoul(wanted, &end, 10);
    if (*wanted && !*end && number >= 1 && number <= r->column_count)
        return &r->columns[number - 1];
    for (size_t i = 0; i < r->column_count; i++)
        if (r->columns[i].name[0] && strcasecmp(r->columns[i].name, wanted) == 0)
            return &r->columns[i];
    return NULL;
}

static void apply_options(struct reader *r)
{
    for (size_t i = 0; i < r->options->column_count; i++) {
        const struct es_csv_column *o = &r->options->columns[i];
        struct column *c = column_of(r, o->column);
        if (!c) {
            char found[128];
            snprintf(found, sizeof found, "no column \"%s\"", o->column);
            fault(r, r->first_data, 0, found, "a column's name from the header, or its number from 1", "");
            continue;
        }
        c->is_time = o->is_time;
        c->role = o->is_time ? ES_ROLE_NONE : o->role;
        c->u = o->u;
        if (o->unit)
            c->factor = o->unit;
    }
}

static void check_unit(struct reader *r, unsigned line, struct column *c)
{
    char expected[400];
    const struct es_role_info *info = c->is_time ? NULL : es_role_info(c->role);
    enum es_dimension d = c->is_time ? ES_DIM_TIME : info->dimension;
    if (!c->factor && c->unit[0])
        c->factor = es_unit_find(c->unit, strlen(c->unit));
    bool fits =
        c->factor && (c->factor->dimension == d || (info && c->factor->dimension == info->other_dimension));
    if (!c->factor && !c->unit[0] && (d == ES_DIM_NUMBER || d == ES_DIM_RATIO)) {
        fits = true; /* a plain number needs no unit */
        c->factor = NULL;
    }
    if (fits)
        return;
    int n = snprintf(expected, sizeof expected, "a unit of %s: ", es_dimension_name(d));
    es_unit_names(d, expected + n, sizeof expected - (size_t)n);
    char found[160];
    snprintf(found, sizeof found, "column \"%.60s\" with unit \"%.40s\"", c->name,
             c->unit[0]  ? c->unit
             : c->factor ? c->factor->name
                         : "");
    fault(r, line, c->at, found, expected, "Write it in the header, as in \"travel [mm]\".");
}

/* One time column, no role twice, at least one value, units that fit. */
static void check_columns(struct reader *r, unsigned line)
{
    size_t times = 0, values = 0;
    for (size_t i = 0; i < r->column_count; i++) {
        struct column *c = &r->columns[i];
        if (c->is_time) {
            if (times++)
                fault(r, line, c->at, "a second time column", "one", "");
            r->time = i;
        } else if (c->role == ES_ROLE_NONE) {
            continue;
        } else {
            values++;
            for (size_t k = 0; k < i; k++)
                if (!r->columns[k].is_time && r->columns[k].role == c->role)
                    fault(r, line, c->at, es_role_info(c->role)->name, "each role once", "");
        }
        check_unit(r, line, c);
    }
    if (times == 0)
        fault(r, line, 0, "no time column", "a column named \"time\" with a unit of time",
              "Say which column it is, by name or number.");
    if (values == 0)
        fault(r, line, 0, "no column that is named like a role", "at least one, e.g. \"travel [mm]\"",
              "Say which columns to take as which role.");
}

static void find_columns(struct reader *r, const struct es_csv_row *header, bool has_header)
{
    for (size_t i = 0; i < r->column_count; i++) {
        struct column *c = &r->columns[i];
        *c = (struct column){.role = ES_ROLE_NONE, .u = {.dof = INFINITY}};
        if (has_header) {
            take_name(c, &header->cells[i]);
            name_to_role(c);
        }
    }
    apply_options(r);
    check_columns(r, has_header ? header->line : r->first_data);
}

/* ---- Marks: decimal point or comma ---- */

static bool wanted(const struct column *c)
{
    return c->is_time || c->role != ES_ROLE_NONE;
}

/* Calls `take` for each row of numbers; text rows are counted when `counting`. */
static void each_row(struct reader *r, bool counting,
                     void (*take)(struct reader *, const struct es_csv_row *))
{
    struct es_csv_text t = es_csv_start(r->text, r->length);
    const char *line;
    size_t length;
    struct es_csv_row row;
    while (es_csv_next_line(&t, &line, &length)) {
        if (t.line < r->first_data)
            continue;
        es_csv_split(line, length, t.line, r->report.separator, &row);
        if (is_empty(&row))
            continue;
        if (is_numbers(&row))
            take(r, &row);
        else if (counting && row.count > 1 && row.count == r->column_count &&
                 es_csv_like_number(&row.cells[1]))
            fault_cell(r, t.line, &row.cells[0], "a time", "");
        else if (counting)
            r->report.text_rows++;
    }
}

struct evidence {
    unsigned point_line, comma_line; /* where each was proved; 0 nowhere */
};

static void add_marks(struct reader *r, const struct es_csv_row *row)
{
    for (size_t i = 0; i < row->count && i < r->column_count; i++) {
        struct column *c = &r->columns[i];
        struct es_csv_marks m;
        if (!wanted(c))
            continue;
        es_csv_marks_of(row->cells[i].text, row->cells[i].length, &m);
        c->many_points |= m.many_points;
        if (m.decimal_point) {
            c->sure_point = true;
            if (r->report.decimal == ',')
                fault_cell(r, row->line, &row->cells[i], "a decimal comma, as elsewhere in this file",
                           "Point and comma are both used as decimal mark.");
            else
                r->report.decimal = '.';
        }
        if (m.decimal_comma) {
            if (r->report.decimal == '.')
                fault_cell(r, row->line, &row->cells[i], "a decimal point, as elsewhere in this file",
                           "Point and comma are both used as decimal mark.");
            else
                r->report.decimal = ',';
        }
    }
}

static void find_marks(struct reader *r)
{
    r->report.decimal = r->options->decimal;
    each_row(r, false, add_marks);
    for (size_t i = 0; i < r->column_count; i++) {
        struct column *c = &r->columns[i];
        c->style.decimal = r->report.decimal;
        c->style.grouped_by_decimal =
            r->report.decimal == '.' && c->many_points && (c->sure_point || r->options->decimal == '.');
        if (c->many_points)
            r->report.thousands = '.';
    }
}

/* ---- Values ---- */

static void count_row(struct reader *r, const struct es_csv_row *row)
{
    (void)row;
    r->rows++;
}

static bool make_trace(struct reader *r)
{
    struct es_trace *t = calloc(1, sizeof *t);
    if (!t)
        return false;
    r->trace = t;
    t->name = strdup(r->name);
    t->series = calloc(r->column_count + 1, sizeof *t->series);
    r->times = calloc(r->rows + 1, sizeof *r->times);
    if (!t->name || !t->series || !r->times)
        return false;
    for (size_t i = 0; i < r->column_count; i++) {
        struct column *c = &r->columns[i];
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

static bool read_cell(struct reader *r, unsigned line, const struct es_csv_cell *cell, const struct column *c,
                      double *out)
{
    double v = NAN;
    switch (es_csv_number_read(cell->text, cell->length, &c->style, &v)) {
    case ES_CSV_NUMBER:
        *out = c->factor ? es_from_unit(v, c->factor) : v;
        return true;
    case ES_CSV_MISSING:
        *out = NAN;
        return true;
    case ES_CSV_AMBIGUOUS:
        fault_cell(r, line, cell, "a number that can be read in one way only",
                   "Its mark may be a decimal or a thousands mark: say which mark is decimal.");
        return false;
    case ES_CSV_MALFORMED:
    default:
        fault_cell(r, line, cell, r->report.decimal == ',' ? "a number with decimal comma" : "a number", "");
        return false;
    }
}

static void take_row(struct reader *r, const struct es_csv_row *row)
{
    if (row->open_quote || row->too_many || row->count != r->column_count) {
        char found[64], expected[64];
        if (row->open_quote)
            snprintf(found, sizeof found, "a quote that is not closed");
        else
            snprintf(found, sizeof found, "%zu cells", row->count);
        snprintf(expected, sizeof expected, "%zu cells", r->column_count);
        fault(r, row->line, row->count ? row->cells[row->count - 1].column : 1, found, expected, "");
        return;
    }
    double t;
    const struct es_csv_cell *cell = &row->cells[r->time];
    if (!read_cell(r, row->line, cell, &r->columns[r->time], &t))
        return;
    if (!isfinite(t)) {
        fault_cell(r, row->line, cell, "a time", "");
        return;
    }
    if (r->rows && t < r->times[r->rows - 1]) {
        fault_cell(r, row->line, cell, "a time not before that of the row above",
                   "Cut the file where a new recording begins.");
        return;
    }
    size_t at = r->rows++;
    r->times[at] = t;
    for (size_t i = 0; i < r->column_count; i++) {
        const struct column *c = &r->columns[i];
        if (c->is_time || c->role == ES_ROLE_NONE)
            continue;
        struct es_series *s = &r->trace->series[c->series];
        double v = NAN;
        if (!read_cell(r, row->line, &row->cells[i], c, &v))
            v = NAN;
        s->y[at] = v;
        s->quality[at] = isfinite(v) ? ES_GOOD : ES_FAILED;
        if (!isfinite(v))
            r->report.missing++;
    }
}

/* Rows with one time stamp become one. Returns false on rows that contradict each other. */
static bool merge_series(struct es_series *s, size_t from, size_t to, size_t into, bool by_mean)
{
    double sum = 0, first = NAN;
    size_t n = 0;
    bool agree = true;
    for (size_t i = from; i < to; i++) {
        if (s->quality[i] != ES_GOOD)
            continue;
        agree = agree && (n == 0 || s->y[i] == first);
        if (n == 0)
            first = s->y[i];
        sum += s->y[i];
        n++;
    }
    s->y[into] = n == 0 ? NAN : agree ? first : sum / (double)n;
    s->quality[into] = n ? ES_GOOD : ES_FAILED;
    return agree || by_mean;
}

static void merge_rows(struct reader *r)
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
            fault(r, 0, 0, found, "each time once",
                  "Ask for repeated times to be averaged, or cut the file.");
        }
        r->report.merged += next - i - 1;
        r->times[into++] = r->times[i];
        i = next;
    }
    r->rows = into;
}

/* ---- Finish ---- */

static bool add_commands(struct reader *r, const struct es_series *s)
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

static bool finish(struct reader *r)
{
    struct es_trace *t = r->trace;
    double start = r->times[0];
    for (size_t i = 0; i < r->rows; i++)
        r->times[i] -= start;
    t->duration = r->times[r->rows - 1];
    for (size_t k = 0; k < t->series_count; k++) {
        struct es_series *s = &t->series[k];
        s->count = r->rows;
        memcpy(s->t, r->times, r->rows * sizeof *s->t);
        if (es_role_info(s->role)->direction == ES_OUT && !add_commands(r, s))
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

static enum es_status read_all(struct reader *r, struct es_error *err)
{
    struct es_csv_row header;
    bool has_header;
    if (memchr(r->text, '\0', r->length)) {
        fault(r, 0, 0, "bytes that are no text", "a text file in UTF-8", "Save it as UTF-8 text.");
        return es_findings_status(r->findings, err);
    }
    if (!find_layout(r, &header, &has_header))
        return es_findings_status(r->findings, err);
    find_columns(r, &header, has_header);
    if (r->faults)
        return es_findings_status(r->findings, err);
    find_marks(r);
    each_row(r, false, count_row);
    if (!make_trace(r))
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu rows of \"%s\".", r->rows, r->name);
    each_row(r, true, take_row);
    if (!r->faults && !r->rows)
        fault(r, r->first_data, 0, "no row of numbers", "rows with a time and at least one value", "");
    if (!r->faults)
        merge_rows(r);
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
    struct reader *r = calloc(1, sizeof *r);
    if (!r)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory to read \"%s\".", name);
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
    free(r);
    return status;
}

#include "procedures/measures/csv_reader.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "rig/base/unit_hint.h"

/* A line that starts like a number, or whose first cell is a blank before one. */
static bool line_like_numbers(const char *line, size_t length)
{
    struct es_csv_row row;
    es_csv_split(line, length, 1, es_csv_separator(line, length), &row);
    return es_csv_is_numbers(&row);
}

bool es_csv_find_layout(struct es_csv_reader *r, struct es_csv_row *header, bool *has_header)
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
        es_csv_fault(r, last_number, 0,
                     r->length == 0 ? "an empty file"
                     : last         ? "text, and no row of numbers"
                                    : "no row of numbers",
                     "a header such as \"time [s];travel [mm]\" and rows with a time and at least one value",
                     "");
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
        es_csv_fault(r, t.line, 0, "more than 64 columns", "at most 64", "Leave out what is not needed.");
    return !row.too_many;
}

/* Place of the stroke in "travel/mm", "flow/Nl/h" (ISO 80000-1: quantity over unit); 0 where none is. */
static size_t slash_before_unit(const struct es_csv_cell *cell)
{
    for (size_t i = 1; i < cell->length; i++)
        if (cell->text[i] == '/' && cell->length - i < 32 &&
            es_unit_find(cell->text + i + 1, cell->length - i - 1))
            return i;
    return 0;
}

static void take_name(struct es_csv_known *c, const struct es_csv_cell *cell)
{
    size_t end = cell->length;
    c->at = cell->column;
    char close = end ? cell->text[end - 1] : 0, open = close == ']' ? '[' : close == ')' ? '(' : 0;
    const char *start = open ? memrchr(cell->text, open, end) : NULL;
    size_t slash = open ? 0 : slash_before_unit(cell);
    if (slash) {
        snprintf(c->unit, sizeof c->unit, "%.*s", (int)(end - slash - 1), cell->text + slash + 1);
        end = slash;
    }
    if (start) {
        size_t length = (size_t)(cell->text + end - 1 - (start + 1));
        snprintf(c->unit, sizeof c->unit, "%.*s", (int)(length > 31 ? 31 : length), start + 1);
        end = (size_t)(start - cell->text);
    }
    while (end && cell->text[end - 1] == ' ')
        end--;
    snprintf(c->name, sizeof c->name, "%.*s", (int)(end > 63 ? 63 : end), cell->text);
}

static void name_to_role(struct es_csv_known *c)
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
static struct es_csv_known *column_of(struct es_csv_reader *r, const char *wanted)
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

/* Who says which column is a channel says that no other one is, whatever its name. */
static void forget_named(struct es_csv_reader *r, const struct es_csv_column *o)
{
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        if (o->is_time ? c->is_time : !c->is_time && c->role == o->role) {
            c->is_time = false;
            c->role = ES_ROLE_NONE;
        }
    }
}

static void apply_options(struct es_csv_reader *r)
{
    for (size_t i = 0; i < r->options->column_count; i++)
        if (column_of(r, r->options->columns[i].column))
            forget_named(r, &r->options->columns[i]);
    for (size_t i = 0; i < r->options->column_count; i++) {
        const struct es_csv_column *o = &r->options->columns[i];
        struct es_csv_known *c = column_of(r, o->column);
        if (!c) {
            char found[128];
            snprintf(found, sizeof found, "no column \"%.60s\"", o->column);
            es_csv_fault(r, r->header, 0, found, "a column's name from the header, or its number from 1", "");
            continue;
        }
        c->is_time = o->is_time;
        c->role = o->is_time ? ES_ROLE_NONE : o->role;
        c->u = o->u;
        if (o->unit)
            c->factor = o->unit;
    }
}

static bool unit_fits(const struct es_csv_known *c, enum es_dimension d)
{
    const struct es_role_info *info = c->is_time ? NULL : es_role_info(c->role);
    return c->factor &&
           (c->factor->dimension == d || (info && c->factor->dimension == info->other_dimension));
}

static void check_unit(struct es_csv_reader *r, unsigned line, struct es_csv_known *c)
{
    enum es_dimension d = c->is_time ? ES_DIM_TIME : es_role_info(c->role)->dimension;
    if (!c->factor && c->unit[0])
        c->factor = es_unit_find(c->unit, strlen(c->unit));
    if (!c->factor && !c->unit[0] && (d == ES_DIM_NUMBER || d == ES_DIM_RATIO))
        return; /* a plain number needs no unit */
    if (unit_fits(c, d))
        return;
    char found[320], expected[400], advice[160], hint[ES_UNIT_HINT_SIZE] = "";
    const char *name = c->is_time ? "time" : es_role_info(c->role)->name;
    const char *unit = c->unit[0] ? c->unit : c->factor ? c->factor->name : "";
    int n = snprintf(expected, sizeof expected, "a unit of %s: ", es_dimension_name(d));
    es_unit_names(d, expected + n, sizeof expected - (size_t)n);
    if (unit[0] && !c->factor)
        es_unit_hint(unit, d, hint);
    snprintf(found, sizeof found,
             unit[0] ? "column \"%.60s\" with unit \"%.40s\"%s" : "column \"%.60s\" without a unit", c->name,
             unit, hint);
    snprintf(advice, sizeof advice, "Write it in the header, as in \"%s [%s]\", or with --column.", name,
             es_dimension_unit(d)->name);
    es_csv_fault(r, line, c->at, found, expected, advice);
}

static void tell_twice(struct es_csv_reader *r, unsigned line, const struct es_csv_known *c)
{
    const char *name = c->is_time ? "time" : es_role_info(c->role)->name;
    char found[96], advice[160];
    snprintf(found, sizeof found, "a second column of \"%s\"", name);
    snprintf(advice, sizeof advice, "Say which one to take, as in --column \"%s=%zu\".", name,
             (size_t)(c - r->columns) + 1);
    es_csv_fault(r, line, c->at, found, "each channel once", advice);
}

/* "no time column among "x", "y"". */
static void header_names(const struct es_csv_reader *r, const char *what, char *out, size_t size)
{
    size_t n = (size_t)snprintf(out, size, "%s", what);
    for (size_t i = 0; i < r->column_count && n < size; i++)
        n += (size_t)snprintf(out + n, size - n, "%s\"%s\"", i == 0 ? " among " : ", ", r->columns[i].name);
}

/* Neither time nor a channel was found: the header is not there, or is another one. */
static void tell_none(struct es_csv_reader *r, unsigned line, bool has_header, bool times, bool values)
{
    if (!has_header && !times && !values) {
        char found[96];
        snprintf(found, sizeof found, "a row of %zu numbers, and no header of %zu names above it",
                 r->column_count, r->column_count);
        es_csv_fault(
            r, line, 0, found, "a header such as \"time [s];travel [mm]\"",
            r->report.separator == ',' && r->column_count > 3
                ? "Where the decimal sign is a comma too, save the table with semicolons or tabs."
                : "Write one, or name the columns: --column \"time=1 [s]\" --column \"travel=2 [mm]\".");
        return;
    }
    char found[400];
    if (!times) {
        header_names(r, "no time column", found, sizeof found);
        es_csv_fault(r, line, 0, found, "a column named \"time\" with a unit of time",
                     "Say which one it is: --column \"time=1 [s]\".");
    }
    if (!values) {
        header_names(r, "no column that is named like a channel", found, sizeof found);
        es_csv_fault(r, line, 0, found, "at least one, e.g. \"travel [mm]\"",
                     "Say which column is which channel: --column \"travel=2 [mm]\".");
    }
}

/* One time column, no role twice, at least one value, units that fit. */
static void check_columns(struct es_csv_reader *r, bool has_header)
{
    bool times = false, values = false;
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        if (!es_csv_wanted(c))
            continue;
        for (size_t k = 0; k < i; k++)
            if (es_csv_wanted(&r->columns[k]) && r->columns[k].is_time == c->is_time &&
                (c->is_time || r->columns[k].role == c->role)) {
                tell_twice(r, r->header, c);
                break;
            }
        if (c->is_time)
            r->time = i;
        times = times || c->is_time;
        values = values || !c->is_time;
        check_unit(r, r->header, c);
    }
    if (!times || !values)
        tell_none(r, r->header, has_header, times, values);
}

void es_csv_find_columns(struct es_csv_reader *r, const struct es_csv_row *header, bool has_header)
{
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        *c = (struct es_csv_known){.role = ES_ROLE_NONE, .u = {.dof = INFINITY}};
        if (has_header) {
            take_name(c, &header->cells[i]);
            name_to_role(c);
        }
    }
    r->header = has_header ? header->line : r->first_data;
    apply_options(r);
    check_columns(r, has_header);
}

#include "procedures/measures/csv_reader.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

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
        es_csv_fault(r, 0, 0, "no row of numbers", "rows with a time and at least one value", "");
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

static void apply_options(struct es_csv_reader *r)
{
    for (size_t i = 0; i < r->options->column_count; i++) {
        const struct es_csv_column *o = &r->options->columns[i];
        struct es_csv_known *c = column_of(r, o->column);
        if (!c) {
            char found[128];
            snprintf(found, sizeof found, "no column \"%s\"", o->column);
            es_csv_fault(r, r->first_data, 0, found, "a column's name from the header, or its number from 1",
                         "");
            continue;
        }
        c->is_time = o->is_time;
        c->role = o->is_time ? ES_ROLE_NONE : o->role;
        c->u = o->u;
        if (o->unit)
            c->factor = o->unit;
    }
}

static void check_unit(struct es_csv_reader *r, unsigned line, struct es_csv_known *c)
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
    es_csv_fault(r, line, c->at, found, expected, "Write it in the header, as in \"travel [mm]\".");
}

/* One time column, no role twice, at least one value, units that fit. */
static void check_columns(struct es_csv_reader *r, unsigned line)
{
    size_t times = 0, values = 0;
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        if (c->is_time) {
            if (times++)
                es_csv_fault(r, line, c->at, "a second time column", "one", "");
            r->time = i;
        } else if (c->role == ES_ROLE_NONE) {
            continue;
        } else {
            values++;
            for (size_t k = 0; k < i; k++)
                if (!r->columns[k].is_time && r->columns[k].role == c->role)
                    es_csv_fault(r, line, c->at, es_role_info(c->role)->name, "each role once", "");
        }
        check_unit(r, line, c);
    }
    if (times == 0)
        es_csv_fault(r, line, 0, "no time column", "a column named \"time\" with a unit of time",
                     "Say which column it is, by name or number.");
    if (values == 0)
        es_csv_fault(r, line, 0, "no column that is named like a role", "at least one, e.g. \"travel [mm]\"",
                     "Say which columns to take as which role.");
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
    apply_options(r);
    check_columns(r, has_header ? header->line : r->first_data);
}

#include "procedures/measures/csv_reader.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "rig/base/unit_hint.h"

static const struct es_unit *unit_of(const char *text, size_t length)
{
    enum es_unit_state state;
    return es_unit_find_spelled(text, length, &state);
}

/* Place of the mark in "travel/mm", "flow/Nl/h" (ISO 80000-1: quantity over unit), "travel, mm"; 0 where none
 * is. */
static size_t mark_before_unit(const struct es_csv_cell *cell)
{
    for (size_t i = 1; i + 1 < cell->length; i++) {
        if (cell->text[i] != '/' && cell->text[i] != ',')
            continue;
        size_t from = i + 1;
        while (from + 1 < cell->length && cell->text[from] == ' ')
            from++;
        if (unit_of(cell->text + from, cell->length - from))
            return i;
    }
    return 0;
}

/* The bracket that opens what the last character closes: "flow (l/min (ANR))"; NULL where none is. */
static const char *opening(const struct es_csv_cell *cell)
{
    char close = cell->length ? cell->text[cell->length - 1] : 0;
    char open = close == ']' ? '[' : close == ')' ? '(' : 0;
    size_t depth = 0;
    for (size_t i = cell->length; open && i > 0; i--) {
        depth += cell->text[i - 1] == close;
        if (cell->text[i - 1] == open && --depth == 0)
            return cell->text + i - 1;
    }
    return NULL;
}

/* Without blanks around it; cut where it has no room. */
static void copy_trimmed(char *out, size_t size, const char *from, const char *end)
{
    while (from < end && *from == ' ')
        from++;
    while (from < end && end[-1] == ' ')
        end--;
    size_t length = (size_t)(end - from) < size ? (size_t)(end - from) : size - 1;
    memcpy(out, from, length);
    out[length] = '\0';
}

static void take_name(struct es_csv_known *c, const struct es_csv_cell *cell)
{
    const char *text = cell->text, *end = text + cell->length, *name_end = end;
    const char *open = opening(cell);
    size_t mark = open ? 0 : mark_before_unit(cell);
    c->at = cell->column;
    if (open)
        copy_trimmed(c->unit, sizeof c->unit, open + 1, end - 1);
    else if (mark)
        copy_trimmed(c->unit, sizeof c->unit, text + mark + 1, end);
    if (open || mark)
        name_end = open ? open : text + mark;
    copy_trimmed(c->name, sizeof c->name, text, name_end);
}

/* A unit that stands below the name, with or without brackets. */
static void take_unit_below(struct es_csv_known *c, const struct es_csv_cell *cell)
{
    bool bracket = cell->length > 1 && (cell->text[0] == '[' || cell->text[0] == '(');
    if (!c->unit[0])
        copy_trimmed(c->unit, sizeof c->unit, cell->text + bracket, cell->text + cell->length - bracket);
}

static void name_to_role(struct es_csv_known *c)
{
    char lower[64];
    size_t i = 0;
    for (; c->name[i]; i++) {
        char ch = c->name[i];
        lower[i] = (char)(ch >= 'A' && ch <= 'Z' ? ch + 32 : ch == '_' ? ' ' : ch);
    }
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

/* More than one column has the name. */
static bool is_twice(const struct es_csv_reader *r, const struct es_csv_known *c, const char *wanted)
{
    size_t same = 0;
    for (size_t i = 0; i < r->column_count; i++)
        same += strcasecmp(r->columns[i].name, c->name) == 0;
    return same > 1 && strcasecmp(c->name, wanted) == 0;
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
        if (is_twice(r, c, o->column)) {
            char found[128];
            snprintf(found, sizeof found, "several columns \"%.60s\"", o->column);
            es_csv_fault(r, r->header, c->at, found, "one", "Say which by its number, from 1.");
        }
        c->is_time = o->is_time;
        c->role = o->is_time ? ES_ROLE_NONE : o->role;
        c->u = o->u;
        if (o->unit) {
            c->factor = o->unit;
            c->unit[0] = '\0';
        }
    }
}

static bool unit_fits(const struct es_csv_known *c, enum es_dimension d)
{
    const struct es_role_info *info = c->is_time ? NULL : es_role_info(c->role);
    return c->factor &&
           (c->factor->dimension == d || (info && c->factor->dimension == info->other_dimension));
}

/* Channels are gauge, only that of the surroundings is absolute: a unit that says otherwise is a fault. */
static void check_state(struct es_csv_reader *r, const struct es_csv_known *c)
{
    bool absolute = c->role == ES_ROLE_AMBIENT_PRESSURE;
    if (c->state == ES_UNIT_PLAIN || (c->state == ES_UNIT_ABSOLUTE) == absolute)
        return;
    char found[160];
    snprintf(found, sizeof found, "column \"%.60s\" with unit \"%.40s\"", c->name, c->unit);
    es_csv_fault(r, r->header, c->at, found, absolute ? "an absolute pressure" : "a gauge pressure",
                 "Write the column anew, with the pressure of the surroundings added or taken off.");
}

static void check_unit(struct es_csv_reader *r, unsigned line, struct es_csv_known *c)
{
    enum es_dimension d = c->is_time ? ES_DIM_TIME : es_role_info(c->role)->dimension;
    if (!c->factor && c->unit[0])
        c->factor = es_unit_find_spelled(c->unit, strlen(c->unit), &c->state);
    if (c->clock && !c->factor)
        return;
    c->clock = false;
    if (!c->factor && !c->unit[0] && (d == ES_DIM_NUMBER || d == ES_DIM_RATIO))
        return; /* a plain number needs no unit */
    if (unit_fits(c, d)) {
        check_state(r, c);
        return;
    }
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

void es_csv_find_columns(struct es_csv_reader *r, const struct es_csv_header *header,
                         const struct es_csv_row *numbers)
{
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        *c = (struct es_csv_known){.role = ES_ROLE_NONE, .u = {.dof = INFINITY}};
        if (header->found) {
            take_name(c, &header->names.cells[i]);
            name_to_role(c);
        }
        if (header->has_units)
            take_unit_below(c, &header->units.cells[i]);
        c->clock = es_csv_like_clock(numbers->cells[i].text, numbers->cells[i].length);
    }
    r->header = header->found ? header->names.line : r->first_data;
    apply_options(r);
    check_columns(r, header->found);
}

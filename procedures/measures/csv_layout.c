/* Where the numbers of a text table begin, which line is its header, what parts its cells. */
#include <string.h>

#include "procedures/measures/csv_reader.h"

static bool is_remark(const char *line, size_t length)
{
    return length > 0 && (line[0] == '#' || line[0] == '%');
}

static bool is_blank_line(const char *line, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (line[i] != ' ' && line[i] != '\t')
            return false;
    return true;
}

void es_csv_drop_empty_end(struct es_csv_row *row, size_t wanted)
{
    if (row->count == wanted + 1 && row->cells[wanted].length == 0)
        row->count = wanted;
}

static void split_line(const char *line, size_t length, unsigned number, struct es_csv_row *row)
{
    es_csv_split(line, length, number, es_csv_separator(line, length), row);
}

/* Every cell is a unit, or empty: "s;mm", "[s];[mm]". */
static bool is_units(const struct es_csv_row *row)
{
    size_t units = 0;
    for (size_t i = 0; i < row->count; i++) {
        const char *text = row->cells[i].text;
        size_t length = row->cells[i].length;
        enum es_unit_state state;
        if (length > 1 && (*text == '[' || *text == '(')) {
            text++;
            length -= 2;
        }
        if (length == 0)
            continue;
        if (es_unit_find_spelled(text, length, &state) == NULL)
            return false;
        units++;
    }
    return units > 0;
}

/* The header of `count` columns above the numbers: the last line of so many names, and the one before it when
 * that one holds only units. Lines that begin as remarks count where no other line does. */
struct search {
    struct es_csv_row rows[2]; /* [0] the last fitting line, [1] the one before it */
    char separators[2];
    size_t found;
};

static void find_rows(const struct es_csv_reader *r, size_t count, bool remarks, struct search *s)
{
    struct es_csv_text t = es_csv_start(r->text, r->length);
    const char *line;
    size_t length;
    struct es_csv_row row;
    s->found = 0;
    while (es_csv_next_line(&t, &line, &length) && t.line < r->first_data) {
        bool remark = is_remark(line, length);
        if (remark != remarks)
            continue;
        if (remark) { /* the mark is no part of the first name */
            line++;
            length--;
        }
        split_line(line, length, t.line, &row);
        es_csv_drop_empty_end(&row, count);
        if (row.count != count || row.open_quote || count < 2)
            continue;
        s->rows[1] = s->rows[0];
        s->separators[1] = s->separators[0];
        s->rows[0] = row;
        s->separators[0] = es_csv_separator(line, length);
        s->found++;
    }
}

static bool find_header(struct es_csv_reader *r, size_t count, struct es_csv_header *header)
{
    struct search s = {.found = 0};
    find_rows(r, count, false, &s);
    if (s.found == 0)
        find_rows(r, count, true, &s);
    if (s.found == 0)
        return false;
    header->has_units =
        s.found > 1 && s.separators[0] == s.separators[1] && is_units(&s.rows[0]) && !is_units(&s.rows[1]);
    header->names = s.rows[header->has_units ? 1 : 0];
    header->units = s.rows[0];
    header->found = true;
    r->report.separator = s.separators[0];
    return true;
}

/* The first line that reads like a row of numbers; its number and split, or false after a fault. */
static bool find_first_numbers(struct es_csv_reader *r, const char **line, size_t *length,
                               struct es_csv_row *row)
{
    struct es_csv_text t = es_csv_start(r->text, r->length);
    unsigned last = 0;
    while (es_csv_next_line(&t, line, length)) {
        if (is_blank_line(*line, *length))
            continue;
        split_line(*line, *length, t.line, row);
        if (es_csv_is_numbers(row)) {
            r->first_data = t.line;
            return true;
        }
        last = t.line;
    }
    es_csv_fault(r, last, 0,
                 r->length == 0 ? "an empty file"
                 : last         ? "text, and no row of numbers"
                                : "no row of numbers",
                 "a header such as \"time [s];travel [mm]\" and rows with a time and at least one value", "");
    return false;
}

bool es_csv_find_layout(struct es_csv_reader *r, struct es_csv_header *header, struct es_csv_row *numbers)
{
    const char *line;
    size_t length;
    header->found = header->has_units = false;
    if (!find_first_numbers(r, &line, &length, numbers))
        return false;
    r->report.separator = es_csv_separator(line, length);
    if (!find_header(r, numbers->count, header) && numbers->cells[numbers->count - 1].length == 0)
        (void)find_header(r, numbers->count - 1,
                          header); /* rows that end in a separator, the header does not */
    es_csv_split(line, length, r->first_data, r->report.separator, numbers);
    if (header->found)
        es_csv_drop_empty_end(numbers, header->names.count);
    r->column_count = numbers->count;
    header->found = header->found && header->names.count == numbers->count;
    header->has_units = header->has_units && header->found;
    if (numbers->too_many)
        es_csv_fault(r, r->first_data, 0, "more than 64 columns", "at most 64",
                     "Leave out what is not needed.");
    return !numbers->too_many;
}

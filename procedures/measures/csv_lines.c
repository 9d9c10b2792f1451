#include "procedures/measures/csv_lines.h"

#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

struct es_csv_text es_csv_start(const char *text, size_t length)
{
    struct es_csv_text t = {text, length, 0, 0};
    if (length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
        t.at = 3;
    return t;
}

bool es_csv_next_line(struct es_csv_text *t, const char **line, size_t *length)
{
    if (t->at >= t->length)
        return false;
    const char *start = t->text + t->at;
    size_t left = t->length - t->at, n = 0;
    while (n < left && start[n] != '\n' && start[n] != '\r')
        n++;
    *line = start;
    *length = n;
    t->line++;
    if (n < left && start[n] == '\r' && n + 1 < left && start[n + 1] == '\n')
        n++;
    t->at += n < left ? n + 1 : n;
    return true;
}

/* Characters, not bytes: continuation bytes of UTF-8 are not counted. */
static unsigned column_of(const char *line, size_t at)
{
    unsigned column = 1;
    for (size_t i = 0; i < at; i++)
        column += ((unsigned char)line[i] & 0xc0) != 0x80;
    return column;
}

/* Bytes of a no-break space at s, of `left`. */
static size_t no_break(const char *s, size_t left)
{
    return left >= 2 && s[0] == '\xc2' && s[1] == '\xa0' ? 2 : 0;
}

static void add_cell(struct es_csv_row *row, const char *line, size_t from, size_t to)
{
    while (from < to && (is_blank(line[from]) || no_break(line + from, to - from)))
        from += is_blank(line[from]) ? 1 : 2;
    while (to > from && (is_blank(line[to - 1]) || (to - from >= 2 && no_break(line + to - 2, 2))))
        to -= is_blank(line[to - 1]) ? 1 : 2;
    struct es_csv_cell cell = {line + from, to - from, column_of(line, from)};
    if (cell.length >= 2 && cell.text[0] == '"' && cell.text[cell.length - 1] == '"') {
        cell.text++;
        cell.length -= 2;
    }
    if (row->count == ES_CSV_CELLS)
        row->too_many = true;
    else
        row->cells[row->count++] = cell;
}

void es_csv_split(const char *line, size_t length, unsigned number, char separator, struct es_csv_row *row)
{
    row->line = number;
    row->count = 0;
    row->too_many = row->open_quote = false;
    size_t from = 0;
    bool quoted = false;
    if (separator == ' ')
        while (from < length && is_blank(line[from]))
            from++;
    for (size_t i = from; i < length; i++) {
        if (line[i] == '"')
            quoted = !quoted;
        bool ends = !quoted && (separator == ' ' ? is_blank(line[i]) : line[i] == separator);
        if (!ends)
            continue;
        add_cell(row, line, from, i);
        while (separator == ' ' && i + 1 < length && is_blank(line[i + 1]))
            i++;
        from = i + 1;
    }
    row->open_quote = quoted;
    if (separator != ' ' || from < length)
        add_cell(row, line, from, length);
}

char es_csv_separator(const char *line, size_t length)
{
    bool tab = memchr(line, '\t', length), semicolon = memchr(line, ';', length);
    bool comma = memchr(line, ',', length), between_digits = true, blank_parted = false;
    if (semicolon)
        return ';';
    if (tab)
        return '\t';
    for (size_t i = 0; i < length; i++) {
        if (line[i] == ',')
            between_digits =
                between_digits && i > 0 && i + 1 < length && is_digit(line[i - 1]) && is_digit(line[i + 1]);
        if (i > 0 && is_blank(line[i]) && is_digit(line[i - 1])) {
            size_t k = i;
            while (k < length && is_blank(line[k]))
                k++;
            blank_parted =
                blank_parted || (k < length && (is_digit(line[k]) || line[k] == '-' || line[k] == '+'));
        }
    }
    return comma && !(between_digits && blank_parted) ? ',' : ' ';
}

bool es_csv_like_number(const struct es_csv_cell *cell)
{
    size_t i = 0;
    if (i < cell->length && (cell->text[i] == '+' || cell->text[i] == '-'))
        i++;
    else if (cell->length >= 3 && memcmp(cell->text, "\xe2\x88\x92", 3) == 0) /* minus sign */
        i = 3;
    if (i < cell->length && (cell->text[i] == '.' || cell->text[i] == ','))
        i++;
    return i < cell->length && is_digit(cell->text[i]);
}

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "rig/console/display.h"
#include "rig/console/table.h"

#define COLUMNS_MAX  12
#define CELL_MAX     1024
#define BLOCK_INDENT 4
#define HIDDEN       SIZE_MAX /* width of a column that is not shown */

enum row_kind { ROW_CELLS, ROW_HEADING, ROW_NOTE };

struct row {
    enum row_kind kind; /* heading and note: cells[0] holds the text */
    size_t indent, hang;
    enum es_emphasis emphasis;
    char *cells[COLUMNS_MAX];
};

struct es_table {
    const struct es_column *columns;
    size_t column_count;
    struct row *rows;
    size_t count, capacity;
    bool out_of_memory;
};

struct es_table *es_table_new(const struct es_column *columns, size_t count)
{
    struct es_table *t = calloc(1, sizeof *t);
    if (t == NULL || count > COLUMNS_MAX) {
        free(t);
        return NULL;
    }
    t->columns = columns;
    t->column_count = count;
    return t;
}

void es_table_free(struct es_table *t)
{
    if (t == NULL)
        return;
    for (size_t r = 0; r < t->count; r++)
        for (size_t c = 0; c < t->column_count; c++)
            free(t->rows[r].cells[c]);
    free(t->rows);
    free(t);
}

size_t es_table_rows(const struct es_table *t)
{
    return t->count;
}

static struct row *new_row(struct es_table *t)
{
    if (t->count == t->capacity) {
        size_t capacity = t->capacity > 0 ? 2 * t->capacity : 16;
        struct row *rows = realloc(t->rows, capacity * sizeof *rows);
        if (rows == NULL)
            return NULL;
        t->rows = rows;
        t->capacity = capacity;
    }
    memset(&t->rows[t->count], 0, sizeof t->rows[0]);
    return &t->rows[t->count];
}

static void set_cell(struct es_table *t, struct row *row, size_t c, const char *text)
{
    struct es_text clean = {0};
    size_t length = text != NULL ? strnlen(text, CELL_MAX / 4) : 0;
    es_text_visible(&clean, text, length);
    if (es_text_take(&clean, &row->cells[c], NULL) != ES_OK)
        t->out_of_memory = true;
    es_text_free(&clean);
}

void es_table_row(struct es_table *t, enum es_emphasis emphasis, const char *const *cells)
{
    if (t == NULL)
        return;
    struct row *row = new_row(t);
    if (row == NULL) {
        t->out_of_memory = true;
        return;
    }
    row->emphasis = emphasis;
    for (size_t c = 0; c < t->column_count; c++)
        set_cell(t, row, c, cells[c]);
    t->count++;
}

static void add_line(struct es_table *t, enum row_kind kind, size_t indent, size_t hang, const char *text)
{
    struct row *row = t != NULL ? new_row(t) : NULL;
    if (row == NULL) {
        if (t != NULL)
            t->out_of_memory = true;
        return;
    }
    row->kind = kind;
    row->indent = indent;
    row->hang = hang;
    set_cell(t, row, 0, text);
    t->count++;
}

void es_table_heading(struct es_table *t, const char *text)
{
    add_line(t, ROW_HEADING, 0, 0, text);
}

void es_table_note(struct es_table *t, size_t indent, const char *text)
{
    add_line(t, ROW_NOTE, indent, 0, text);
}

void es_table_item(struct es_table *t, size_t indent, const char *text)
{
    add_line(t, ROW_NOTE, indent, 2, text);
}

static const char *cell(const struct row *row, size_t c)
{
    return row->cells[c] != NULL ? row->cells[c] : "";
}

static size_t gap(const struct es_table *t, size_t c)
{
    if (c == 0)
        return 0;
    return t->columns[c].gap > 0 ? t->columns[c].gap : 2;
}

/* Widths that the cells ask for; columns that are hidden stay so. Returns their sum with the gaps. */
static size_t ask_widths(const struct es_table *t, size_t *widths)
{
    size_t sum = 0;
    for (size_t c = 0; c < t->column_count; c++) {
        if (widths[c] == HIDDEN)
            continue;
        widths[c] = es_display_width(t->columns[c].title);
        for (size_t r = 0; r < t->count; r++) {
            size_t w = t->rows[r].kind == ROW_CELLS ? es_display_width(cell(&t->rows[r], c)) : 0;
            if (w > widths[c])
                widths[c] = w;
        }
        sum += widths[c] + gap(t, c);
    }
    return sum;
}

/* Narrows the widest of the columns that may wrap until all fit; false when not even the least widths do. */
static bool narrow(const struct es_table *t, size_t sum, size_t width, size_t *widths)
{
    for (; sum > width; sum--) {
        size_t widest = t->column_count;
        for (size_t c = 0; c < t->column_count; c++) {
            const struct es_column *column = &t->columns[c];
            size_t least = column->least > 0 ? column->least : 8;
            if (column->wraps && widths[c] != HIDDEN && widths[c] > least &&
                (widest == t->column_count || widths[c] > widths[widest]))
                widest = c;
        }
        if (widest == t->column_count)
            return false;
        widths[widest]--;
    }
    return true;
}

/* Hides the column that can be done without first; false when there is none left. */
static bool hide_one(const struct es_table *t, size_t *widths)
{
    size_t first = t->column_count;
    for (size_t c = 0; c < t->column_count; c++)
        if (t->columns[c].spare > 0 && widths[c] != HIDDEN &&
            (first == t->column_count || t->columns[c].spare < t->columns[first].spare))
            first = c;
    if (first == t->column_count)
        return false;
    widths[first] = HIDDEN;
    return true;
}

/* Widths that fit into `width`, without spare columns if need be; false when nothing fits. */
static bool fit(const struct es_table *t, size_t width, size_t *widths)
{
    memset(widths, 0, COLUMNS_MAX * sizeof *widths);
    do {
        if (narrow(t, ask_widths(t, widths), width, widths))
            return true;
    } while (hide_one(t, widths));
    return false;
}

static void blanks(size_t n, FILE *to)
{
    fprintf(to, "%*s", (int)n, "");
}

static void attribute(enum es_emphasis emphasis, bool colour, bool on, FILE *to)
{
    if (!colour || emphasis == ES_PLAIN)
        return;
    fputs(!on ? "\033[0m" : emphasis == ES_STRONG ? "\033[1m" : "\033[2m", to);
}

/* Prints the next line of every cell of a row; false when all were already empty. Blanks are held back so
 * that no line ends in them. */
static bool print_line(const struct es_table *t, const size_t *widths, const char **rest, FILE *to)
{
    bool any = false;
    size_t held = 0;
    for (size_t c = 0; c < t->column_count; c++) {
        size_t next = 0, bytes = 0, used = 0;
        if (widths[c] == HIDDEN) {
            rest[c] = "";
            continue;
        }
        if (*rest[c] != '\0') {
            any = true;
            bytes = es_display_line(rest[c], widths[c], &next);
            char line[CELL_MAX];
            snprintf(line, sizeof line, "%.*s", (int)bytes, rest[c]);
            used = es_display_width(line);
        }
        size_t pad = widths[c] > used ? widths[c] - used : 0;
        held += gap(t, c);
        if (t->columns[c].align == ES_ALIGN_RIGHT)
            held += pad;
        if (bytes > 0) {
            blanks(held, to);
            held = 0;
            fprintf(to, "%.*s", (int)bytes, rest[c]);
        }
        if (t->columns[c].align == ES_ALIGN_LEFT)
            held += pad;
        rest[c] += next;
    }
    return any;
}

static bool any_left(const struct es_table *t, const char *const *rest)
{
    for (size_t c = 0; c < t->column_count; c++)
        if (*rest[c] != '\0')
            return true;
    return false;
}

static void print_row(const struct es_table *t, const size_t *widths, const char *const *cells,
                      enum es_emphasis emphasis, size_t indent, bool colour, FILE *to)
{
    const char *rest[COLUMNS_MAX];
    memcpy(rest, cells, t->column_count * sizeof rest[0]);
    do {
        blanks(indent, to);
        attribute(emphasis, colour, true, to);
        print_line(t, widths, rest, to);
        attribute(emphasis, colour, false, to);
        fputc('\n', to);
    } while (any_left(t, rest));
}

/* Heading or note. */
static void print_across(const struct row *row, bool first, size_t width, size_t indent, bool colour,
                         FILE *to)
{
    enum es_emphasis emphasis = row->kind == ROW_HEADING ? ES_STRONG : ES_PLAIN;
    if (row->kind == ROW_HEADING && !first)
        fputc('\n', to);
    blanks(indent + row->indent, to);
    attribute(emphasis, colour, true, to);
    es_display_wrap_after(cell(row, 0), indent + row->indent, indent + row->indent + row->hang, width, to);
    attribute(emphasis, colour, false, to);
}

static void print_fitted(const struct es_table *t, const size_t *widths, size_t width, size_t indent,
                         bool colour, FILE *to)
{
    const char *cells[COLUMNS_MAX];
    bool titled = false;
    for (size_t c = 0; c < t->column_count; c++) {
        cells[c] = t->columns[c].title;
        titled = titled || cells[c][0] != '\0';
    }
    if (titled)
        print_row(t, widths, cells, ES_FAINT, indent, colour, to);
    for (size_t r = 0; r < t->count; r++) {
        if (t->rows[r].kind != ROW_CELLS) {
            print_across(&t->rows[r], r == 0 && !titled, width, indent, colour, to);
            continue;
        }
        for (size_t c = 0; c < t->column_count; c++)
            cells[c] = cell(&t->rows[r], c);
        print_row(t, widths, cells, t->rows[r].emphasis, indent, colour, to);
    }
}

/* A cell as it stands in a block: its title goes with it where the bare value would not speak for itself. */
static void block_cell(const struct es_table *t, const struct row *row, size_t c, char *out, size_t size)
{
    snprintf(out, size, "%s%s%s", t->columns[c].named ? t->columns[c].title : "",
             t->columns[c].named ? " " : "", cell(row, c));
}

/* Columns of a cell in a block and of the cells that stay with it: a unit with its number. */
static size_t block_width(const struct es_table *t, const struct row *row, size_t c)
{
    char text[CELL_MAX + 64];
    block_cell(t, row, c, text, sizeof text);
    size_t wide = es_display_width(text);
    for (size_t n = c + 1; n < t->column_count && gap(t, n) == 1; n++) {
        block_cell(t, row, n, text, sizeof text);
        wide += cell(row, n)[0] != '\0' ? 1 + es_display_width(text) : 0;
    }
    return wide;
}

/* Too narrow for columns: each row as a small block, its cells one after the other, line by line. */
static void print_block(const struct es_table *t, const struct row *row, size_t width, size_t indent,
                        FILE *to)
{
    size_t used = 0; /* of the current line, the indent included */
    bool first_line = true;
    for (size_t c = 0; c < t->column_count; c++) {
        char text[CELL_MAX + 64];
        if (cell(row, c)[0] == '\0')
            continue;
        block_cell(t, row, c, text, sizeof text);
        bool stays = used > 0 && gap(t, c) == 1;
        if (used > 0 && !stays && used + gap(t, c) + block_width(t, row, c) > width) {
            fputc('\n', to);
            used = 0;
            first_line = false;
        }
        size_t before = used > 0 ? gap(t, c) : indent + (first_line ? 0 : BLOCK_INDENT);
        blanks(before, to);
        used += before;
        if (used + es_display_width(text) > width) { /* longer than a line: wrapped, and nothing after it */
            es_display_wrap_after(text, used, indent + BLOCK_INDENT, width, to);
            used = 0;
            first_line = false;
            continue;
        }
        fputs(text, to);
        used += es_display_width(text);
    }
    if (used > 0)
        fputc('\n', to);
}

static void print_stacked(const struct es_table *t, size_t width, size_t indent, bool colour, FILE *to)
{
    for (size_t r = 0; r < t->count; r++) {
        const struct row *row = &t->rows[r];
        if (row->kind != ROW_CELLS) {
            print_across(row, r == 0, width, indent, colour, to);
            continue;
        }
        attribute(row->emphasis, colour, true, to);
        print_block(t, row, width, indent, to);
        attribute(row->emphasis, colour, false, to);
    }
}

enum es_status es_table_print(const struct es_table *t, size_t width, size_t indent, bool colour, FILE *to,
                              struct es_error *err)
{
    if (t == NULL || t->out_of_memory)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the table");
    size_t widths[COLUMNS_MAX];
    if (width > indent && fit(t, width - indent, widths))
        print_fitted(t, widths, width, indent, colour, to);
    else
        print_stacked(t, width, indent, colour, to);
    return ES_OK;
}

void es_csv_row(FILE *to, const char *const *cells, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const char *text = cells[i] != NULL ? cells[i] : "";
        if (i > 0)
            fputc(',', to);
        if (strpbrk(text, ",\"\r\n") == NULL) {
            fputs(text, to);
            continue;
        }
        fputc('"', to);
        for (; *text != '\0'; text++) {
            if (*text == '"')
                fputc('"', to);
            fputc(*text, to);
        }
        fputc('"', to);
    }
    fputs("\r\n", to);
}

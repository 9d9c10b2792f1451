/* Lines and cells of a text table in memory. Nothing is copied: cells point into the text. Pure. */
#ifndef ES_MEASURES_CSV_LINES_H
#define ES_MEASURES_CSV_LINES_H

#include <stdbool.h>
#include <stddef.h>

#define ES_CSV_CELLS 64

struct es_csv_text {
    const char *text;
    size_t length, at; /* at: start of the next line */
    unsigned line;     /* of the line last given, from 1 */
};

struct es_csv_cell {
    const char *text; /* without surrounding blanks and quotes */
    size_t length;
    unsigned column; /* from 1, in characters */
};

struct es_csv_row {
    unsigned line;
    size_t count;
    struct es_csv_cell cells[ES_CSV_CELLS];
    bool too_many;   /* more cells than there is room for */
    bool open_quote; /* a quote that the line does not close */
};

/* Starts after a byte order mark. */
struct es_csv_text es_csv_start(const char *text, size_t length);

/* Next line without its end (LF, CR LF or CR); false at the end of the text. */
bool es_csv_next_line(struct es_csv_text *t, const char **line, size_t *length);

/* Splits one line. Separator ' ' stands for any run of blanks. */
void es_csv_split(const char *line, size_t length, unsigned number, char separator, struct es_csv_row *row);

/* The separator by what most helpfully splits this line: tab, ';', then ',' unless commas stand between
 * digits in cells parted by blanks, then blanks. */
char es_csv_separator(const char *line, size_t length);

/* Does the cell begin like a number? */
bool es_csv_like_number(const struct es_csv_cell *cell);

#endif

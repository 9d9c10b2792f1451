/* Tables for people (fitted to a width, wrapped, or stacked when the terminal is too narrow) and rows for
 * programs (RFC 4180 CSV). A table owns copies of its cells; cells are cleaned of control characters.
 * One thread at a time. Errors are sticky: an allocation that failed shows in es_table_print. */
#ifndef ES_CONSOLE_TABLE_H
#define ES_CONSOLE_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "rig/base/error.h"

enum es_align { ES_ALIGN_LEFT, ES_ALIGN_RIGHT };

struct es_column {
    const char *title;
    enum es_align align;
    bool wraps;   /* may be broken over lines when the terminal is narrow */
    size_t least; /* columns; not made narrower than this (wrapping columns) */
    size_t gap;   /* blanks before it; 0: two */
    int spare;    /* above 0: left out where there is no room for it, 1 first */
    bool named;   /* where there is no room for columns: goes with its title */
};

enum es_emphasis { ES_PLAIN, ES_STRONG, ES_FAINT };

struct es_table;

/* `columns` must outlive the table. NULL only when memory is short. */
struct es_table *es_table_new(const struct es_column *columns, size_t count);
void es_table_free(struct es_table *table); /* NULL allowed */

/* Adds a row; cells[i] NULL or "" is an empty cell. Sticky on failure, NULL table allowed. */
void es_table_row(struct es_table *table, enum es_emphasis emphasis, const char *const *cells);

/* A line over all columns: a heading with a blank line above it (unless nothing stands above), or a note
 * wrapped and indented below a row.
 */
void es_table_heading(struct es_table *table, const char *text);
void es_table_note(struct es_table *table, size_t indent, const char *text);
/* The same with a mark at its beginning: further lines start two columns further. */
void es_table_item(struct es_table *t, size_t indent, const char *text);

size_t es_table_rows(const struct es_table *table);

/* Prints with `width` columns, each line indented. `colour`: emphasis by terminal attributes too; the words
 * must carry it alone as well. ES_NO_MEMORY when a row was lost. */
enum es_status es_table_print(const struct es_table *table, size_t width, size_t indent, bool colour,
                              FILE *to, struct es_error *err) ES_MUST_CHECK;

/* One CSV row (RFC 4180: CRLF, quotes doubled). A text cell that a spreadsheet would take for a formula is
 * not altered: programs read this. */
void es_csv_row(FILE *to, const char *const *cells, size_t count);

#endif

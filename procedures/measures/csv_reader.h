/* The parts of the reader of text tables (csv_trace.h) and what they share. Inside csv_*.c only.
 * csv_layout.c: where the numbers begin and what heads them; csv_columns.c: what each column is; csv_marks.c:
 * decimal point or comma; csv_values.c: rows to samples; csv_notes.h. */
#ifndef ES_MEASURES_CSV_READER_H
#define ES_MEASURES_CSV_READER_H

#include "procedures/measures/csv_clock.h"
#include "procedures/measures/csv_lines.h"
#include "procedures/measures/csv_number.h"
#include "procedures/measures/csv_trace.h"
#include "rig/base/unit_spelling.h"

/* What is known of one column of the text. */
struct es_csv_known {
    char name[64]; /* from the header, without the unit */
    char unit[32]; /* as written in the header */
    unsigned at;   /* where, in the header */
    bool is_time;
    enum es_role role; /* ES_ROLE_NONE: left out */
    const struct es_unit *factor;
    enum es_unit_state state; /* of a pressure, by its unit */
    bool clock;               /* dates or times of day, csv_clock.h, in place of numbers */
    struct es_channel_uncertainty u;
    struct es_csv_style style;
    bool sure_point, many_points; /* evidence within the column */
    size_t series;                /* index in the trace */
};

/* The header, as far as there is one. */
struct es_csv_header {
    struct es_csv_row names, units; /* units: a line of its own below the names, when has_units */
    bool found, has_units;
};

#define ES_CSV_TIME_ADVICE                                                                                   \
    "Times are numbers in one unit; or, in a column without a unit, ISO 8601: 2025-03-01T10:00:00.25 or "    \
    "10:00:00.25."
#define ES_CSV_ABSENT 0xff /* in place of a quality, while reading: not sampled at this time */

struct es_csv_reader {
    const char *name, *text;
    size_t length;
    const struct es_csv_options *options;
    struct es_findings *findings;
    struct es_csv_report report;
    struct es_csv_known columns[ES_CSV_CELLS];
    size_t column_count, time;
    unsigned first_data; /* line */
    unsigned header;     /* line; without one that of the first numbers */
    size_t rows;         /* of numbers */
    double *times;
    struct es_csv_clock first; /* of a column of dates or times of day: the row that is time 0 */
    unsigned *lines;           /* of the rows */
    bool noted;                /* an exported recording, csv_notes.h */
    struct es_trace *trace;
    size_t faults;
};

/* A fault of the text; line 0: of the whole. At most 100 are told. */
void es_csv_fault(struct es_csv_reader *r, unsigned line, unsigned column, const char *found,
                  const char *expected, const char *advice);
void es_csv_fault_cell(struct es_csv_reader *r, unsigned line, const struct es_csv_cell *cell,
                       const char *expected, const char *advice);

/* Calls `take` for each row of numbers; text rows are counted when `counting`. */
void es_csv_each_row(struct es_csv_reader *r, bool counting,
                     void (*take)(struct es_csv_reader *, const struct es_csv_row *));

/* A row of numbers, while columns are not known: its first cell, or the one after a blank first cell, begins
 * like a number. */
bool es_csv_is_numbers(const struct es_csv_row *row);
/* Takes off one empty cell after `wanted`: a separator at the end of the line. */
void es_csv_drop_empty_end(struct es_csv_row *row, size_t wanted);
/* The column is time or has a role. */
bool es_csv_wanted(const struct es_csv_known *c);

/* Separator, header and first row of numbers; false after a fault. */
bool es_csv_find_layout(struct es_csv_reader *r, struct es_csv_header *header, struct es_csv_row *numbers);
void es_csv_find_columns(struct es_csv_reader *r, const struct es_csv_header *header,
                         const struct es_csv_row *numbers);
/* And counts the rows. */
void es_csv_find_marks(struct es_csv_reader *r);

/* Room for r->rows rows; false when out of memory. Then each row, then rows of one time made one. */
bool es_csv_make_trace(struct es_csv_reader *r);
void es_csv_take_row(struct es_csv_reader *r, const struct es_csv_row *row);
void es_csv_merge_rows(struct es_csv_reader *r);

#endif

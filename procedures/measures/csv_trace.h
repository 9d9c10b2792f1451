/* Text of a recording made elsewhere -> trace. No I/O: the caller reads the file and hands over its bytes.
 *
 * Format: rows of numbers, one header row with a name and a unit per column: "time [s];travel [mm]",
 * "t/s,travel/mm", "Time (sec);Travel, mm", or the units in a row of their own below the names. Read: UTF-8
 * with or without a byte order mark, UTF-16 with one; LF, CR LF or CR; separator tab, ';', ',' or blanks
 * (found from the header, or from the first row of numbers where there is no header), one at the end of a
 * line too; decimal point or decimal comma; thousands marks where only one reading is possible; units as
 * unit_spelling.h reads them; quoted cells; "NaN", "-" or "n/a" = missing value; an empty cell likewise,
 * unless the row has values of other columns: then this one was not sampled at that time; rows of text
 * between rows of numbers, and lines that begin with "#", are left out and counted. A row with a number in a
 * column that is wanted is no text. Times are numbers, or dates and times of day (csv_clock.h) in a column
 * without a unit. Everything else is a fault with line and column: a number that could be read in two ways,
 * an unknown unit, a wrong number of cells, time running backwards, a named column that is not there or there
 * twice, two columns of one role, what instruments answer in place of a number. Never a silent guess. Columns
 * that are neither asked for nor named like a role are left out.
 *
 * Time: rows need not be evenly spaced. Rows that repeat a time stamp are taken together (mean) when they
 * agree or fill each other's blanks; with different values they are a fault unless `merge_repeats`. Gaps
 * longer than 3.5 times the median interval are counted in the report; measures see them as missing samples.
 * An exported recording (csv_notes.h) keeps its own times and writes: it reads back bit for bit. */
#ifndef ES_MEASURES_CSV_TRACE_H
#define ES_MEASURES_CSV_TRACE_H

#include "procedures/measures/trace.h"
#include "rig/base/error.h"
#include "rig/base/findings.h"

/* Largest text accepted, bytes. */
#define ES_CSV_MAX         (256u << 20)
#define ES_CSV_MAX_COLUMNS 64

/* What a column is. `column` is its name in the header (without the unit, case does not count) or its
 * number from 1 ("2"). */
struct es_csv_column {
    const char *column;
    bool is_time;
    enum es_role role;          /* when not is_time; ES_ROLE_NONE: leave the column out */
    const struct es_unit *unit; /* overrides the header's unit; NULL: the header must give one */
    struct es_channel_uncertainty u;
};

struct es_csv_options {
    const struct es_csv_column *columns; /* may be empty: columns named "time"/"t" or like a role are taken */
    size_t column_count;
    char decimal;         /* '.', ',' or 0: found from the text */
    bool merge_repeats;   /* rows with the same time: mean of their values instead of a fault */
    double command_least; /* columns of out roles (demands): a change larger than this, coherent, becomes a
                             command half-way between the two rows, uncertain by half their distance */
};

/* What the reader did, for the person who asks. */
struct es_csv_report {
    char separator, decimal, thousands; /* 0: none seen */
    size_t rows, text_rows, missing, merged, gaps;
};

/* Reads `length` bytes at `text`; `name` stands for the file in findings. All faults (at most 100) go to
 * `findings` and ES_BAD_INPUT is returned. On ES_OK *out is the caller's (es_trace_free); time starts at 0
 * with the first row, of an exported recording with its beginning. report may be NULL. */
enum es_status es_csv_trace_read(const char *name, const char *text, size_t length,
                                 const struct es_csv_options *options, struct es_findings *findings,
                                 struct es_trace **out, struct es_csv_report *report,
                                 struct es_error *err) ES_MUST_CHECK;

#endif

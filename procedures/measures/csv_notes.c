#include "procedures/measures/csv_notes.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIELDS 5 /* of a write */

static bool begins(const char *line, size_t length, const char *with)
{
    return length >= strlen(with) && memcmp(line, with, strlen(with)) == 0;
}

bool es_csv_is_noted(const char *text, size_t length)
{
    return begins(text, length, ES_CSV_NOTE_RECORDING);
}

/* A number or, where `blank` may stand, "-" for none. */
static bool number_of(const struct es_csv_cell *cell, bool blank, double *out)
{
    static const struct es_csv_style style = {.decimal = '.'};
    long double v = 0;
    if (blank && cell->length == 1 && cell->text[0] == '-') {
        *out = NAN;
        return true;
    }
    bool good = es_csv_number_read(cell->text, cell->length, &style, &v) == ES_CSV_NUMBER;
    *out = (double)v;
    return good;
}

static bool add_write(struct es_csv_reader *r, const struct es_csv_row *row)
{
    struct es_trace *t = r->trace;
    struct es_command c = {.role = ES_ROLE_NONE};
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)(row->cells[1].length > 63 ? 63 : row->cells[1].length),
             row->cells[1].text);
    c.role = es_role_find(name);
    if (c.role == ES_ROLE_NONE || !number_of(&row->cells[2], false, &c.t) ||
        !number_of(&row->cells[3], false, &c.u_t) || !number_of(&row->cells[4], true, &c.from) ||
        !number_of(&row->cells[5], false, &c.to)) {
        es_csv_fault(r, row->line, 1, "a line \"# write\" that is none",
                     "\"# write; role; time; its uncertainty; from; to\"", "");
        return true;
    }
    struct es_command *all = realloc(t->commands, (t->command_count + 1) * sizeof *all);
    if (!all)
        return false;
    t->commands = all;
    t->commands[t->command_count++] = c;
    return true;
}

bool es_csv_take_notes(struct es_csv_reader *r)
{
    struct es_csv_text t = es_csv_start(r->text, r->length);
    const char *line;
    size_t length;
    struct es_csv_row row;
    while (es_csv_next_line(&t, &line, &length) && t.line < r->first_data) {
        bool write = begins(line, length, ES_CSV_NOTE_WRITE);
        if (!write && !begins(line, length, ES_CSV_NOTE_RECORDING))
            continue;
        es_csv_split(line, length, t.line, ';', &row);
        if (write && row.count == FIELDS + 1 && !add_write(r, &row))
            return false;
        if (write && row.count != FIELDS + 1)
            es_csv_fault(r, t.line, 1, "a line \"# write\" that is none",
                         "\"# write; role; time; its uncertainty; from; to\"", "");
        if (!write && (row.count != 2 || !number_of(&row.cells[1], false, &r->trace->duration)))
            es_csv_fault(r, t.line, 1, "a line \"# recording\" that is none",
                         "\"# recording; duration in s\"", "");
    }
    return true;
}

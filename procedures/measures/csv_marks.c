#include "procedures/measures/csv_reader.h"

/* Also counts the rows: one pass less. */
static void add_marks(struct es_csv_reader *r, const struct es_csv_row *row)
{
    r->rows++;
    for (size_t i = 0; i < row->count && i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        struct es_csv_marks m;
        if (!es_csv_wanted(c))
            continue;
        if (r->report.decimal && (c->sure_point || r->report.decimal == ',') &&
            es_csv_is_plain(row->cells[i].text, row->cells[i].length, r->report.decimal))
            continue;
        es_csv_marks_of(row->cells[i].text, row->cells[i].length, &m);
        c->many_points |= m.many_points;
        if (m.decimal_point) {
            c->sure_point = true;
            if (r->report.decimal == ',')
                es_csv_fault_cell(r, row->line, &row->cells[i], "a decimal comma, as elsewhere in this file",
                                  "Point and comma are both used as decimal mark.");
            else
                r->report.decimal = '.';
        }
        if (m.decimal_comma) {
            if (r->report.decimal == '.')
                es_csv_fault_cell(r, row->line, &row->cells[i], "a decimal point, as elsewhere in this file",
                                  "Point and comma are both used as decimal mark.");
            else
                r->report.decimal = ',';
        }
    }
}

void es_csv_find_marks(struct es_csv_reader *r)
{
    r->report.decimal = r->noted ? '.' : r->options->decimal;
    es_csv_each_row(r, false, add_marks);
    for (size_t i = 0; i < r->column_count; i++) {
        struct es_csv_known *c = &r->columns[i];
        c->style.decimal = r->report.decimal;
        c->style.grouped_by_decimal =
            r->report.decimal == '.' && c->many_points && (c->sure_point || r->options->decimal == '.');
        if (c->many_points)
            r->report.thousands = '.';
    }
}

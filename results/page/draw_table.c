/* All lines of a certificate with many: two columns of narrow rows, by procedure. What is as usual is told
 * once, below: the coverage factor that most lines have, and that a risk is less than a tenth of a percent.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/table.h"

#define LINE 2.9 /* mm from one line of a row to the next */

static const struct es_content_line *line_at(const struct es_sheet *s, size_t i)
{
    return &s->content->c.lines[i];
}

static double put_head(struct es_sheet *s, double x, double y, double width)
{
    const char *const heads[ES_TABLE_COLUMNS] = {"Measurand", "In limits", "Value",
                                                 s->content->k_differs ? "± U, k" : "± U", "Limits"};
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    for (int i = 0; i < ES_TABLE_COLUMNS; i++)
        if (!s->content->c.record || (i != ES_TABLE_BAR && i != ES_TABLE_LIMITS))
            es_line_cell(s, &s->columns[i], type, x, y, heads[i]);
    es_canvas_line(s->canvas, ES_INK, 0.25, x, y + 4.1 * s->scale, x + width, y + 4.1 * s->scale);
    return 4.3 * s->scale;
}

static double put_heading(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_SEMIBOLD, ES_INK);
    struct es_text text = {0};
    type.lines = 1;
    es_text_printf(&text, "%s%s", block->text, block->again ? ", continued" : "");
    double height = 0.9 * s->scale;
    height += es_canvas_text(s->canvas, &type, x, y + height, width, es_page_words(&text)) + 0.1;
    es_text_free(&text);
    es_canvas_line(s->canvas, ES_INK_HAIR, 0.12, x, y + height, x + width, y + height);
    return height + 0.2 * s->scale;
}

/* k (or MC) behind U, which is `used` mm wide. */
static void put_coverage(struct es_sheet *s, const char *coverage, double used, double x, double y)
{
    struct es_type small = es_sheet_type(s, ES_TABLE_SMALL, ES_REGULAR, ES_INK_SECOND);
    struct es_column column = s->columns[ES_TABLE_SPREAD];
    column.x += used;
    es_line_cell(s, &column, small, x, y, coverage);
}

/* "± U unit", and what U's coverage rests on where that is not the usual; where `room` is too little for both
 * that goes to the next line, else the unit. Gives the lines taken. */
static int put_spread(struct es_sheet *s, const struct es_table_texts *texts, double room, double x, double y)
{
    struct es_type plain = es_sheet_type(s, ES_TABLE_SIZE, ES_REGULAR, ES_INK);
    struct es_column column = s->columns[ES_TABLE_SPREAD];
    const struct es_line_text *v = &texts->value;
    double coverage = es_table_coverage_width(s, texts), below = y + LINE * s->scale;
    char alone[sizeof texts->coverage + 4]; /* without the table's head in sight it says what it is */
    snprintf(alone, sizeof alone, strcmp(texts->coverage, "MC") == 0 ? "%s" : "k = %s", texts->coverage);
    double wide = es_canvas_text_width(s->canvas, &plain, v->spread);
    bool whole = v->U[0] == '\0' || v->unit[0] == '\0' || wide <= room + 0.3;
    bool beside = coverage > 0 && (!whole || wide + coverage <= room + 0.3);
    const char *first = whole ? v->spread : v->U;
    column.width = room - (beside ? coverage : 0);
    es_line_number(s, &column, plain, x, y, first);
    if (beside)
        put_coverage(s, texts->coverage,
                     fmin(es_canvas_text_width(s->canvas, &plain, first), column.width) + ES_TABLE_GAP, x, y);
    else if (coverage > 0)
        put_coverage(s, alone, 0, x, below);
    if (!whole) {
        column.width = s->columns[ES_TABLE_SPREAD].width;
        es_line_number(s, &column, plain, x, below, v->unit);
    }
    return !whole || (coverage > 0 && !beside) ? 2 : 1;
}

/* Gives by how much it is wider than its column, mm. */
static double put_value(struct es_sheet *s, const char *text, double x, double y)
{
    struct es_type plain = es_sheet_type(s, ES_TABLE_SIZE, ES_REGULAR, ES_INK);
    struct es_column column = s->columns[ES_TABLE_VALUE];
    double over = es_canvas_text_width(s->canvas, &plain, text) - column.width;
    over = fmin(fmax(over, 0), ES_TABLE_VALUE_OVER);
    column.width += over;
    es_line_number(s, &column, plain, x, y, text);
    return over;
}

/* Value, U, limits. Gives the lines taken. */
static int put_numbers(struct es_sheet *s, const struct es_content_line *l, double x, double y)
{
    struct es_type plain = es_sheet_type(s, ES_TABLE_SIZE, ES_REGULAR, ES_INK);
    struct es_column limits = s->columns[ES_TABLE_LIMITS];
    struct es_table_texts texts;
    es_table_texts(s, l, &texts);
    double wide = es_table_limits_width(s, &texts, ES_TABLE_LIMITS_MOST);
    double room = s->columns[ES_TABLE_SPREAD].width - (wide > 0 ? wide + ES_TABLE_LIMITS_GAP : 0);
    double over = put_value(s, texts.value.value, x, y);
    limits.x += limits.width - wide - 0.5;
    limits.width = wide + 0.5;
    es_line_number(s, &limits, plain, x, y, texts.limits);
    return put_spread(s, &texts, room - over, x + over, y);
}

static double put_row(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    const struct es_content_line *l = line_at(s, block->index);
    const struct es_column *columns = s->columns, *name = &columns[ES_TABLE_NAME];
    struct es_type type = es_table_name_type(s, l);
    double height = es_canvas_text_height(s->canvas, &type, name->width, l->measurand) + 0.25 * s->scale;
    es_draw_mark(s->canvas, es_page_verdict_of(l->verdict), false, x + 0.2, y + 0.85 * s->scale,
                 2.6 * s->scale);
    es_line_cell(s, name, type, x, y, l->measurand);
    if (!s->content->c.record)
        es_draw_bar(s->canvas, l, x + columns[ES_TABLE_BAR].x, y + 0.75 * s->scale,
                    columns[ES_TABLE_BAR].width, 2.8 * s->scale);
    height = fmax(height, (put_numbers(s, l, x, y) - 1) * LINE * s->scale + 3.42 * s->scale);
    if (!l->required && l->reason[0] != '\0') { /* of one that decides it stands above the table */
        struct es_type small = es_sheet_type(s, 6.6, ES_REGULAR, ES_INK_SECOND);
        small.lines = 3;
        small.tight = true;
        height += es_canvas_text(s->canvas, &small, x + name->x, y + height, width - name->x, l->reason);
    }
    return height;
}

/* What kept lines from being tested: their names (of a procedure that was left out nobody reads many), and
 * why where that does not stand above the table. */
static void add_untested(const struct es_sheet *s, size_t from, struct es_text *out)
{
    const struct es_content *c = &s->content->c;
    size_t count = es_line_untested(c, from);
    if (count > (s->compact ? 1 : 3) && es_line_all_untested(c, from, count))
        es_text_printf(out, "all its %zu lines", count);
    else
        es_line_names(c, from, count, out);
    if (!es_line_untested_decides(c, from, count) && c->lines[from].reason[0] != '\0')
        es_text_printf(out, " — %s", c->lines[from].reason);
}

/* Lines that one reason kept from being tested, in one paragraph; `text`: the procedure, where it has no
 * others. */
static double put_untested(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    double left = s->columns[ES_TABLE_NAME].x, gap = (block->alone ? 0.9 : 0.25) * s->scale;
    struct es_type type = es_sheet_type(s, ES_TABLE_SIZE, ES_REGULAR, ES_INK);
    struct es_text text = {0};
    type.tight = true;
    type.lines = 30;
    if (block->alone)
        es_text_printf(&text, "%s — ", block->text);
    es_text_add(&text, "not tested: ");
    add_untested(s, block->index, &text);
    es_draw_mark(s->canvas, ES_PAGE_NOT_TESTED, false, x + 0.2, y + gap + 0.6 * s->scale, 2.6 * s->scale);
    double height = es_canvas_text(s->canvas, &type, x + left, y + gap, width - left, es_page_words(&text));
    es_text_free(&text);
    return height + gap + 0.35 * s->scale;
}

static void collect(struct es_sheet *s, struct es_blocks *out)
{
    const struct es_content *c = &s->content->c;
    const char *procedure = NULL;
    for (size_t i = 0; i < c->line_count;) {
        const struct es_content_line *l = &c->lines[i];
        size_t untested = es_line_untested(c, i);
        if (c->record && isnan(l->v.value)) {
            i++;
            continue;
        }
        bool all_untested = untested > 0 && es_line_all_untested(c, i, untested);
        const char *title = es_content_procedure_title(c, l->procedure);
        if (!all_untested && (procedure == NULL || strcmp(procedure, l->procedure) != 0))
            es_blocks_add(out, (struct es_block){.put = put_heading, .text = title, .heading = true});
        procedure = l->procedure;
        es_blocks_add(out, (struct es_block){.put = untested > 0 ? put_untested : put_row,
                                             .index = i,
                                             .text = title,
                                             .alone = all_untested});
        i += untested > 0 ? untested : 1;
    }
}

enum es_status es_draw_table(struct es_sheet *s, double below, struct es_error *err)
{
    struct es_column columns[ES_TABLE_COLUMNS];
    struct es_blocks blocks = {0};
    collect(s, &blocks);
    bool whole = !blocks.out_of_memory && es_table_columns(s, es_flow_width(s), columns);
    s->columns = columns;
    if (whole)
        es_flow(s, blocks.items, blocks.count, put_head, below);
    s->columns = NULL;
    es_blocks_free(&blocks);
    return whole ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to draw");
}

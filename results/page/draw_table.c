/* All lines of a certificate with many: two columns of narrow rows, by procedure. What is as usual is told
 * once, below: the coverage factor that most lines have, and that a risk is less than a tenth of a percent.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/line.h"

#define LINE 2.9 /* mm from one line of a row to the next */

enum { MARK, NAME, BAR, VALUE, SPREAD, COVERAGE, LIMITS, COLUMNS };

static const struct es_column columns[COLUMNS] = {
    [MARK] = {0, 3, ES_LEFT},         [NAME] = {3.5, 30.1, ES_LEFT},    [BAR] = {34, 11.6, ES_LEFT},
    [VALUE] = {46.2, 10.8, ES_RIGHT}, [SPREAD] = {57.7, 13.8, ES_LEFT}, [COVERAGE] = {71.6, 4.6, ES_RIGHT},
    [LIMITS] = {77.2, 12.3, ES_LEFT},
};

static const struct es_content_line *line_at(const struct es_sheet *s, size_t i)
{
    return &s->content->c.lines[i];
}

static double put_head(struct es_sheet *s, double x, double y, double width)
{
    const char *const heads[COLUMNS] = {
        "", "Measurand", "In limits", "Value", "± U", s->content->k_differs ? "k" : "", "Limits"};
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    for (int i = 0; i < COLUMNS; i++)
        if (!s->content->c.record || (i != BAR && i != LIMITS))
            es_line_cell(s, &columns[i], type, x, y, heads[i]);
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

/* "± U unit"; the unit goes to the next line where it leaves U too little room. Gives the lines taken. */
static int put_spread(struct es_sheet *s, const struct es_line_text *text, double width, double x, double y)
{
    struct es_type plain = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    struct es_column column = columns[SPREAD];
    column.width = width;
    if (text->U[0] == '\0' || es_canvas_text_width(s->canvas, &plain, text->spread) <= 1.2 * width) {
        es_line_number(s, &column, plain, x, y, text->spread);
        return 1;
    }
    es_line_number(s, &column, plain, x, y, text->U);
    column.width += columns[COVERAGE].width;
    es_line_number(s, &column, plain, x, y + LINE * s->scale, text->unit);
    return 2;
}

/* Value, U, what its coverage rests on where that is not the usual, limits. Gives the lines taken. */
static int put_numbers(struct es_sheet *s, const struct es_content_line *l, double x, double y)
{
    struct es_type plain = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK),
                   small = es_sheet_type(s, 5.8, ES_REGULAR, ES_INK_SECOND);
    struct es_line_text text;
    char limits[80], shown[84], coverage[24];
    es_line_value(l, &text);
    es_line_coverage(s->content, l, true, coverage, sizeof coverage);
    double room = coverage[0] == '\0' ? columns[COVERAGE].width : 0;
    es_line_number(s, &columns[VALUE], plain, x, y, text.value);
    int lines = put_spread(s, &text, columns[SPREAD].width + room, x, y);
    es_line_number(s, &columns[COVERAGE], small, x, y, coverage);
    if (s->content->c.record)
        return lines;
    es_line_limits(l, limits, sizeof limits);
    snprintf(shown, sizeof shown, l->required ? "%s" : "(%s)", limits);
    es_line_number(s, &columns[LIMITS], plain, x, y, shown);
    return lines;
}

static double put_row(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    const struct es_content_line *l = line_at(s, block->index);
    enum es_page_verdict verdict = es_page_verdict_of(l->verdict);
    bool good = verdict == ES_PAGE_PASS || s->content->c.record;
    struct es_type name = es_sheet_type(s, 7.4, good ? ES_REGULAR : ES_SEMIBOLD, ES_INK);
    name.lines = 3;
    name.tight = true;
    double height =
        es_canvas_text_height(s->canvas, &name, columns[NAME].width, l->measurand) + 0.25 * s->scale;
    es_draw_mark(s->canvas, verdict, false, x + 0.2, y + 0.85 * s->scale, 2.6 * s->scale);
    es_line_cell(s, &columns[NAME], name, x, y, l->measurand);
    if (!s->content->c.record)
        es_draw_bar(s->canvas, l, x + columns[BAR].x, y + 0.75 * s->scale, columns[BAR].width,
                    2.8 * s->scale);
    height = fmax(height, (put_numbers(s, l, x, y) - 1) * LINE * s->scale + 3.42 * s->scale);
    if (!l->required && l->reason[0] != '\0') { /* of one that decides it stands above the table */
        struct es_type small = es_sheet_type(s, 6.6, ES_REGULAR, ES_INK_SECOND);
        small.lines = 3;
        small.tight = true;
        height += es_canvas_text(s->canvas, &small, x + columns[NAME].x, y + height, width - columns[NAME].x,
                                 l->reason);
    }
    return height;
}

/* Lines that one reason kept from being tested, in one paragraph; why stands above the table where one of
 * them decides. Of a procedure that was left out nobody reads the names. */
static double put_untested(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    const struct es_content *c = &s->content->c;
    struct es_type type = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    struct es_text text = {0};
    type.tight = true;
    type.lines = 30;
    size_t count = es_line_untested(c, block->index);
    es_text_add(&text, "not tested: ");
    if (count > 3 && es_line_all_untested(c, block->index, count))
        es_text_printf(&text, "all its %zu lines", count);
    else
        es_line_names(c, block->index, count, &text);
    if (!es_line_untested_decides(c, block->index, count) && c->lines[block->index].reason[0] != '\0')
        es_text_printf(&text, " — %s", c->lines[block->index].reason);
    double left = columns[NAME].x;
    es_draw_mark(s->canvas, ES_PAGE_NOT_TESTED, false, x + 0.2, y + 0.85 * s->scale, 2.6 * s->scale);
    double height =
        es_canvas_text(s->canvas, &type, x + left, y + 0.25 * s->scale, width - left, es_page_words(&text));
    es_text_free(&text);
    return height + 0.6 * s->scale;
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
        if (procedure == NULL || strcmp(procedure, l->procedure) != 0) {
            procedure = l->procedure;
            es_blocks_add(out, (struct es_block){.put = put_heading,
                                                 .text = es_content_procedure_title(c, procedure),
                                                 .heading = true});
        }
        es_blocks_add(out, (struct es_block){.put = untested > 0 ? put_untested : put_row, .index = i});
        i += untested > 0 ? untested : 1;
    }
}

enum es_status es_draw_table(struct es_sheet *s, double below, struct es_error *err)
{
    struct es_blocks blocks = {0};
    collect(s, &blocks);
    bool whole = !blocks.out_of_memory;
    if (whole)
        es_flow(s, blocks.items, blocks.count, put_head, below);
    es_blocks_free(&blocks);
    return whole ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to draw");
}

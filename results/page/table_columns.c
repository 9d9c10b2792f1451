/* How wide the columns of the narrow rows are: numbers get what is really in them, names the rest. Where one
 * line's numbers want more than the others' its k or its unit goes to a second line, if that keeps more names
 * on one.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "results/page/table.h"

#define BAR_WIDTH     8.6 /* mm */
#define STEP          0.25
#define VALUE_LEAST   8.0
#define VALUE_MOST    26.0 /* a longer number is set smaller */
#define VALUE_STEPS   72
#define NUMBERS_LEAST 16.0 /* U, k and limits together */
#define NUMBERS_STEPS 112
#define NAME_LEAST    22.0
/* What costs how many lines */
#define COVERAGE_BELOW 2.1
#define UNIT_BELOW     2.6
#define SET_SMALLER    2.0
#define NAME_CUT       9.0
#define NAME_MOST      2.6 /* lines' width; words do not fill them */
#define NAME_LEFT      3.5

struct widths {                            /* of what one line says, unbroken, mm */
    double name, value, coverage, numbers; /* numbers: with coverage */
};

struct rows {
    struct widths *items;
    size_t count;
    double value; /* the widest, but for what is set smaller */
};

struct split { /* of a row's width */
    double value, numbers;
};

void es_table_texts(const struct es_sheet *s, const struct es_content_line *l, struct es_table_texts *out)
{
    char limits[80];
    es_line_value(l, &out->value);
    es_line_coverage(s->content, l, true, out->coverage, sizeof out->coverage);
    es_line_limits(l, limits, sizeof limits);
    snprintf(out->limits, sizeof out->limits, l->required ? "%s" : "(%s)", limits);
    if (s->content->c.record)
        out->limits[0] = '\0';
}

struct es_type es_table_name_type(const struct es_sheet *s, const struct es_content_line *l)
{
    bool good = es_page_verdict_of(l->verdict) == ES_PAGE_PASS || s->content->c.record;
    struct es_type type = es_sheet_type(s, 7.4, good ? ES_REGULAR : ES_SEMIBOLD, ES_INK);
    type.lines = 3;
    type.tight = true;
    return type;
}

/* A text's width and a gap before the next; 0 for no text. */
static double room_for(struct es_sheet *s, double size, const char *text, double gap)
{
    struct es_type type = es_sheet_type(s, size, ES_REGULAR, ES_INK);
    return text[0] != '\0' ? es_canvas_text_width(s->canvas, &type, text) + gap : 0;
}

double es_table_limits_width(struct es_sheet *s, const struct es_table_texts *texts, double most)
{
    return fmin(room_for(s, ES_TABLE_SIZE, texts->limits, 0), most);
}

double es_table_coverage_width(struct es_sheet *s, const struct es_table_texts *texts)
{
    return room_for(s, ES_TABLE_SMALL, texts->coverage, ES_TABLE_GAP);
}

static struct widths measure(struct es_sheet *s, const struct es_content_line *l)
{
    struct es_type name = es_table_name_type(s, l);
    struct es_table_texts texts;
    es_table_texts(s, l, &texts);
    double coverage = es_table_coverage_width(s, &texts);
    return (struct widths){
        .name = es_canvas_text_width(s->canvas, &name, l->measurand),
        .value = room_for(s, ES_TABLE_SIZE, texts.value.value, 0),
        .coverage = coverage,
        .numbers = room_for(s, ES_TABLE_SIZE, texts.value.spread, 0) + coverage +
                   es_table_limits_width(s, &texts, ES_TABLE_LIMITS_MOST) + ES_TABLE_LIMITS_GAP,
    };
}

/* Lines that the numbers of a row cost; a unit away from its number reads worse than a name on two lines. */
static double numbers_cost(const struct widths *row, double room)
{
    if (row->numbers <= room)
        return 1;
    return row->numbers - row->coverage <= room ? COVERAGE_BELOW : UNIT_BELOW;
}

/* The same for a name, of which no more than three lines are set. */
static double name_cost(const struct widths *row, double room)
{
    double lines = ceil(row->name / room);
    return row->name > NAME_MOST * room ? NAME_CUT : fmin(lines, 3);
}

/* What it costs in lines to split the room like this. */
static double lines_lost(const struct rows *rows, double name, const struct split *split)
{
    double lines = 0;
    for (size_t i = 0; i < rows->count; i++) {
        const struct widths *row = &rows->items[i];
        double over = fmax(row->value - split->value, 0), numbers = split->numbers;
        numbers -= fmin(over, ES_TABLE_VALUE_OVER);
        lines += fmax(name_cost(row, name), numbers_cost(row, numbers));
        lines += over > ES_TABLE_VALUE_OVER ? SET_SMALLER : 0;
    }
    return lines;
}

static struct split find_split(const struct rows *rows, double room)
{
    struct split best = {VALUE_LEAST, NUMBERS_LEAST};
    double fewest = INFINITY;
    for (int i = 0; i <= VALUE_STEPS; i++) {
        double value = rows->value - i * STEP;
        for (int k = NUMBERS_STEPS; k >= 0 && value >= VALUE_LEAST; k--) {
            struct split split = {value, NUMBERS_LEAST + k * STEP};
            double name = room - split.numbers - split.value;
            double lines = name >= NAME_LEAST ? lines_lost(rows, name, &split) : INFINITY;
            if (lines < fewest) {
                fewest = lines;
                best = split;
            }
        }
    }
    return best;
}

static bool measure_all(struct es_sheet *s, struct rows *out)
{
    const struct es_content *c = &s->content->c;
    *out = (struct rows){.items = calloc(c->line_count + 1, sizeof *out->items), .value = VALUE_LEAST};
    for (size_t i = 0; out->items != NULL && i < c->line_count; i++) {
        if (es_line_untested(c, i) > 0)
            continue;
        struct widths *row = &out->items[out->count++];
        *row = measure(s, &c->lines[i]);
        out->value = fmax(out->value, fmin(row->value, VALUE_MOST));
    }
    return out->items != NULL;
}

bool es_table_columns(struct es_sheet *s, double width, struct es_column columns[static ES_TABLE_COLUMNS])
{
    struct rows rows;
    double bar = s->content->c.record ? 0 : BAR_WIDTH + 1.0;
    if (!measure_all(s, &rows))
        return false;
    const struct split split = find_split(&rows, width - NAME_LEFT - bar - 2 * ES_TABLE_GAP);
    free(rows.items);
    double left = width - split.numbers;
    columns[ES_TABLE_SPREAD] = (struct es_column){left, split.numbers, ES_LEFT};
    columns[ES_TABLE_LIMITS] = (struct es_column){left, split.numbers, ES_RIGHT};
    left -= ES_TABLE_GAP + split.value;
    columns[ES_TABLE_VALUE] = (struct es_column){left, split.value, ES_RIGHT};
    left -= bar;
    columns[ES_TABLE_BAR] = (struct es_column){left, BAR_WIDTH, ES_LEFT};
    columns[ES_TABLE_NAME] = (struct es_column){NAME_LEFT, left - ES_TABLE_GAP - NAME_LEFT, ES_LEFT};
    return true;
}

/* What the results rest on and what is not said, in two columns of small print: run, method, instruments,
 * environment, limits, cautions, statements; at last the signatures. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/back.h"
#include "results/page/sources.h"
#include "rig/base/number.h"

#define SMALL       6.6 /* points */
#define RUN_ON_MOST 320 /* bytes of a paragraph in which items follow one another, but for the last */

/* ---- Blocks ---- */

static double put_heading(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_SEMIBOLD, ES_INK);
    struct es_text text = {0};
    double gap = 1.3 * s->scale;
    es_text_printf(&text, "%s%s", block->text, block->again ? ", continued" : "");
    es_canvas_line(s->canvas, ES_INK_HAIR, 0.15, x, y + gap, x + width, y + gap);
    double height = es_canvas_text(s->canvas, &type, x, y + gap + 0.4, width, es_page_words(&text));
    es_text_free(&text);
    return gap + 0.4 + height + 0.1;
}

double es_back_paragraph(struct es_sheet *s, double x, double y, double width, struct es_text *text)
{
    struct es_type type = es_sheet_type(s, SMALL, ES_REGULAR, ES_INK);
    type.tight = true;
    type.lines = 16;
    double height = text->length > 0 ? es_canvas_text(s->canvas, &type, x, y, width, text->bytes) : 0;
    es_text_free(text);
    return height > 0 ? height + 0.7 * s->scale : 0;
}

double es_back_row(struct es_sheet *s, const struct es_back_cells *cells, double x, double y)
{
    double height = 0;
    for (size_t i = 0; i < cells->count; i++) {
        bool mono = (cells->mono >> i & 1) != 0;
        struct es_type type = es_sheet_type(s,
                                            mono          ? 5.8
                                            : cells->head ? 6.2
                                                          : SMALL,
                                            ES_REGULAR, cells->head ? ES_INK_SECOND : ES_INK);
        type.mono = mono;
        type.lines = 3;
        type.tight = true;
        height = fmax(height, es_canvas_text_on(s->canvas, &type, x, y + 2.5 * s->scale,
                                                cells->widths[i] - 1.2, cells->texts[i]));
        x += cells->widths[i];
    }
    return fmax(height, 3.0 * s->scale) + 0.15 * s->scale;
}

void es_back_heading(struct es_blocks *out, const char *text)
{
    es_blocks_add(out, (struct es_block){.put = put_heading, .text = text, .heading = true});
}

void es_back_add(struct es_blocks *out, es_back_put *put, size_t index)
{
    es_blocks_add(out, (struct es_block){.put = put, .index = index});
}

/* Adds "before text" when there is one, after a separator. */
static void join(struct es_text *out, const char *separator, const char *before, const char *text)
{
    if (text[0] != '\0')
        es_text_printf(out, "%s%s%s", out->length > 0 ? separator : "", before, text);
}

/* ---- Run ---- */

static double put_run(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    const struct es_content *c = &s->content->c;
    struct es_text text = {0};
    char began[80], ended[80];
    (void)block;
    es_page_time(c->began, began, sizeof began);
    es_page_time(c->ended, ended, sizeof ended);
    join(&text, "", "", began);
    join(&text, " to ", "", strncmp(began, ended, 11) == 0 ? ended + 11 : ended);
    join(&text, ", ", "by ", c->person);
    join(&text, ", ", "", c->attended ? "attended" : "unattended");
    join(&text, "; ", "", c->clock_synchronised ? "" : "the bench's clock was not synchronised");
    if (!isnan(c->safe_state_after))
        es_text_printf(&text, "; safe state %.2f s after the cause", c->safe_state_after);
    join(&text, "  ·  ", "", c->bench);
    join(&text, ", ", "station ", c->station);
    join(&text, "  ·  ", "", c->software);
    join(&text, "  ·  ", "run ", c->run);
    join(&text, "  ·  ", "random seed ", c->seed);
    join(&text, "  ·  ", "job ", c->job);
    return es_back_paragraph(s, x, y, width, &text);
}

static double put_deviations(struct es_sheet *s, const struct es_block *block, double x, double y,
                             double width)
{
    const struct es_content *c = &s->content->c;
    struct es_text text = {0};
    (void)block;
    join(&text, "", "Issued although a calibration was overdue: ", c->overdue_because);
    join(&text, "  ·  ", "Additions to, deviations from or exclusions of the method: ", c->deviations);
    return es_back_paragraph(s, x, y, width, &text);
}

/* ---- Instruments ---- */

static const double instrument_widths[] = {43, 17, 15, 14.5};

static double put_instrument_head(struct es_sheet *s, const struct es_block *block, double x, double y,
                                  double width)
{
    static const char *const head[] = {"Instrument", "Calibration", "Calibrated", "Due"};
    (void)block, (void)width;
    return es_back_row(s, &(struct es_back_cells){head, instrument_widths, 4, true, 0}, x, y);
}

static double put_instrument(struct es_sheet *s, const struct es_block *block, double x, double y,
                             double width)
{
    const struct es_content_instrument *i = &s->content->c.instruments[block->index];
    const char *texts[] = {i->name, i->calibration[0] != '\0' ? i->calibration : "none stated", i->calibrated,
                           i->due};
    (void)width;
    return es_back_row(s, &(struct es_back_cells){texts, instrument_widths, 4, false, 0}, x, y);
}

/* Below the instruments that gave the same one. */
static double put_identity(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    const char *identity = s->content->c.instruments[block->index].identity;
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    struct es_text text = {0};
    type.tight = true;
    type.lines = 2;
    es_text_printf(&text, "identity: %s", identity);
    double height = es_canvas_text(s->canvas, &type, x, y, width, es_page_words(&text));
    es_text_free(&text);
    return height + 0.5 * s->scale;
}

static void add_instruments(const struct es_content *c, struct es_blocks *out)
{
    if (c->instrument_count == 0)
        return;
    es_back_heading(out, "Instruments and calibration");
    es_blocks_add(out, (struct es_block){.put = put_instrument_head, .keep = true});
    for (size_t i = 0; i < c->instrument_count; i++) {
        const char *identity = c->instruments[i].identity;
        bool last = i + 1 == c->instrument_count || strcmp(identity, c->instruments[i + 1].identity) != 0;
        es_back_add(out, put_instrument, i);
        if (last && identity[0] != '\0')
            es_back_add(out, put_identity, i);
    }
}

/* ---- Environment ---- */

static double put_environment(struct es_sheet *s, const struct es_block *block, double x, double y,
                              double width)
{
    const struct es_content *c = &s->content->c;
    struct es_text all = {0};
    (void)block;
    for (size_t i = 0; i < c->environment_count; i++) {
        const struct es_content_environment *e = &c->environment[i];
        struct es_number_text number;
        es_number_with_uncertainty(e->v.value, e->v.U, 3, &number);
        es_text_add(&all, all.length > 0 ? "  ·  " : "");
        if (e->v.measured)
            es_text_printf(&all, "%s %s%s%s %s", e->name, number.value, number.U[0] != '\0' ? " ± " : "",
                           number.U, es_page_unit(e->unit));
        else
            es_text_printf(&all, "%s: not known%s%s", e->name, e->reason[0] != '\0' ? ", " : "", e->reason);
    }
    for (size_t i = 0; i < c->condition_count; i++)
        es_text_printf(&all, "%s%s stands for gas at %s", all.length > 0 ? "  ·  " : "",
                       c->conditions[i].name, c->conditions[i].text);
    return es_back_paragraph(s, x, y, width, &all);
}

/* ---- Limits, cautions, statements ---- */

/* Items of one kind, one after another in a paragraph. */
typedef void item_text(const struct es_content *content, size_t index, struct es_text *out);

static double put_items(struct es_sheet *s, const struct es_block *block, double x, double y, double width,
                        item_text *item)
{
    struct es_text all = {0};
    for (size_t i = block->index; i < block->index + block->count; i++) {
        es_text_add(&all, all.length > 0 ? "  ·  " : "");
        item(&s->content->c, i, &all);
    }
    return es_back_paragraph(s, x, y, width, &all);
}

/* As many of `count` items in a paragraph as are read at one go. */
static void add_items(const struct es_content *c, struct es_blocks *out, es_back_put *put, item_text *item,
                      size_t count)
{
    for (size_t from = 0; from < count;) {
        struct es_text text = {0};
        size_t to = from;
        while (to < count && (to == from || text.length < RUN_ON_MOST))
            item(c, to++, &text);
        es_text_free(&text);
        es_blocks_add(out, (struct es_block){.put = put, .index = from, .count = to - from});
        from = to;
    }
}

static double put_source(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    struct es_text text = {0};
    es_text_add(&text, block->text);
    return es_back_paragraph(s, x, y, width, &text);
}

static void add_sources(const struct es_source_texts *sources, struct es_blocks *out)
{
    if (sources->count > 0)
        es_back_heading(out, "Where the limits come from");
    for (size_t i = 0; i < sources->count; i++)
        es_blocks_add(out, (struct es_block){.put = put_source, .text = es_page_words(&sources->items[i])});
}

static bool answered_alike(const struct es_content *c)
{
    for (size_t i = 1; i < c->confirmation_count; i++)
        if (strcmp(c->confirmations[i].answer, c->confirmations[0].answer) != 0 ||
            strcmp(c->confirmations[i].person, c->confirmations[0].person) != 0)
            return false;
    return true;
}

static void add_answer(const struct es_content_confirmation *confirmation, struct es_text *out)
{
    char time[80];
    es_page_time(confirmation->time, time, sizeof time);
    join(out, " ", "", confirmation->answer);
    join(out, " ", "by ", confirmation->person);
    join(out, ", ", "", time);
}

static void caution_text(const struct es_content *c, size_t i, struct es_text *out)
{
    es_text_add(out, c->confirmations[i].text);
    if (!answered_alike(c)) {
        es_text_add(out, " —");
        add_answer(&c->confirmations[i], out);
    }
}

static double put_cautions(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    return put_items(s, block, x, y, width, caution_text);
}

static double put_answer(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    const struct es_content *c = &s->content->c;
    struct es_text text = {0};
    (void)block;
    es_text_add(&text, c->confirmation_count > 1 ? "All" : "Answer:");
    add_answer(&c->confirmations[0], &text);
    return es_back_paragraph(s, x, y, width, &text);
}

static void statement_text(const struct es_content *c, size_t i, struct es_text *out)
{
    es_text_add(out, c->statements[i]);
}

static double put_statements(struct es_sheet *s, const struct es_block *block, double x, double y,
                             double width)
{
    return put_items(s, block, x, y, width, statement_text);
}

static double put_not_given(struct es_sheet *s, const struct es_block *block, double x, double y,
                            double width)
{
    const struct es_content *c = &s->content->c;
    struct es_text text = {0};
    (void)block;
    for (size_t i = 0; i < c->not_given_count; i++)
        join(&text, ", ", i == 0 ? "Not stated to the laboratory: " : "", c->not_given[i]);
    return es_back_paragraph(s, x, y, width, &text);
}

/* Why there are no likely causes; NULL: there are, or nobody asked for them. */
static const char *no_interpretation(const struct es_page_content *p)
{
    const cJSON *about = cJSON_GetObjectItemCaseSensitive(p->root, "interpretation");
    const char *kind = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(about, "about"));
    const char *why = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(about, "why"));
    return kind != NULL && strcmp(kind, "nothing known") == 0 ? why : NULL;
}

static double put_no_interpretation(struct es_sheet *s, const struct es_block *block, double x, double y,
                                    double width)
{
    struct es_text text = {0};
    es_text_printf(&text, "No interpretation: %s.", block->text);
    return es_back_paragraph(s, x, y, width, &text);
}

static void add_statements(const struct es_content *c, struct es_blocks *out)
{
    if (c->statement_count + c->not_given_count == 0)
        return;
    es_back_heading(out, "What this says, and what not");
    add_items(c, out, put_statements, statement_text, c->statement_count);
    if (c->not_given_count > 0)
        es_back_add(out, put_not_given, 0);
}

static void add_cautions(const struct es_content *c, struct es_blocks *out)
{
    if (c->confirmation_count == 0)
        return;
    es_back_heading(out, "Cautions and questions");
    add_items(c, out, put_cautions, caution_text, c->confirmation_count);
    if (answered_alike(c))
        es_back_add(out, put_answer, 0);
}

static void collect(const struct es_page_content *p, const struct es_source_texts *sources,
                    struct es_blocks *out)
{
    const struct es_content *c = &p->c;
    es_back_heading(out, "Run");
    es_back_add(out, put_run, 0);
    es_back_add(out, put_deviations, 0);
    es_back_method(c, out);
    add_instruments(c, out);
    if (c->environment_count + c->condition_count > 0) {
        es_back_heading(out, "Environment");
        es_back_add(out, put_environment, 0);
    }
    add_sources(sources, out);
    add_cautions(c, out);
    add_statements(c, out);
    if (no_interpretation(p) != NULL)
        es_blocks_add(out, (struct es_block){.put = put_no_interpretation, .text = no_interpretation(p)});
    es_back_signatures(p, out);
}

static void draw_end_mark(struct es_sheet *s)
{
    struct es_type end = {.size = 7.0, .weight = ES_SEMIBOLD, .ink = ES_INK, .align = ES_CENTRE, .lines = 1};
    char text[120];
    snprintf(text, sizeof text, "End of %s %.60s", s->content->c.record ? "record" : "certificate",
             s->content->c.number);
    es_sheet_gap(s, 1.5);
    es_sheet_need(s, 4);
    s->y += es_canvas_text(s->canvas, &end, s->left, s->y, s->width, text);
}

enum es_status es_draw_back(struct es_sheet *s, struct es_error *err)
{
    struct es_blocks blocks = {0};
    struct es_source_texts sources;
    bool whole = es_source_texts_make(&s->content->c, &sources);
    if (whole)
        collect(s->content, &sources, &blocks);
    whole = whole && !blocks.out_of_memory;
    if (whole) {
        es_sheet_gap(s, 1);
        es_flow(s, blocks.items, blocks.count, NULL, 5);
        draw_end_mark(s);
    }
    es_blocks_free(&blocks);
    es_source_texts_free(&sources);
    return whole ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to draw");
}

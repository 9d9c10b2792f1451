/* The results: a row a measurand, its value against its limits. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/sheet.h"
#include "rig/base/number.h"
#include "rig/base/text.h"

/* Columns, mm from the left edge of the text. */
enum { VERDICT, MEASURAND, BAR, VALUE, SPREAD, COVERAGE, LIMITS, RISK, COLUMNS };
static const struct {
    double x, width;
    enum es_align align;
} columns[COLUMNS] = {
    [VERDICT] = {0, 17, ES_LEFT},  [MEASURAND] = {17, 48, ES_LEFT}, [BAR] = {67, 36, ES_LEFT},
    [VALUE] = {105, 15, ES_RIGHT}, [SPREAD] = {121.5, 20, ES_LEFT}, [COVERAGE] = {138, 6, ES_RIGHT},
    [LIMITS] = {147, 18, ES_LEFT}, [RISK] = {165, 11, ES_RIGHT},
};

static double cell(struct es_sheet *s, int column, struct es_type type, double y, const char *text)
{
    type.align = columns[column].align;
    return es_canvas_text_on(s->canvas, &type, ES_SHEET_LEFT + columns[column].x, y + 3.1 * s->scale,
                             columns[column].width, text);
}

/* A number is never cut: what is too wide for its column is set smaller, and broken at last. */
static void fit(struct es_sheet *s, int column, struct es_type type, double y, const char *text)
{
    double width = es_canvas_text_width(s->canvas, &type, text), smallest = 4.2 / type.size;
    if (width > columns[column].width)
        type.size *= fmax(0.98 * columns[column].width / width, smallest);
    cell(s, column, type, y, text);
}

static void limit_text(const struct es_content_line *l, char *out, size_t size)
{
    char low[ES_NUMBER_SIZE], high[ES_NUMBER_SIZE];
    es_number_limit(l->lower, low);
    es_number_limit(l->upper, high);
    if (!isinf(l->lower) && !isinf(l->upper))
        snprintf(out, size, "%s to %s", low, high);
    else if (!isinf(l->upper))
        snprintf(out, size, "≤ %s", high);
    else if (!isinf(l->lower))
        snprintf(out, size, "≥ %s", low);
    else
        snprintf(out, size, "%s", "none");
}

static void risk_text(double risk, char *out, size_t size)
{
    out[0] = '\0';
    if (isnan(risk))
        return;
    if (risk < 0.0005)
        snprintf(out, size, "<0.1 %%");
    else if (risk > 0.9995)
        snprintf(out, size, ">99.9 %%");
    else
        snprintf(out, size, "%.1f %%", 100 * risk);
}

static void draw_key(struct es_sheet *s)
{
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    const struct es_content_line example = {.verdict = "pass",
                                            .v = {true, 7.2, 0.9, 1.96, INFINITY},
                                            .lower = -INFINITY,
                                            .upper = 10,
                                            .guard_band = 0.9};
    const char text[] = "value and U  ·  grey: within limits  ·  dotted: limit less guard band  ·  arrow: "
                        "outside the picture";
    double width = es_canvas_text_width(s->canvas, &type, text), h = 3 * s->scale;
    es_draw_bar(s->canvas, &example, ES_SHEET_RIGHT - width - 18, s->y + 0.3, 15, h);
    es_canvas_text_on(s->canvas, &type, ES_SHEET_RIGHT - width - 0.5, s->y + 2.7 * s->scale, width + 1, text);
}

static void draw_column_heads(struct es_sheet *s)
{
    static const char *const heads[COLUMNS] = {
        "Verdict", "Measurand", "Against its limits", "Value", "± U", "", "Limits", "Risk"};
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    for (int i = 0; i < COLUMNS; i++) {
        bool judges = i != VERDICT && i != BAR && i != LIMITS && i != RISK;
        if (!s->content->c.record || judges)
            cell(s, i, type, s->y, i == COVERAGE && isnan(s->content->k) ? "k" : heads[i]);
    }
    s->y += 4.2 * s->scale;
    es_canvas_line(s->canvas, ES_INK, 0.25, ES_SHEET_LEFT, s->y, ES_SHEET_RIGHT, s->y);
    s->y += 0.6 * s->scale;
}

static void need_row(struct es_sheet *s, double height)
{
    if (es_sheet_need(s, height))
        draw_column_heads(s);
}

static void draw_numbers(struct es_sheet *s, const struct es_content_line *l, double y)
{
    struct es_type plain = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK),
                   small = es_sheet_type(s, 6.4, ES_REGULAR, ES_INK_SECOND);
    struct es_number_text number;
    char text[160];
    const char *unit = es_page_unit(l->unit);
    if (!isnan(l->v.value)) {
        es_number_with_uncertainty(l->v.value, l->v.U, l->decimals, &number);
        fit(s, VALUE, plain, y, number.value);
        snprintf(text, sizeof text, "%s%s%s%.60s", number.U[0] != '\0' ? "± " : "", number.U,
                 number.U[0] != '\0' && unit[0] != '\0' ? " " : "", unit);
        fit(s, SPREAD, plain, y, text);
    }
    if (isnan(s->content->k) && !isnan(l->v.k) && l->v.U > 0) {
        snprintf(text, sizeof text, "%.2f", l->v.k);
        fit(s, COVERAGE, small, y, text);
    }
    if (s->content->c.record)
        return;
    limit_text(l, text, sizeof text);
    fit(s, LIMITS, plain, y, text);
    risk_text(l->false_acceptance, text, sizeof text);
    fit(s, RISK, small, y, text);
}

static void draw_row(struct es_sheet *s, const struct es_content_line *l)
{
    enum es_page_verdict verdict = es_page_verdict_of(l->verdict);
    bool good = verdict == ES_PAGE_PASS || s->content->c.record;
    struct es_type name = es_sheet_type(s, 7.4, good ? ES_REGULAR : ES_SEMIBOLD, ES_INK);
    struct es_type word =
        es_sheet_type(s, 6.6, good ? ES_REGULAR : ES_SEMIBOLD, good ? ES_INK_SECOND : ES_INK_ALERT);
    struct es_text measurand = {0};
    name.lines = 3;
    word.lines = 2;
    es_text_add(&measurand, l->measurand);
    if (!l->required && !s->content->c.record)
        es_text_add(&measurand, " (informs)");
    const char *text = measurand.bytes != NULL ? measurand.bytes : "";
    double height =
        fmax(es_canvas_text_height(s->canvas, &name, columns[MEASURAND].width, text) + 0.7 * s->scale,
             4.2 * s->scale);
    need_row(s, height);
    double y = s->y;
    if (verdict != ES_PAGE_NO_VERDICT) {
        es_draw_mark(s->canvas, verdict, false, ES_SHEET_LEFT + 0.3, y + 0.75 * s->scale, 2.9 * s->scale);
        double x = ES_SHEET_LEFT + 3.9;
        es_canvas_text_on(s->canvas, &word, x, y + 3.1 * s->scale, columns[VERDICT].width - 4.2, l->verdict);
    }
    cell(s, MEASURAND, name, y, text);
    if (!s->content->c.record)
        es_draw_bar(s->canvas, l, ES_SHEET_LEFT + columns[BAR].x, y + 0.6 * s->scale, columns[BAR].width,
                    3.2 * s->scale);
    draw_numbers(s, l, y);
    s->y += height;
    es_text_free(&measurand);
}

static void draw_reason(struct es_sheet *s, const char *reason)
{
    struct es_type type = es_sheet_type(s, 6.8, ES_REGULAR, ES_INK_SECOND);
    double x = ES_SHEET_LEFT + columns[MEASURAND].x, width = ES_SHEET_RIGHT - x;
    type.lines = 3;
    double height = es_canvas_text_height(s->canvas, &type, width, reason);
    need_row(s, height);
    es_canvas_text(s->canvas, &type, x, s->y - 0.4 * s->scale, width, reason);
    s->y += height + 0.4 * s->scale;
}

static bool same(const struct es_content_line *a, const struct es_content_line *b)
{
    return strcmp(a->verdict, b->verdict) == 0 && strcmp(a->procedure, b->procedure) == 0 &&
           strcmp(a->reason, b->reason) == 0;
}

/* Lines that one reason kept from being tested, in one paragraph. Gives how many. */
static size_t draw_untested(struct es_sheet *s, size_t from)
{
    const struct es_content *c = &s->content->c;
    struct es_type word = es_sheet_type(s, 6.6, ES_SEMIBOLD, ES_INK),
                   plain = es_sheet_type(s, 7.0, ES_REGULAR, ES_INK);
    struct es_text names = {0};
    size_t count = 0;
    double x = ES_SHEET_LEFT + columns[MEASURAND].x, width = ES_SHEET_RIGHT - x;
    for (; from + count < c->line_count && same(&c->lines[from], &c->lines[from + count]); count++)
        es_text_printf(&names, "%s%s%s", count > 0 ? ", " : "", c->lines[from + count].measurand,
                       c->lines[from + count].required ? "" : " (informs)");
    if (c->lines[from].reason[0] != '\0')
        es_text_printf(&names, " — %s", c->lines[from].reason);
    const char *text = names.bytes != NULL ? names.bytes : "";
    double height = es_canvas_text_height(s->canvas, &plain, width, text) + 0.8 * s->scale;
    need_row(s, fmin(height, 200));
    es_draw_mark(s->canvas, ES_PAGE_NOT_TESTED, false, ES_SHEET_LEFT + 0.3, s->y + 0.6 * s->scale,
                 2.9 * s->scale);
    es_canvas_text_on(s->canvas, &word, ES_SHEET_LEFT + 3.9, s->y + 3.1 * s->scale,
                      columns[VERDICT].width - 4.2, "not tested");
    es_canvas_text_on(s->canvas, &plain, x, s->y + 3.1 * s->scale, width, text);
    s->y += height;
    es_text_free(&names);
    return count;
}

static void draw_heading(struct es_sheet *s, const char *procedure)
{
    struct es_type type = es_sheet_type(s, 7.6, ES_SEMIBOLD, ES_INK);
    type.lines = 1;
    es_sheet_gap(s, 1.1);
    need_row(s, 9 * s->scale);
    s->y += es_canvas_text(s->canvas, &type, ES_SHEET_LEFT, s->y, ES_SHEET_WIDTH,
                           es_content_procedure_title(&s->content->c, procedure));
    es_sheet_gap(s, 0.2);
    es_canvas_line(s->canvas, ES_INK_HAIR, 0.12, ES_SHEET_LEFT, s->y, ES_SHEET_RIGHT, s->y);
    es_sheet_gap(s, 0.3);
}

static void draw_note(struct es_sheet *s)
{
    struct es_type type = es_sheet_type(s, 6.4, ES_REGULAR, ES_INK_SECOND);
    char text[400], k[40] = "the k stated";
    if (!isnan(s->content->k))
        snprintf(k, sizeof k, "k = %.2f", s->content->k);
    snprintf(text, sizeof text, "U: expanded uncertainty for about 95 %% coverage, %s (JCGM 100).%s", k,
             s->content->c.record
                 ? " A run that was not completed judges nothing."
                 : " Risk: probability that the true value lies outside the limits although this value was "
                   "measured (JCGM 106).");
    es_sheet_gap(s, 1);
    es_sheet_need(s, 4);
    s->y += es_canvas_text(s->canvas, &type, ES_SHEET_LEFT, s->y, ES_SHEET_WIDTH, text);
}

static bool anything_measured(const struct es_content *c)
{
    for (size_t i = 0; i < c->line_count; i++)
        if (c->lines[i].v.measured)
            return true;
    return false;
}

static void draw_nothing(struct es_sheet *s)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    s->y += es_canvas_text(s->canvas, &type, ES_SHEET_LEFT, s->y, ES_SHEET_WIDTH,
                           "Nothing. A run that was not completed judges nothing.");
}

void es_draw_lines(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_type type = es_sheet_type(s, 10, ES_SEMIBOLD, ES_INK);
    const char *procedure = NULL;
    es_sheet_gap(s, 1.5);
    es_canvas_text_on(s->canvas, &type, ES_SHEET_LEFT, s->y + 2.9 * s->scale, 60,
                      c->record ? "Measured before it ended" : "Results");
    if (!c->record)
        draw_key(s);
    es_sheet_gap(s, 4.2);
    if (c->record && !anything_measured(c)) {
        es_sheet_gap(s, 1);
        draw_nothing(s);
        return;
    }
    draw_column_heads(s);
    for (size_t i = 0; i < c->line_count;) {
        const struct es_content_line *l = &c->lines[i];
        if (c->record && isnan(l->v.value)) {
            i++;
            continue;
        }
        if (procedure == NULL || strcmp(procedure, l->procedure) != 0)
            draw_heading(s, procedure = l->procedure);
        if (es_page_verdict_of(l->verdict) == ES_PAGE_NOT_TESTED) {
            i += draw_untested(s, i);
            continue;
        }
        draw_row(s, l);
        if (l->reason[0] != '\0')
            draw_reason(s, l->reason);
        i++;
    }
    draw_note(s);
}

/* The results: what did not pass or nearly did not, then all lines. Few lines stand in wide rows in their
 * order, many in two columns (draw_table.c) after those that matter. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/line.h"

#define FEW         24 /* so many lines at most stand in wide rows */
#define NOTE_HEIGHT 7  /* mm, below the table */
#define CLOSE_MOST  8  /* lines that passed closely, shown before the others */

/* Columns, mm from the left edge of the text. */
enum { VERDICT, MEASURAND, BAR, VALUE, SPREAD, COVERAGE, LIMITS, RISK, COLUMNS };
static const struct es_column columns[COLUMNS] = {
    [VERDICT] = {0, 17, ES_LEFT},    [MEASURAND] = {17, 53, ES_LEFT}, [BAR] = {71.5, 28.5, ES_LEFT},
    [VALUE] = {101.5, 16, ES_RIGHT}, [SPREAD] = {118.7, 25, ES_LEFT}, [COVERAGE] = {144, 6, ES_RIGHT},
    [LIMITS] = {152, 20, ES_LEFT},   [RISK] = {172.5, 11, ES_RIGHT},
};

static void cell(struct es_sheet *s, int column, struct es_type type, double y, const char *text)
{
    es_line_cell(s, &columns[column], type, s->left, y, text);
}

static void fit(struct es_sheet *s, int column, struct es_type type, double y, const char *text)
{
    es_line_number(s, &columns[column], type, s->left, y, text);
}

static void draw_key(struct es_sheet *s)
{
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    const struct es_content_line example = {
        .verdict = "pass",
        .v = {.measured = true, .value = 7.2, .U = 0.9, .low = 6.3, .high = 8.1},
        .lower = -INFINITY,
        .upper = 10,
        .guard_band = 0.9};
    const char text[] = "value and U  ·  grey: within limits  ·  dotted: limit less guard band  ·  arrow: "
                        "outside the picture";
    double width = es_canvas_text_width(s->canvas, &type, text), h = 3 * s->scale;
    es_draw_bar(s->canvas, &example, s->right - width - 18, s->y + 0.3, 15, h);
    es_canvas_text_on(s->canvas, &type, s->right - width - 0.5, s->y + 2.7 * s->scale, width + 1, text);
}

static void draw_column_heads(struct es_sheet *s)
{
    static const char *const heads[COLUMNS] = {
        "Verdict", "Measurand", "Against its limits", "Value", "± U", "", "Limits", "Risk"};
    struct es_type type = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    for (int i = 0; i < COLUMNS; i++) {
        bool judges = i != VERDICT && i != BAR && i != LIMITS && i != RISK;
        if (!s->content->c.record || judges)
            cell(s, i, type, s->y, i == COVERAGE && s->content->k_differs ? "k" : heads[i]);
    }
    s->y += 4.2 * s->scale;
    es_canvas_line(s->canvas, ES_INK, 0.25, s->left, s->y, s->right, s->y);
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
    struct es_line_text value;
    char text[80];
    es_line_value(l, &value);
    fit(s, VALUE, plain, y, value.value);
    fit(s, SPREAD, plain, y, value.spread);
    es_line_coverage(s->content, l, false, text, sizeof text);
    fit(s, COVERAGE, small, y, text);
    if (s->content->c.record)
        return;
    es_line_limits(l, text, sizeof text);
    fit(s, LIMITS, plain, y, text);
    es_line_risk(l->false_acceptance, text, sizeof text);
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
    es_line_name(s, l, &measurand);
    const char *text = es_page_words(&measurand);
    double height =
        fmax(es_canvas_text_height(s->canvas, &name, columns[MEASURAND].width, text) + 0.7 * s->scale,
             4.2 * s->scale);
    need_row(s, height);
    double y = s->y;
    if (verdict != ES_PAGE_NO_VERDICT) {
        es_draw_mark(s->canvas, verdict, false, s->left + 0.3, y + 0.75 * s->scale, 2.9 * s->scale);
        double x = s->left + 3.9;
        es_canvas_text_on(s->canvas, &word, x, y + 3.1 * s->scale, columns[VERDICT].width - 4.2, l->verdict);
    }
    cell(s, MEASURAND, name, y, text);
    if (!s->content->c.record)
        es_draw_bar(s->canvas, l, s->left + columns[BAR].x, y + 0.6 * s->scale, columns[BAR].width,
                    3.2 * s->scale);
    draw_numbers(s, l, y);
    s->y += height;
    es_text_free(&measurand);
}

static void draw_reason(struct es_sheet *s, const char *reason)
{
    struct es_type type = es_sheet_type(s, 6.8, ES_REGULAR, ES_INK_SECOND);
    double x = s->left + columns[MEASURAND].x, width = s->right - x;
    type.lines = 3;
    double height = es_canvas_text_height(s->canvas, &type, width, reason);
    need_row(s, height);
    es_canvas_text(s->canvas, &type, x, s->y - 0.4 * s->scale, width, reason);
    s->y += height + 0.4 * s->scale;
}

/* Lines that were not tested, in one paragraph. */
static void draw_untested(struct es_sheet *s, const char *text)
{
    struct es_type word = es_sheet_type(s, 6.6, ES_SEMIBOLD, ES_INK),
                   plain = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    double x = s->left + columns[MEASURAND].x, width = s->right - x;
    plain.tight = true;
    double height = es_canvas_text_height(s->canvas, &plain, width, text) + 0.35 * s->scale;
    need_row(s, fmin(height, 200));
    es_draw_mark(s->canvas, ES_PAGE_NOT_TESTED, false, s->left + 0.3, s->y + 0.75 * s->scale, 2.9 * s->scale);
    es_canvas_text_on(s->canvas, &word, s->left + 3.9, s->y + 3.1 * s->scale, columns[VERDICT].width - 4.2,
                      "not tested");
    es_canvas_text_on(s->canvas, &plain, x, s->y + 3.1 * s->scale, width, text);
    s->y += height;
}

/* All names, then why. */
static void draw_untested_names(struct es_sheet *s, size_t from, size_t count)
{
    const struct es_content *c = &s->content->c;
    struct es_text text = {0};
    es_line_names(c, from, count, &text);
    if (c->lines[from].reason[0] != '\0')
        es_text_printf(&text, " — %s", c->lines[from].reason);
    draw_untested(s, es_page_words(&text));
    es_text_free(&text);
}

/* How many of what, and why: their names stand among the others. */
static void draw_untested_count(struct es_sheet *s, size_t from, size_t count)
{
    const struct es_content *c = &s->content->c;
    const struct es_content_line *l = &c->lines[from];
    struct es_text text = {0};
    if (count == 1)
        es_text_add(&text, l->measurand);
    else
        es_text_printf(&text, "%zu lines of “%s”", count, es_content_procedure_title(c, l->procedure));
    if (l->reason[0] != '\0')
        es_text_printf(&text, ": %s", l->reason);
    draw_untested(s, es_page_words(&text));
    es_text_free(&text);
}

static void draw_heading(struct es_sheet *s, const char *procedure)
{
    struct es_type type = es_sheet_type(s, 7.6, ES_SEMIBOLD, ES_INK);
    type.lines = 1;
    es_sheet_gap(s, 1.1);
    need_row(s, 9 * s->scale);
    s->y += es_canvas_text(s->canvas, &type, s->left, s->y, s->width,
                           es_content_procedure_title(&s->content->c, procedure));
    es_sheet_gap(s, 0.2);
    es_canvas_line(s->canvas, ES_INK_HAIR, 0.12, s->left, s->y, s->right, s->y);
    es_sheet_gap(s, 0.3);
}

static void draw_note(struct es_sheet *s, bool table)
{
    struct es_type type = es_sheet_type(s, 6.4, ES_REGULAR, ES_INK_SECOND);
    struct es_text text = {0};
    type.tight = true;
    es_text_add(&text, "U: expanded uncertainty for about 95 % coverage");
    if (!isnan(s->content->k) && !(s->content->k_differs && !table))
        es_text_printf(&text, ", k = %.2f%s", s->content->k,
                       s->content->k_differs ? " where no other k stands beside it" : "");
    else if (!isnan(s->content->k))
        es_text_add(&text, ", the k stated");
    es_text_add(&text, " (JCGM 100).");
    if (s->content->by_trials > 0)
        es_text_add(&text,
                    " MC: 95 % interval by Monte Carlo trials (JCGM 101), which need not be symmetric.");
    if (s->content->c.record)
        es_text_add(&text, " A run that was not completed judges nothing.");
    else
        es_text_printf(&text,
                       " Risk: probability that the true value lies outside the limits although this value "
                       "was measured (JCGM 106)%s.",
                       table ? "; less than 0.1 % where none is stated" : "");
    if (table && s->content->informing > 0)
        es_text_add(&text, " A limit in brackets decides nothing.");
    es_sheet_gap(s, 1);
    es_sheet_text(s, &type, s->left, es_page_words(&text));
    es_text_free(&text);
}

static bool anything_measured(const struct es_content *c)
{
    for (size_t i = 0; i < c->line_count; i++)
        if (c->lines[i].v.measured)
            return true;
    return false;
}

static void draw_result(struct es_sheet *s, const struct es_content_line *l)
{
    draw_row(s, l);
    if (l->reason[0] != '\0')
        draw_reason(s, l->reason);
}

/* Every line in a wide row, in its order. */
static void draw_wide(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    const char *procedure = NULL;
    draw_column_heads(s);
    for (size_t i = 0; i < c->line_count;) {
        const struct es_content_line *l = &c->lines[i];
        size_t untested = es_line_untested(c, i);
        if (c->record && isnan(l->v.value)) {
            i++;
            continue;
        }
        if (procedure == NULL || strcmp(procedure, l->procedure) != 0)
            draw_heading(s, procedure = l->procedure);
        if (untested > 0)
            draw_untested_names(s, i, untested);
        else
            draw_result(s, l);
        i += untested > 0 ? untested : 1;
    }
}

static void start(struct es_sheet *s, const char *title, bool key)
{
    es_sheet_title(s, title, 12);
    if (key) {
        s->y -= 4.8 * s->scale;
        draw_key(s);
        es_sheet_gap(s, 4.8);
    }
}

/* What did not pass of the lines that decide, the failures first; *heads: the columns' heads stand above
 * them. */
static bool draw_not_passed(struct es_sheet *s, bool *heads)
{
    static const enum es_page_verdict order[] = {ES_PAGE_FAIL, ES_PAGE_CONDITIONAL_FAIL,
                                                 ES_PAGE_CONDITIONAL_PASS, ES_PAGE_NOT_TESTED};
    const struct es_content *c = &s->content->c;
    bool any = false;
    for (size_t n = 0; n < sizeof order / sizeof order[0]; n++) {
        for (size_t i = 0; i < c->line_count;) {
            size_t untested = es_line_untested(c, i);
            bool decides = untested > 0 ? es_line_untested_decides(c, i, untested) : c->lines[i].required;
            if (decides && es_page_verdict_of(c->lines[i].verdict) == order[n]) {
                if (!any)
                    start(s, "What did not pass", true);
                if (!*heads && untested == 0)
                    draw_column_heads(s);
                *heads |= untested == 0;
                any = true;
                if (untested > 0)
                    draw_untested_count(s, i, untested);
                else
                    draw_result(s, &c->lines[i]);
            }
            i += untested > 0 ? untested : 1;
        }
    }
    return any;
}

/* The riskiest line that passed closely and is less risky than `than`, or as risky and later; NULL: none. */
static const struct es_content_line *next_close(const struct es_content *c,
                                                const struct es_content_line *than)
{
    const struct es_content_line *best = NULL;
    for (size_t i = 0; i < c->line_count; i++) {
        const struct es_content_line *l = &c->lines[i];
        if (!es_page_close(l))
            continue;
        bool after = than == NULL || l->false_acceptance < than->false_acceptance ||
                     (l->false_acceptance == than->false_acceptance && l > than);
        if (after && (best == NULL || l->false_acceptance > best->false_acceptance))
            best = l;
    }
    return best;
}

/* Near misses, the nearest first; without `heads` where those stand above. */
static bool draw_close(struct es_sheet *s, bool key, bool heads)
{
    const struct es_content *c = &s->content->c;
    const struct es_content_line *l = next_close(c, NULL);
    bool any = l != NULL;
    if (!any)
        return false;
    int page = s->page;
    start(s, "Passed, but close to a limit", key);
    if (heads || s->page != page)
        draw_column_heads(s);
    for (int n = 0; l != NULL && n < CLOSE_MOST; n++, l = next_close(c, l))
        draw_row(s, l);
    return true;
}

enum es_status es_draw_lines(struct es_sheet *s, struct es_error *err)
{
    const struct es_content *c = &s->content->c;
    struct es_type type = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    enum es_status status = ES_OK;
    if (c->record && !anything_measured(c)) {
        start(s, "Measured before it ended", false);
        es_sheet_text(s, &type, s->left, "Nothing. A run that was not completed judges nothing.");
        return ES_OK;
    }
    bool table = c->line_count > FEW, heads = false;
    bool shown = table && !c->record && draw_not_passed(s, &heads);
    shown |= table && !c->record && draw_close(s, !shown, !heads);
    start(s,
          c->record ? "Measured before it ended"
          : shown   ? "All results"
                    : "Results",
          !c->record && !shown);
    if (table)
        status = es_draw_table(s, NOTE_HEIGHT * s->scale, err);
    else
        draw_wide(s);
    draw_note(s, table);
    return status;
}

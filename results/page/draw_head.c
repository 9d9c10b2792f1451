/* The upper part of the first page: who, what number, the verdict, the unit. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/sheet.h"
#include "rig/base/text.h"

#define PANEL_WIDTH  50.0
#define CODE_SIZE    24.0 /* mm */
#define LABEL_NEARER 0.4  /* to its fact than lines of text stand, mm */
#define FACT_GAP     0.7  /* mm below a fact */

static double draw_laboratory(struct es_sheet *s, double y, double width)
{
    const struct es_content *c = &s->content->c;
    struct es_type name = {.size = 9.5, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 2};
    struct es_type small = {.size = 7.2, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 2};
    const char *who = c->laboratory[0] != '\0' ? c->laboratory : "Laboratory not stated";
    y += es_canvas_text(s->canvas, &name, s->left, y, width, who);
    y += es_canvas_text(s->canvas, &small, s->left, y, width, c->laboratory_address);
    if (c->place_of_test[0] != '\0' && strcmp(c->place_of_test, c->laboratory) != 0) {
        struct es_text where = {0};
        es_text_printf(&where, "Place of test: %s", c->place_of_test);
        y += es_canvas_text(s->canvas, &small, s->left, y, width, es_page_words(&where));
        es_text_free(&where);
    }
    return y;
}

static double draw_number(struct es_sheet *s, double y, double x, double width)
{
    const struct es_content *c = &s->content->c;
    struct es_type number = {.size = 13, .weight = ES_SEMIBOLD, .ink = ES_INK, .align = ES_RIGHT, .lines = 2};
    struct es_type small = {
        .size = 7.2, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .align = ES_RIGHT, .lines = 3};
    char time[80], text[160];
    y += es_canvas_text(s->canvas, &number, x, y - 1.2, width, c->number) - 1.2;
    es_page_time(c->issued, time, sizeof time);
    snprintf(text, sizeof text, "issued %s", time);
    y += es_canvas_text(s->canvas, &small, x, y, width, text);
    if (c->replaces[0] != '\0') {
        struct es_text why = {0};
        es_text_printf(&why, "replaces %s%s%s", c->replaces, c->replaces_because[0] != '\0' ? ": " : "",
                       c->replaces_because);
        y += es_canvas_text(s->canvas, &small, x, y, width, es_page_words(&why));
        es_text_free(&why);
    }
    return y;
}

/* Who, which number, what it is; right of it all the code. */
static enum es_status draw_letterhead(struct es_sheet *s, struct es_error *err)
{
    struct es_type title = {.size = 17, .weight = ES_LIGHT, .ink = ES_INK, .lines = 2};
    double width = s->width - CODE_SIZE - 6, half = width / 2, code = 0;
    double left = draw_laboratory(s, ES_SHEET_TOP, half);
    double right = draw_number(s, ES_SHEET_TOP, s->left + half + 4, half - 4);
    enum es_status status = es_draw_code(s, s->right - CODE_SIZE, ES_SHEET_TOP + 0.5, CODE_SIZE, &code, err);
    double y = fmax(fmax(left, right) + 1, ES_SHEET_TOP + 13.5);
    y += es_canvas_text(s->canvas, &title, s->left, y, width, s->content->c.title);
    s->y = fmax(y + 1.5, code);
    es_canvas_line(s->canvas, ES_INK, 0.5, s->left, s->y, s->right, s->y);
    s->y += 3;
    return status;
}

/* Hatching on both sides of the text, which no copier takes for a background. */
static void hatch(struct es_canvas *canvas, double x, double y, double width, double height)
{
    cairo_t *cr = es_canvas_cairo(canvas);
    if (!es_canvas_draws(canvas))
        return;
    cairo_save(cr);
    cairo_rectangle(cr, x, y, width, height);
    cairo_clip(cr);
    es_canvas_ink(canvas, ES_INK_HAIR);
    cairo_set_line_width(cr, 0.5);
    for (int i = 0; 2 * i < width + height; i++) {
        double at = x - height + 2 * i;
        cairo_move_to(cr, at, y + height);
        cairo_line_to(cr, at + height, y);
    }
    cairo_stroke(cr);
    cairo_restore(cr);
}

static void draw_band(struct es_sheet *s, const char *text, enum es_ink ink)
{
    const double height = 5.2;
    struct es_type type = {.size = 8, .weight = ES_SEMIBOLD, .ink = ink, .align = ES_CENTRE, .lines = 2};
    double width = fmin(es_canvas_text_width(s->canvas, &type, text) + 8, s->width - 16);
    double side = (s->width - width) / 2, tall = es_canvas_text_height(s->canvas, &type, width, text);
    double all = fmax(height, tall);
    hatch(s->canvas, s->left, s->y, side, all);
    hatch(s->canvas, s->right - side, s->y, side, all);
    es_canvas_text(s->canvas, &type, s->left + side, s->y + (all - tall) / 2, width, text);
    s->y += all + 2;
}

/* What has to be seen before the verdict: nothing real was tested, or the document is out of force. */
static void draw_bands(struct es_sheet *s)
{
    const struct es_certificate_report *report = s->content->report;
    if (s->content->c.virtual_bench)
        draw_band(s, "VIRTUAL BENCH: no real unit was tested. This is no evidence about any unit.", ES_INK);
    for (size_t i = 0; i < report->signature_count; i++) {
        const struct es_certificate_signature *by = &report->signatures[i];
        struct es_text text = {0};
        if (strcmp(by->role, ES_ROLE_OF_VOID) != 0)
            continue;
        es_text_printf(&text, "VOID: taken out of force on %.10s by %s: %s", by->time, by->name, by->reason);
        draw_band(s, text.bytes != NULL ? text.bytes : "VOID", ES_INK_ALERT);
        es_text_free(&text);
    }
}

static void part(struct es_text *out, size_t count, const char *what)
{
    if (count > 0)
        es_text_printf(out, "%s%zu %s", out->length > 0 ? ", " : "", count, what);
}

/* "31 of 36 deciding lines pass, 2 fail, 3 not tested; 4 more inform" */
static void count_text(const struct es_page_content *c, struct es_text *out)
{
    size_t decide = 0;
    for (size_t i = 0; i <= ES_PAGE_NOT_TESTED; i++)
        decide += c->counts[i];
    if (decide > 0 && c->counts[ES_PAGE_PASS] == decide) {
        es_text_printf(out, decide == 1 ? "the line that decides passes" : "all %zu lines that decide pass",
                       decide);
    } else {
        part(out, c->counts[ES_PAGE_FAIL], "fail");
        part(out, c->counts[ES_PAGE_CONDITIONAL_FAIL], "conditional fail");
        part(out, c->counts[ES_PAGE_CONDITIONAL_PASS], "conditional pass");
        part(out, c->counts[ES_PAGE_NOT_TESTED], "not tested");
        part(out, c->counts[ES_PAGE_PASS], "pass");
        es_text_printf(out, "%sof %zu line%s that decide", out->length > 0 ? ", " : "", decide,
                       decide == 1 ? "" : "s");
    }
    if (c->informing > 0)
        es_text_printf(out, "; %zu more only inform", c->informing);
}

/* How it was decided, in the words of the lines: "guarded acceptance". */
static void rules_text(const struct es_content *c, struct es_text *out)
{
    for (size_t i = 0; i < c->line_count; i++) {
        const char *rule = c->lines[i].rule;
        if (rule[0] == '\0' || out->length > 100 || (out->bytes != NULL && strstr(out->bytes, rule) != NULL))
            continue;
        es_text_printf(out, "%s%s", out->length > 0 ? ", " : "Decision rule: ", rule);
    }
}

/* Whose hand is on it: the release is what a customer looks for. */
static void signers_text(const struct es_page_content *p, struct es_text *out)
{
    if (p->c.record)
        return;
    if (p->released_by == NULL)
        es_text_add(out, "Not released by a second person.");
    else
        es_text_printf(out, "Released by %s, %.10s%s", p->released_by->name, p->released_by->time,
                       p->released_by->trusted == NULL ? " (key not checked)" : "");
}

/* Mark and word; gives their height. */
static double draw_word(struct es_sheet *s, double x, double y, double inner)
{
    const struct es_page_content *p = s->content;
    const double mark = 12;
    bool calm = p->verdict == ES_PAGE_PASS || p->c.record;
    struct es_type word = {.weight = ES_SEMIBOLD, .ink = calm ? ES_INK : ES_INK_ALERT, .lines = 2};
    char capitals[40];
    snprintf(capitals, sizeof capitals, "%s", p->c.record ? "not completed" : p->c.verdict);
    for (char *letter = capitals; *letter != '\0'; letter++)
        if (*letter >= 'a' && *letter <= 'z')
            *letter = (char)(*letter - 'a' + 'A');
    word.size = strlen(capitals) > 5 ? 12 : 24;
    double wide = inner - mark - 3, tall = es_canvas_text_height(s->canvas, &word, wide, capitals);
    es_draw_mark(s->canvas, p->verdict, p->c.record, x, y, mark);
    es_canvas_text(s->canvas, &word, x + mark + 3, y + (mark - tall) / 2, wide, capitals);
    return fmax(mark, tall);
}

/* The panel's content; gives its height. */
static double draw_verdict(struct es_sheet *s, double top)
{
    const struct es_page_content *p = s->content;
    const double inner = PANEL_WIDTH - 8, x = s->left + 4;
    struct es_type plain = {.size = 7.6, .weight = ES_REGULAR, .ink = ES_INK, .lines = 8};
    struct es_type small = {.size = 7, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 4};
    struct es_text sentence = {0}, rules = {0}, signers = {0};
    if (p->c.record)
        es_text_add(&sentence, "The run ended before the unit could be judged.");
    else
        count_text(p, &sentence);
    if (!p->c.record)
        rules_text(&p->c, &rules);
    signers_text(p, &signers);
    double y = top + 4;
    y += draw_word(s, x, y, inner) + 2.5;
    y += es_canvas_text(s->canvas, &plain, x, y, inner, es_page_words(&sentence)) + 1;
    y += es_canvas_text(s->canvas, &small, x, y, inner, es_page_words(&rules)) + 1;
    plain.lines = 3;
    y += es_canvas_text(s->canvas, &plain, x, y, inner, es_page_words(&signers));
    es_text_free(&sentence);
    es_text_free(&rules);
    es_text_free(&signers);
    return y + 2.5 - top;
}

enum { FACT_COLUMNS = 4 };

struct fact {
    const char *label, *text;
    int columns; /* it takes */
};

/* Label above, value below, four beside one another. Gives the height taken. */
static double draw_facts(struct es_sheet *s, const struct fact *facts, size_t count, double top)
{
    struct es_type label = {.size = 6.4, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .lines = 1};
    struct es_type value = {.size = 8, .weight = ES_REGULAR, .ink = ES_INK, .lines = 6, .tight = true};
    struct es_type first = {.size = 11, .weight = ES_SEMIBOLD, .ink = ES_INK, .lines = 8};
    const double left = s->left + PANEL_WIDTH + 6, each = (s->right - left) / FACT_COLUMNS;
    double y = top, tallest = 0;
    int column = 0;
    for (size_t i = 0; i < count; i++) {
        if (facts[i].text[0] == '\0')
            continue;
        if (column + facts[i].columns > FACT_COLUMNS) {
            y += tallest;
            tallest = column = 0;
        }
        double x = left + column * each, width = facts[i].columns * each - 3;
        const struct es_type *type = i == 0 ? &first : &value;
        double height = es_canvas_text(s->canvas, &label, x, y, width, facts[i].label);
        height += es_canvas_text(s->canvas, type, x, y + height - LABEL_NEARER, width, facts[i].text);
        height += FACT_GAP - LABEL_NEARER;
        tallest = fmax(tallest, height);
        column += facts[i].columns;
    }
    return y + tallest - top;
}

/* "first, second" of what is there. */
static void pair(struct es_text *out, const char *first, const char *between, const char *second)
{
    es_text_add(out, first);
    if (second[0] != '\0')
        es_text_printf(out, "%s%s", first[0] != '\0' ? between : "", second);
}

static double draw_unit(struct es_sheet *s, double top)
{
    const struct es_content *c = &s->content->c;
    struct es_text plan = {0}, tested = {0}, customer = {0}, before = {0}, received = {0};
    char date[12];
    snprintf(date, sizeof date, "%.10s", c->began);
    pair(&plan, c->plan.title[0] != '\0' ? c->plan.title : c->plan.name, ", version ", c->plan.version);
    pair(&tested, date, ", by ", c->person);
    pair(&customer, c->customer, ", ", c->customer_contact);
    pair(&before, c->before_state, ": ", c->before_verdict);
    pair(&before, "", "", c->before_number[0] != '\0' ? " in " : "");
    es_text_add(&before, c->before_number);
    pair(&received, c->received, ", ", c->condition);
    const struct fact facts[] = {
        {"Serial number", c->serial, 2},
        {"Tag", c->tag, 1},
        {"State", c->state, 1},
        {"Type", c->type, 2},
        {"Test plan", es_page_words(&plan), 2},
        {"Customer", es_page_words(&customer), 2},
        {"Lot", c->lot, 1},
        {"Supplier", c->supplier, 1},
        {"Customer's reference", c->customer_reference, 2},
        {"Reason", c->reason, 2},
        {"Tested", es_page_words(&tested), 2},
        {"Received", es_page_words(&received), 1},
        {"Found", c->found, 1},
        {"Parts replaced before", c->parts_replaced, 1},
        {"Result before", es_page_words(&before), 1},
    };
    double height = draw_facts(s, facts, sizeof facts / sizeof facts[0], top);
    es_text_free(&plan);
    es_text_free(&tested);
    es_text_free(&customer);
    es_text_free(&before);
    es_text_free(&received);
    return height;
}

/* Of a record: over the whole width, for it says in which state the bench was left. */
static void draw_end_of_run(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_type type = es_sheet_type(s, 9, ES_SEMIBOLD, ES_INK);
    type.lines = 12;
    if (!c->record || c->ended_because[0] == '\0')
        return;
    es_sheet_title(s, "Why it ended", 8);
    es_sheet_text(s, &type, s->left, c->ended_because);
}

enum es_status es_draw_head(struct es_sheet *s, struct es_error *err)
{
    const struct es_page_content *p = s->content;
    enum es_status status = draw_letterhead(s, err);
    if (status != ES_OK)
        return status;
    draw_bands(s);
    double panel = draw_verdict(s, s->y);
    double height = fmax(panel, draw_unit(s, s->y));
    bool calm = p->verdict == ES_PAGE_PASS || p->c.record;
    es_canvas_frame(s->canvas, calm ? ES_INK : ES_INK_ALERT, calm ? 0.35 : 0.9, s->left, s->y, PANEL_WIDTH,
                    height);
    s->y += height + 1.5;
    draw_end_of_run(s);
    return ES_OK;
}

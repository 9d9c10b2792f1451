/* Likely causes, or what may still be wrong: the member "interpretation" of docs/certificate.md, where there
 * is one. An opinion (ISO/IEC 17025:2017 7.8.7), kept apart from the results and called so. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/sheet.h"
#include "rig/base/text.h"

#define BAR_LEFT      16.0 /* mm from the left edge */
#define BAR_WIDTH     24.0
#define NAME_LEFT     (BAR_LEFT + BAR_WIDTH + 4)
#define MOST          8    /* causes that are drawn */
#define TOGETHER_MOST 60.0 /* mm that are kept on one page */

static const char *text_of(const cJSON *object, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return text != NULL ? text : "";
}

static double number_of(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return cJSON_IsNumber(item) ? item->valuedouble : NAN;
}

static void percent(double probability, char *out, size_t size)
{
    if (isnan(probability) || probability < 0 || probability > 1)
        snprintf(out, size, "?");
    else if (probability > 0.99)
        snprintf(out, size, "over 99 %%");
    else
        snprintf(out, size, "%.*f %%", probability < 0.0995 ? 1 : 0, 100 * probability);
}

static void draw_evidence(struct es_sheet *s, const cJSON *cause)
{
    struct es_type small = es_sheet_type(s, 6.6, ES_REGULAR, ES_INK_SECOND);
    struct es_text all = {0};
    const cJSON *item;
    small.lines = 6;
    small.tight = true;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(cause, "evidence"))
    {
        if (cJSON_IsString(item))
            es_text_printf(&all, "%s%s", all.length > 0 ? "  ·  " : "", item->valuestring);
    }
    const cJSON *prior = cJSON_GetObjectItemCaseSensitive(cause, "prior"); /* what confirmed repairs moved */
    if (cJSON_IsObject(prior)) {
        char assumed[24], moved[24];
        percent(number_of(prior, "assumed"), assumed, sizeof assumed);
        percent(number_of(prior, "moved_to"), moved, sizeof moved);
        es_text_printf(&all, "%sconfirmed repairs moved its rate from %s to %s",
                       all.length > 0 ? "  ·  " : "", assumed, moved);
    }
    if (all.length > 0)
        es_sheet_text(s, &small, s->left + NAME_LEFT, all.bytes);
    es_text_free(&all);
}

static void draw_cause(struct es_sheet *s, const cJSON *cause, bool first)
{
    struct es_type name = es_sheet_type(s, 7.6, first ? ES_SEMIBOLD : ES_REGULAR, ES_INK);
    struct es_type share = name;
    struct es_text text = {0};
    char number[24];
    double probability = number_of(cause, "probability"), h = 2.4 * s->scale;
    share.align = ES_RIGHT;
    name.lines = 3;
    percent(probability, number, sizeof number);
    es_text_printf(&text, "%s%s%s%s", text_of(cause, "cause"), text_of(cause, "place")[0] != '\0' ? " (" : "",
                   text_of(cause, "place"), text_of(cause, "place")[0] != '\0' ? ")" : "");
    const char *what = es_page_words(&text);
    es_sheet_gap(s, 0.5);
    es_sheet_need(s, es_canvas_text_height(s->canvas, &name, s->right - s->left - NAME_LEFT, what) + 3);
    double y = s->y, baseline = y + 3.0 * s->scale;
    es_canvas_text_on(s->canvas, &share, s->left, baseline, 14.5, number);
    es_canvas_fill(s->canvas, ES_INK_FILL, s->left + BAR_LEFT, y + 1.1 * s->scale, BAR_WIDTH, h);
    if (probability >= 0 && probability <= 1)
        es_canvas_fill(s->canvas, ES_INK_SECOND, s->left + BAR_LEFT, y + 1.1 * s->scale,
                       BAR_WIDTH * probability, h);
    s->y += fmax(es_canvas_text_on(s->canvas, &name, s->left + NAME_LEFT, baseline,
                                   s->right - s->left - NAME_LEFT, what),
                 4 * s->scale);
    es_text_free(&text);
    draw_evidence(s, cause);
}

static void draw_next(struct es_sheet *s, const cJSON *next)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK),
                   caution = es_sheet_type(s, 7.4, ES_SEMIBOLD, ES_INK);
    struct es_text text = {0};
    double minutes = number_of(next, "minutes");
    if (text_of(next, "do")[0] == '\0')
        return;
    es_text_printf(&text, "Check next: %s", text_of(next, "do"));
    if (minutes > 0 && minutes < 1e4)
        es_text_printf(&text, " (about %.0f min)", fmax(minutes, 1));
    es_sheet_gap(s, 0.8);
    type.lines = caution.lines = 5;
    es_sheet_text(s, &type, s->left, es_page_words(&text));
    es_text_free(&text);
    if (text_of(next, "caution")[0] != '\0') {
        es_text_printf(&text, "Caution: %s", text_of(next, "caution"));
        es_sheet_text(s, &caution, s->left, es_page_words(&text));
        es_text_free(&text);
    }
}

static void draw_remaining(struct es_sheet *s, const cJSON *about)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    char now[24], most[24], before[24], text[240];
    if (isnan(number_of(about, "probability")))
        return;
    percent(number_of(about, "probability"), now, sizeof now);
    percent(number_of(about, "at_most"), most, sizeof most);
    percent(number_of(about, "before_the_test"), before, sizeof before);
    snprintf(text, sizeof text,
             "That a fault which matters was not found: %s, at most %s; before the test it was %s.", now,
             most, before);
    es_sheet_text(s, &type, s->left, text);
}

static void add_texts(const cJSON *about, const char *name, struct es_text *all)
{
    const cJSON *item;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(about, name))
    {
        if (cJSON_IsString(item))
            es_text_printf(all, "%s%s", all->length > 0 ? "  ·  " : "", item->valuestring);
    }
}

static void draw_basis(struct es_sheet *s, const cJSON *about)
{
    struct es_type small = es_sheet_type(s, 6.2, ES_REGULAR, ES_INK_SECOND);
    struct es_text all = {0};
    small.lines = 8;
    small.tight = true;
    es_text_add(&all, "An interpretation, no result.");
    if (text_of(about, "learned_from")[0] != '\0')
        es_text_printf(&all, "  ·  Learned from: %s", text_of(about, "learned_from"));
    add_texts(about, "remarks", &all);
    add_texts(about, "assumptions", &all);
    es_sheet_gap(s, 0.6);
    es_sheet_text(s, &small, s->left, es_page_words(&all));
    es_text_free(&all);
}

/* "spool worn (unit) 0.1 %, ..." */
static void draw_leading(struct es_sheet *s, const cJSON *about)
{
    struct es_type type = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    struct es_text text = {0};
    const cJSON *cause;
    int drawn = 0;
    type.lines = 3;
    cJSON_ArrayForEach(cause, cJSON_GetObjectItemCaseSensitive(about, "leading"))
    {
        char number[24];
        percent(number_of(cause, "probability"), number, sizeof number);
        if (drawn < MOST)
            es_text_printf(&text, "%s%s (%s) %s", drawn == 0 ? "First among them: " : ", ",
                           text_of(cause, "cause"), text_of(cause, "place"), number);
        drawn++;
    }
    if (text.length > 0)
        es_sheet_text(s, &type, s->left, text.bytes);
    es_text_free(&text);
}

static void draw_all_causes(struct es_sheet *s, const cJSON *about)
{
    struct es_type plain = es_sheet_type(s, 7.4, ES_REGULAR, ES_INK);
    const cJSON *cause;
    int drawn = 0;
    if (text_of(about, "why")[0] != '\0')
        es_sheet_text(s, &plain, s->left, text_of(about, "why"));
    cJSON_ArrayForEach(cause, cJSON_GetObjectItemCaseSensitive(about, "causes"))
    {
        if (drawn < MOST)
            draw_cause(s, cause, drawn == 0);
        drawn++;
    }
    draw_next(s, cJSON_GetObjectItemCaseSensitive(about, "next_check"));
}

static void draw_all(struct es_sheet *s, const cJSON *about)
{
    bool remaining = strcmp(text_of(about, "about"), "undetected fault") == 0;
    es_sheet_title(s, remaining ? "What may still be wrong" : "Likely causes", 12);
    if (remaining) {
        draw_remaining(s, about);
        draw_leading(s, about);
    } else {
        draw_all_causes(s, about);
    }
    draw_basis(s, about);
}

/* On a page without end. */
static double height_of_all(const struct es_sheet *s, const cJSON *about)
{
    struct es_sheet endless = *s;
    endless.bottom = INFINITY;
    es_canvas_hold(s->canvas, true);
    draw_all(&endless, about);
    es_canvas_hold(s->canvas, false);
    return endless.y - s->y;
}

void es_draw_causes(struct es_sheet *s)
{
    const cJSON *about = cJSON_GetObjectItemCaseSensitive(s->content->root, "interpretation");
    if (!cJSON_IsObject(about) || strcmp(text_of(about, "about"), "nothing known") == 0)
        return; /* why nothing is known stands in the small print */
    double height = height_of_all(s, about);
    if (height < TOGETHER_MOST) /* what to check next stands below what it is about */
        es_sheet_need(s, height);
    draw_all(s, about);
}

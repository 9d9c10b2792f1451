#include <stdio.h>
#include <stdlib.h>

#include "results/page/page.h"
#include "results/page/sheet.h"

static enum es_status open_canvas(const struct es_page_content *content, enum es_canvas_format format,
                                  int pages, bool trial, struct es_canvas **out, struct es_error *err)
{
    const struct es_content *c = &content->c;
    char subject[160];
    snprintf(subject, sizeof subject, "%.60s, serial %.60s", c->number, c->serial);
    const struct es_canvas_about about = {
        .title = c->title, .author = c->laboratory, .subject = subject, .created = c->issued};
    return es_canvas_new(format, ES_SHEET_PAGE_WIDTH, ES_SHEET_PAGE_HEIGHT, pages, trial, &about, out, err);
}

struct layout {
    double scale;    /* see struct es_sheet */
    bool back_apart; /* what the results rest on begins a page */
    bool end_alone;  /* told by drawing: the signatures begin a page */
};

/* Draws everything; *pages: how many it is said to take, then how many it took. */
static enum es_status draw(const struct es_page_content *content, struct es_canvas *canvas,
                           struct layout *layout, int *pages, struct es_error *err)
{
    struct es_sheet sheet = {
        .canvas = canvas, .content = content, .scale = layout->scale, .page = 1, .pages = *pages};
    es_draw_head(&sheet);
    es_draw_lines(&sheet);
    es_draw_causes(&sheet);
    es_draw_curves(&sheet);
    if (layout->back_apart)
        es_sheet_new_page(&sheet);
    es_draw_back(&sheet);
    enum es_status s = es_draw_end(&sheet, err);
    es_sheet_foot(&sheet);
    if (s == ES_OK && sheet.too_long)
        s = es_fail(err, ES_RANGE, "the certificate is too long to print: more than %d pages",
                    ES_SHEET_MOST_PAGES);
    *pages = sheet.page;
    layout->end_alone = sheet.end_alone;
    return s;
}

/* Signatures alone on the second page look like a leftover: what the results rest on goes there with them, if
 * it has room. */
static enum es_status try_apart(const struct es_page_content *content, struct es_canvas *trial,
                                struct layout *layout, int pages, struct es_error *err)
{
    struct layout apart = {.scale = layout->scale, .back_apart = true};
    int took = 1;
    if (pages != 2 || !layout->end_alone)
        return ES_OK;
    enum es_status s = draw(content, trial, &apart, &took, err);
    if (s == ES_OK && took == pages)
        *layout = apart;
    return s;
}

/* The largest type below full size that takes `fewest` pages. */
static enum es_status shrink(const struct es_page_content *content, struct es_canvas *trial, int fewest,
                             struct layout *layout, int *pages, struct es_error *err)
{
    static const double scales[] = {0.95, 0.9, 0.85};
    enum es_status s = ES_OK;
    int took = 0;
    for (size_t i = 0; s == ES_OK && took != fewest && i < sizeof scales / sizeof scales[0]; i++) {
        *layout = (struct layout){.scale = scales[i]};
        s = draw(content, trial, layout, &took, err);
    }
    *pages = took;
    return s;
}

/* As few pages as the smallest legible type takes, set in the largest type that takes no more; what is long
 * in any case is set in full size. */
static enum es_status find_layout(const struct es_page_content *content, struct layout *layout, int *pages,
                                  struct es_error *err)
{
    struct layout least = {.scale = 0.85};
    struct es_canvas *trial = NULL;
    int fewest = 1;
    *layout = (struct layout){.scale = 1};
    *pages = 1;
    enum es_status s = open_canvas(content, ES_CANVAS_PDF, 1, true, &trial, err);
    if (s == ES_OK)
        s = draw(content, trial, layout, pages, err);
    if (s == ES_OK && (*pages == 2 || *pages == 3)) {
        s = draw(content, trial, &least, &fewest, err);
        if (s == ES_OK && fewest < *pages)
            s = shrink(content, trial, fewest, layout, pages, err);
    }
    if (s == ES_OK)
        s = try_apart(content, trial, layout, *pages, err);
    es_canvas_free(trial);
    return s;
}

enum es_status es_page_draw(const struct es_certificate_report *report, const cJSON *root,
                            enum es_canvas_format format, char **bytes, size_t *length, struct es_error *err)
{
    struct es_page_content content;
    struct es_canvas *canvas = NULL;
    struct layout layout;
    int pages = 1;
    if (report->finding != ES_CERTIFICATE_VALID && report->finding != ES_CERTIFICATE_UNKNOWN_KEY &&
        report->finding != ES_CERTIFICATE_VOID)
        return es_fail(err, ES_NOT_VALID, "%s No page is drawn.", report->text);
    enum es_status s = es_page_content_read(report, root, &content, err);
    if (s != ES_OK)
        return s;
    s = find_layout(&content, &layout, &pages, err);
    if (s == ES_OK)
        s = open_canvas(&content, format, pages, false, &canvas, err);
    if (s == ES_OK)
        s = draw(&content, canvas, &layout, &pages, err);
    if (s == ES_OK)
        s = es_canvas_finish(canvas, bytes, length, err);
    es_canvas_free(canvas);
    es_page_content_clear(&content);
    return s;
}

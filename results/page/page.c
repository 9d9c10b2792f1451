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

/* Draws everything; *pages: how many it is said to take, then how many it took. `scale`: see struct es_sheet.
 */
static enum es_status draw(const struct es_page_content *content, struct es_canvas *canvas, double scale,
                           int *pages, struct es_error *err)
{
    struct es_sheet sheet = {
        .canvas = canvas, .content = content, .scale = scale, .page = 1, .pages = *pages};
    es_draw_head(&sheet);
    es_draw_lines(&sheet);
    es_draw_causes(&sheet);
    es_draw_curves(&sheet);
    es_draw_back(&sheet);
    enum es_status s = es_draw_end(&sheet, err);
    es_sheet_foot(&sheet);
    if (s == ES_OK && sheet.too_long)
        s = es_fail(err, ES_RANGE, "the certificate is too long to print: more than %d pages",
                    ES_SHEET_MOST_PAGES);
    *pages = sheet.page;
    return s;
}

/* As few pages as the smallest legible type takes, set in the largest type that takes no more; what is long
 * in any case is set in full size. */
static enum es_status find_scale(const struct es_page_content *content, double *scale, int *pages,
                                 struct es_error *err)
{
    static const double scales[] = {0.85, 0.95, 0.9}; /* smaller is no longer legible */
    struct es_canvas *trial = NULL;
    int took = 1, least;
    enum es_status s = open_canvas(content, ES_CANVAS_PDF, 1, true, &trial, err);
    if (s == ES_OK)
        s = draw(content, trial, 1, &took, err);
    *scale = 1;
    *pages = least = took;
    for (size_t i = 0; s == ES_OK && i < sizeof scales / sizeof scales[0] && *pages > 1 && *pages <= 3; i++) {
        s = draw(content, trial, scales[i], &took, err);
        if (i == 0 && took >= *pages)
            break; /* smaller type saves no page */
        if (i == 0)
            least = took;
        if (took == least) {
            *scale = scales[i];
            *pages = took;
        }
        if (i == 1 && took == least)
            break;
    }
    es_canvas_free(trial);
    return s;
}

enum es_status es_page_draw(const struct es_certificate_report *report, const cJSON *root,
                            enum es_canvas_format format, char **bytes, size_t *length, struct es_error *err)
{
    struct es_page_content content;
    struct es_canvas *canvas = NULL;
    double scale = 1;
    int pages = 1;
    if (report->finding != ES_CERTIFICATE_VALID && report->finding != ES_CERTIFICATE_UNKNOWN_KEY &&
        report->finding != ES_CERTIFICATE_VOID)
        return es_fail(err, ES_NOT_VALID, "%s No page is drawn.", report->text);
    enum es_status s = es_page_content_read(report, root, &content, err);
    if (s != ES_OK)
        return s;
    s = find_scale(&content, &scale, &pages, err);
    if (s == ES_OK)
        s = open_canvas(&content, format, pages, false, &canvas, err);
    if (s == ES_OK)
        s = draw(&content, canvas, scale, &pages, err);
    if (s == ES_OK)
        s = es_canvas_finish(canvas, bytes, length, err);
    es_canvas_free(canvas);
    es_page_content_clear(&content);
    return s;
}

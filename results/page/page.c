#include <stdio.h>
#include <stdlib.h>

#include "results/page/page.h"
#include "results/page/sheet.h"

struct job { /* of drawing */
    const struct es_page_content *content;
    enum es_canvas_format format;
    enum es_page_paper paper;
};

static enum es_status open_canvas(const struct job *job, int pages, bool trial, struct es_canvas **out,
                                  struct es_error *err)
{
    const struct es_content *c = &job->content->c;
    char subject[160];
    double width, height;
    es_sheet_paper_size(job->paper, &width, &height);
    snprintf(subject, sizeof subject, "%.60s, serial %.60s", c->number, c->serial);
    const struct es_canvas_about about = {
        .title = c->title, .author = c->laboratory, .subject = subject, .created = c->issued};
    return es_canvas_new(job->format, width, height, pages, trial, &about, out, err);
}

struct setting { /* as in struct es_sheet */
    double scale;
    bool compact;
};

/* Draws everything; *pages: how many it is said to take, then how many it took. */
static enum es_status draw(const struct job *job, struct es_canvas *canvas, struct setting setting,
                           int *pages, struct es_error *err)
{
    struct es_sheet sheet = {.canvas = canvas,
                             .content = job->content,
                             .scale = setting.scale,
                             .compact = setting.compact,
                             .page = 1,
                             .pages = *pages};
    es_sheet_init(&sheet, job->paper);
    enum es_status s = es_draw_head(&sheet, err);
    if (s == ES_OK)
        s = es_draw_lines(&sheet, err);
    if (s == ES_OK) {
        es_draw_causes(&sheet);
        es_draw_curves(&sheet);
        s = es_draw_back(&sheet, err);
    }
    es_sheet_foot(&sheet);
    if (s == ES_OK && sheet.too_long)
        s = es_fail(err, ES_RANGE, "the certificate is too long to print: more than %d pages",
                    ES_SHEET_MOST_PAGES);
    *pages = sheet.page;
    return s;
}

/* As few pages as the smallest type takes (7 points for what is read), set in the largest type that takes no
 * more; what then misses two pages is set compactly where that makes them two; what is long in any case is
 * set in full size. */
static enum es_status find_setting(const struct job *job, struct setting *setting, int *pages,
                                   struct es_error *err)
{
    static const struct setting full = {1, false}, between = {0.97, false}, /* of 7.4 points */
        least = {0.946, false}, compact = {0.946, true};
    struct es_canvas *trial = NULL;
    int fewest = 1, took = 1;
    *setting = full;
    *pages = 1;
    enum es_status s = open_canvas(job, 1, true, &trial, err);
    if (s == ES_OK)
        s = draw(job, trial, full, pages, err);
    if (s == ES_OK && *pages > 1 && *pages <= 4) {
        s = draw(job, trial, least, &fewest, err);
        if (s == ES_OK && fewest == 3) {
            s = draw(job, trial, compact, &took, err);
            *setting = took < fewest ? compact : *setting;
        }
        if (s == ES_OK && !setting->compact && fewest < *pages) {
            s = draw(job, trial, between, &took, err);
            *setting = took == fewest ? between : least;
        }
        fewest = setting->compact ? took : fewest;
        *pages = fewest < *pages ? fewest : *pages;
    }
    es_canvas_free(trial);
    return s;
}

enum es_status es_page_draw(const struct es_certificate_report *report, const cJSON *root,
                            enum es_canvas_format format, enum es_page_paper paper, char **bytes,
                            size_t *length, struct es_error *err)
{
    struct es_page_content content;
    struct es_canvas *canvas = NULL;
    struct setting setting = {1, false};
    int pages = 1;
    if (report->finding != ES_CERTIFICATE_VALID && report->finding != ES_CERTIFICATE_UNKNOWN_KEY &&
        report->finding != ES_CERTIFICATE_VOID)
        return es_fail(err, ES_NOT_VALID, "%s No page is drawn.", report->text);
    enum es_status s = es_page_content_read(report, root, &content, err);
    if (s != ES_OK)
        return s;
    const struct job job = {&content, format, paper};
    s = find_setting(&job, &setting, &pages, err);
    if (s == ES_OK)
        s = open_canvas(&job, pages, false, &canvas, err);
    if (s == ES_OK)
        s = draw(&job, canvas, setting, &pages, err);
    if (s == ES_OK)
        s = es_canvas_finish(canvas, bytes, length, err);
    es_canvas_free(canvas);
    es_page_content_clear(&content);
    return s;
}

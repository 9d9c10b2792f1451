/* Small print: the documents that the run followed, each with version and digest, and what was left out. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/back.h"
#include "rig/base/number.h"

static const double method_widths[] = {47, 5.5, 11.1, 13.9, 12.1};

/* Of a document that is not run. */
static const struct es_content_procedure no_run = {.began = "", .skipped_because = "", .duration = NAN};

/* Why it was left out, unless that stands among the results. */
static const char *why_left_out(const struct es_content *c, const struct es_content_procedure *p)
{
    for (size_t i = 0; i < c->line_count; i++)
        if (strcmp(c->lines[i].procedure, p->d.name) == 0 &&
            strcmp(c->lines[i].reason, p->skipped_because) == 0)
            return "";
    return p->skipped_because;
}

static double method_row(struct es_sheet *s, double x, double y, const struct es_content_document *d,
                         const char *what, const struct es_content_procedure *ran)
{
    const struct es_content *c = &s->content->c;
    char duration[ES_NUMBER_SIZE] = "", time[12] = "", digest[20];
    struct es_text name = {0};
    bool left_out = ran->skipped_because[0] != '\0';
    const char *why = left_out ? why_left_out(c, ran) : "";
    if (!isnan(ran->duration))
        es_number_duration(ran->duration, duration);
    if (strlen(ran->began) >= 19)
        snprintf(time, sizeof time, "%.8s", ran->began + 11);
    snprintf(digest, sizeof digest, "%.8s", d->sha256);
    es_text_printf(&name, "%s%s%s%s%s", what, d->title[0] != '\0' ? d->title : d->name,
                   left_out ? "; left out" : "", why[0] != '\0' ? ": " : "", why);
    const char *texts[] = {es_page_words(&name), d->version, time, duration, digest};
    double height = es_back_row(s, &(struct es_back_cells){texts, method_widths, 5, false, 1u << 4}, x, y);
    es_text_free(&name);
    return height;
}

static double put_method_head(struct es_sheet *s, const struct es_block *block, double x, double y,
                              double width)
{
    static const char *const head[] = {"Document", "Ver.", "Began", "Took", "SHA-256…"};
    (void)block, (void)width;
    return es_back_row(s, &(struct es_back_cells){head, method_widths, 5, true, 0}, x, y);
}

static double put_plan(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    (void)block, (void)width;
    return method_row(s, x, y, &s->content->c.plan, "Plan: ", &no_run);
}

static double put_type_sheet(struct es_sheet *s, const struct es_block *block, double x, double y,
                             double width)
{
    (void)block, (void)width;
    return method_row(s, x, y, &s->content->c.type_sheet, "Type sheet: ", &no_run);
}

static double put_procedure(struct es_sheet *s, const struct es_block *block, double x, double y,
                            double width)
{
    const struct es_content_procedure *p = &s->content->c.procedures[block->index];
    (void)width;
    return method_row(s, x, y, &p->d, "", p);
}

void es_back_method(const struct es_content *c, struct es_blocks *out)
{
    if (c->plan.name[0] == '\0' && c->type_sheet.name[0] == '\0' && c->procedure_count == 0)
        return;
    es_back_heading(out, "Method");
    es_blocks_add(out, (struct es_block){.put = put_method_head, .keep = true});
    if (c->plan.name[0] != '\0')
        es_back_add(out, put_plan, 0);
    if (c->type_sheet.name[0] != '\0')
        es_back_add(out, put_type_sheet, 0);
    for (size_t i = 0; i < c->procedure_count; i++)
        es_back_add(out, put_procedure, i);
}

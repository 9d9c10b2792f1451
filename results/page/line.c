#include "results/page/line.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rig/base/number.h"

#define BASELINE 3.1 /* mm below a row's upper edge */

double es_line_cell(struct es_sheet *s, const struct es_column *column, struct es_type type, double x,
                    double y, const char *text)
{
    type.align = column->align;
    return es_canvas_text_on(s->canvas, &type, x + column->x, y + BASELINE * s->scale, column->width, text);
}

void es_line_number(struct es_sheet *s, const struct es_column *column, struct es_type type, double x,
                    double y, const char *text)
{
    double width = es_canvas_text_width(s->canvas, &type, text), smallest = 4.2 / type.size;
    if (width > column->width)
        type.size *= fmax(0.98 * column->width / width, smallest);
    es_line_cell(s, column, type, x, y, text);
}

void es_line_limits(const struct es_content_line *l, char *out, size_t size)
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
        snprintf(out, size, "none");
}

void es_line_risk(double risk, char *out, size_t size)
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

void es_line_value(const struct es_content_line *l, struct es_line_text *out)
{
    struct es_number_text number;
    const char *unit = es_page_unit(l->unit);
    *out = (struct es_line_text){0};
    if (isnan(l->v.value))
        return;
    es_number_with_uncertainty(l->v.value, l->v.U, l->decimals, &number);
    snprintf(out->value, sizeof out->value, "%s", number.value);
    char above[ES_NUMBER_SIZE], below[ES_NUMBER_SIZE];
    if (l->v.trials > 0 && es_number_uneven(l->v.value, l->v.low, l->v.high, number.decimals, above, below))
        snprintf(out->U, sizeof out->U, "+%.20s −%.20s", above, below);
    else if (number.U[0] != '\0')
        snprintf(out->U, sizeof out->U, "± %s", number.U);
    snprintf(out->unit, sizeof out->unit, "%.60s", unit);
    snprintf(out->spread, sizeof out->spread, "%s%s%s", out->U,
             out->U[0] != '\0' && unit[0] != '\0' ? " " : "", out->unit);
}

void es_line_coverage(const struct es_page_content *p, const struct es_content_line *l, bool unusual,
                      char *out, size_t size)
{
    bool usual = unusual && fabs(l->v.k - p->k) < 0.005;
    out[0] = '\0';
    if (l->v.trials > 0)
        snprintf(out, size, "MC");
    else if (p->k_differs && l->v.U > 0 && isfinite(l->v.k) && !usual)
        snprintf(out, size, "%.2f", l->v.k);
}

void es_line_name(const struct es_sheet *s, const struct es_content_line *l, struct es_text *out)
{
    es_text_add(out, l->measurand);
    if (!l->required && !s->content->c.record)
        es_text_add(out, " (informs)");
}

static bool same(const struct es_content_line *a, const struct es_content_line *b)
{
    return strcmp(a->verdict, b->verdict) == 0 && strcmp(a->procedure, b->procedure) == 0 &&
           strcmp(a->reason, b->reason) == 0;
}

size_t es_line_untested(const struct es_content *c, size_t from)
{
    size_t count = 0;
    if (es_page_verdict_of(c->lines[from].verdict) != ES_PAGE_NOT_TESTED)
        return 0;
    while (from + count < c->line_count && same(&c->lines[from], &c->lines[from + count]))
        count++;
    return count;
}

bool es_line_all_untested(const struct es_content *c, size_t from, size_t count)
{
    const char *procedure = c->lines[from].procedure;
    size_t end = from + count;
    return (from == 0 || strcmp(c->lines[from - 1].procedure, procedure) != 0) &&
           (end == c->line_count || strcmp(c->lines[end].procedure, procedure) != 0);
}

bool es_line_untested_decides(const struct es_content *c, size_t from, size_t count)
{
    for (size_t i = from; i < from + count; i++)
        if (c->lines[i].required)
            return true;
    return false;
}

void es_line_names(const struct es_content *c, size_t from, size_t count, struct es_text *out)
{
    for (size_t i = from; i < from + count; i++)
        es_text_printf(out, "%s%s%s", i > from ? ", " : "", c->lines[i].measurand,
                       c->lines[i].required ? "" : " (informs)");
}

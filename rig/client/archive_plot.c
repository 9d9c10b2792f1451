/* Answers drawn as SVG. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/page/plot.h"
#include "rig/base/file.h"
#include "rig/client/archive_answer.h"

struct drawing {
    char title[240];
    char *svg;
    size_t length;
};

enum es_status es_plot_write(const char *file, const char *svg, size_t length, struct es_error *err)
{
    if (strcmp(file, "-") == 0)
        return fwrite(svg, 1, length, stdout) == length
                   ? ES_OK
                   : es_fail(err, ES_IO, "the plot could not be written");
    return es_file_write(NULL, file, ES_FILE_REPLACE, 0666, svg, length, err);
}

static double number(const struct es_answer *a, size_t row, const char *column)
{
    return es_answer_number(a, row, column);
}

/* "travel (stroke), serial EX-1, type ..., since ..." */
static void write_title(const struct es_question *q, const char *what, char out[static 240])
{
    const struct {
        const char *before, *text;
    } parts[] = {{": ", q->measurand},
                 {", procedure ", q->procedure},
                 {", serial number ", q->serial},
                 {", type ", q->type},
                 {", by ", q->by},
                 {", ", q->tested},
                 {", since ", q->since}};
    struct es_text t = {0};
    es_text_add(&t, what);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        if (parts[i].text != NULL)
            es_text_printf(&t, "%s%s", parts[i].before, parts[i].text);
    (void)snprintf(out, 240, "%s", t.bytes != NULL ? t.bytes : what);
    es_text_free(&t);
}

/* ---- History and control chart ---- */

static enum es_status plot_points(const struct es_answer *a, const struct es_control_chart *limits,
                                  struct drawing *d, struct es_error *err)
{
    struct es_plot_point *points = calloc(a->rows, sizeof *points);
    char(*labels)[16] = calloc(a->rows, sizeof *labels);
    enum es_status s =
        points != NULL && labels != NULL ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to plot");
    for (size_t i = 0; s == ES_OK && i < a->rows; i++) {
        double bits = number(a, i, "signal_bits");
        snprintf(labels[i], sizeof labels[i], "%.10s", es_answer_cell(a, i, "issued"));
        points[i] = (struct es_plot_point){.value = number(a, i, "value"),
                                           .U = number(a, i, "U"),
                                           .label = labels[i],
                                           .signals = isfinite(bits) ? (uint32_t)bits : 0};
    }
    const struct es_plot_chart chart = {.title = d->title,
                                        .unit = es_answer_cell(a, 0, "unit"),
                                        .points = points,
                                        .count = a->rows,
                                        .limits = limits,
                                        .lower = number(a, a->rows - 1, "lower"),
                                        .upper = number(a, a->rows - 1, "upper"),
                                        .ranges = limits != NULL};
    if (s == ES_OK)
        s = es_plot_chart(&chart, &d->svg, &d->length, err);
    free(labels);
    free(points);
    return s;
}

static enum es_status plot_history(const struct es_answer *a, struct drawing *d, struct es_error *err)
{
    for (size_t i = 1; i < a->rows; i++)
        if (strcmp(es_answer_cell(a, i, "measurand"), es_answer_cell(a, 0, "measurand")) != 0 ||
            strcmp(es_answer_cell(a, i, "procedure"), es_answer_cell(a, 0, "procedure")) != 0 ||
            strcmp(es_answer_cell(a, i, "unit"), es_answer_cell(a, 0, "unit")) != 0)
            return es_fail(err, ES_USAGE,
                           "a plot of a history shows one measurand: choose it by --measurand \"%s\" and, "
                           "where several procedures have it, --procedure %s",
                           es_answer_cell(a, 0, "measurand"), es_answer_cell(a, 0, "procedure"));
    return plot_points(a, NULL, d, err);
}

/* The limits as the answer has them, and the ranges from its values. */
static enum es_status plot_control(const struct es_answer *a, struct drawing *d, struct es_error *err)
{
    struct es_control_chart limits;
    double *values = calloc(a->rows, sizeof *values);
    if (values == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to plot");
    for (size_t i = 0; i < a->rows; i++)
        values[i] = number(a, i, "value");
    enum es_status s = es_control_chart(values, a->rows, 0, ES_RUN_RULES_ALL, NULL, &limits, err);
    free(values);
    return s == ES_OK ? plot_points(a, &limits, d, err) : s;
}

/* ---- Counts ---- */

static enum es_status plot_failures(const struct es_answer *a, struct drawing *d, struct es_error *err)
{
    struct es_pareto_row *rows = calloc(a->rows, sizeof *rows);
    if (rows == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to plot");
    for (size_t i = 0; i < a->rows; i++)
        rows[i] = (struct es_pareto_row){.name = es_answer_cell(a, i, "name"),
                                         .count = (size_t)number(a, i, "count"),
                                         .share = number(a, i, "share"),
                                         .cumulative = number(a, i, "cumulative")};
    enum es_status s = es_plot_pareto(d->title, rows, a->rows, &d->svg, &d->length, err);
    free(rows);
    return s;
}

static enum es_status plot_no_fault(const struct es_answer *a, struct drawing *d, struct es_error *err)
{
    struct es_plot_share *rows = calloc(a->rows, sizeof *rows);
    if (rows == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to plot");
    for (size_t i = 0; i < a->rows; i++)
        rows[i] = (struct es_plot_share){.name = es_answer_cell(a, i, "group"),
                                         .n = (size_t)number(a, i, "as_found"),
                                         .k = (size_t)number(a, i, "no_fault"),
                                         .low = number(a, i, "low"),
                                         .high = number(a, i, "high")};
    enum es_status s = es_plot_shares(d->title, rows, a->rows, &d->svg, &d->length, err);
    free(rows);
    return s;
}

/* ---- As found beside as left ---- */

static enum es_status plot_pairs(const struct es_answer *a, struct drawing *d, struct es_error *err)
{
    struct es_plot_pair *rows = calloc(a->rows, sizeof *rows);
    char(*names)[80] = calloc(a->rows, sizeof *names);
    enum es_status s =
        rows != NULL && names != NULL ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to plot");
    for (size_t i = 0; s == ES_OK && i < a->rows; i++) {
        snprintf(names[i], sizeof names[i], "%.50s, %.10s", es_answer_cell(a, i, "serial"),
                 es_answer_cell(a, i, "found_issued"));
        rows[i] = (struct es_plot_pair){.name = names[i],
                                        .found = number(a, i, "found"),
                                        .found_U = number(a, i, "found_U"),
                                        .left = number(a, i, "left"),
                                        .left_U = number(a, i, "left_U")};
        if (strcmp(es_answer_cell(a, i, "unit"), es_answer_cell(a, 0, "unit")) != 0 ||
            strcmp(es_answer_cell(a, i, "procedure"), es_answer_cell(a, 0, "procedure")) != 0)
            s = es_fail(err, ES_USAGE,
                        "several procedures or units have this measurand: choose by --procedure or --type");
    }
    if (s == ES_OK)
        s = es_plot_pairs(d->title, es_answer_cell(a, 0, "unit"), number(a, a->rows - 1, "lower"),
                          number(a, a->rows - 1, "upper"), rows, a->rows, &d->svg, &d->length, err);
    free(names);
    free(rows);
    return s;
}

static enum es_status draw(const struct es_question *q, const struct es_answer *a, struct drawing *d,
                           struct es_error *err)
{
    switch (q->kind) {
    case ES_ASK_HISTORY:
        write_title(q, "History", d->title);
        return plot_history(a, d, err);
    case ES_ASK_CHART:
        write_title(q, "Control chart", d->title);
        return plot_control(a, d, err);
    case ES_ASK_FAILURES:
        write_title(q, "Failures", d->title);
        return plot_failures(a, d, err);
    case ES_ASK_NO_FAULT:
        write_title(q, "Units in which no fault was found", d->title);
        return plot_no_fault(a, d, err);
    case ES_ASK_PAIRS:
        write_title(q, "As found and as left", d->title);
        if (q->measurand != NULL)
            return plot_pairs(a, d, err);
        break;
    case ES_ASK_FIND:
    case ES_ASK_TOUCHED:
    case ES_ASK_REPEATABILITY:
        break;
    }
    return es_fail(err, ES_USAGE,
                   "this answer is a table, not a plot; --svg goes with history, pairs MEASURAND, no-fault, "
                   "failures, chart and sampling");
}

enum es_status es_answer_plot(const struct es_question *question, const struct es_answer *answer,
                              const char *file, struct es_error *err)
{
    struct drawing d = {.svg = NULL};
    if (answer->rows == 0)
        return es_fail(err, ES_NOT_FOUND, "%s: there is nothing to plot", answer->nothing);
    enum es_status s = draw(question, answer, &d, err);
    if (s == ES_OK)
        s = es_plot_write(file, d.svg, d.length, err);
    free(d.svg);
    return s;
}

/* Plots for the questions that are about many certificates, as SVG. Pure; one thread a call. Texts are
 * borrowed UTF-8; bytes are freed by the caller. */
#ifndef ES_PAGE_PLOT_H
#define ES_PAGE_PLOT_H

#include "results/statistics/statistics.h"

struct es_plot_point {
    double value;
    double U;          /* expanded uncertainty, drawn as a bar; 0 or NAN: none */
    const char *label; /* below the axis ("2026-02-03", a certificate's number), or NULL */
    uint32_t signals;  /* enum es_run_rule bits: the point is marked; the rules that spoke stand below */
};

struct es_plot_chart {
    const char *title; /* "travel, serial L1-0001" */
    const char *unit;  /* of the values; "" for pure numbers */
    const struct es_plot_point *points;
    size_t count;                          /* at least 1 */
    const struct es_control_chart *limits; /* NULL: no centre line and no control limits */
    double lower, upper;                   /* limits of the type sheet; NAN: none */
    bool ranges;                           /* with the chart of moving ranges below; only with `limits` */
};

/* Individuals in their order, with control limits, and with the moving ranges below: an I-MR chart; without
 * `limits` the history of one measurand. Points that are not finite leave a gap. */
enum es_status es_plot_chart(const struct es_plot_chart *chart, char **svg, size_t *length,
                             struct es_error *err) ES_MUST_CHECK;

/* Bars by falling count, each with its share and the share together with those above; rows as es_pareto left
 * them. At most 20 rows are drawn, the rest together as "others". */
enum es_status es_plot_pareto(const char *title, const struct es_pareto_row *rows, size_t count, char **svg,
                              size_t *length, struct es_error *err) ES_MUST_CHECK;

#endif

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

struct es_plot_share {
    const char *name;
    size_t n, k;      /* k of n */
    double low, high; /* of the share, 0 to 1 */
};

/* Shares with their intervals, one a row, all on one scale from 0 to 100 %. At most 40 rows are drawn; the
 * title then says how many are not. */
enum es_status es_plot_shares(const char *title, const struct es_plot_share *rows, size_t count, char **svg,
                              size_t *length, struct es_error *err) ES_MUST_CHECK;

struct es_plot_pair {
    const char *name;
    double found, found_U, left, left_U; /* NAN: not there; U NAN or 0: no bar */
};

/* As found (open circle) beside as left (full dot), one unit a row, with the limits of the type sheet (NAN:
 * none). At most 40 rows are drawn; the title then says how many are not. */
enum es_status es_plot_pairs(const char *title, const char *unit, double lower, double upper,
                             const struct es_plot_pair *rows, size_t count, char **svg, size_t *length,
                             struct es_error *err) ES_MUST_CHECK;

struct es_plot_mark {
    double bad, accepted; /* both 0 to 1 */
    const char *text;
};

/* Operating characteristic: probability that a lot is accepted over its share of bad units, `count` points
 * by rising `bad` (0 to 1), with marked points on it. */
enum es_status es_plot_operating(const char *title, const double *bad, const double *accepted, size_t count,
                                 const struct es_plot_mark *marks, size_t mark_count, char **svg,
                                 size_t *length, struct es_error *err) ES_MUST_CHECK;

/* Bars by falling count, each with its share and the share together with those above; rows as es_pareto left
 * them. At most 20 rows are drawn, the rest together as "others". */
enum es_status es_plot_pareto(const char *title, const struct es_pareto_row *rows, size_t count, char **svg,
                              size_t *length, struct es_error *err) ES_MUST_CHECK;

#endif

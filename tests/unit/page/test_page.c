/* Axes, plots, and what gets no page. What a page looks like: tests/system/page. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/page/axis.h"
#include "results/page/page.h"
#include "results/page/plot.h"
#include "rig/base/text.h"

Test(axis, holds_its_values_at_round_steps)
{
    static const double pairs[][2] = {{0, 1}, {-25.9, 26.4},   {1025.3, 1048},   {0.001, 0.0012}, {5, 5},
                                      {0, 0}, {-1e300, 1e300}, {1e-300, 2e-300}, {-3, -3}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct es_axis axis = es_axis_around(pairs[i][0], pairs[i][1], 5);
        cr_assert(axis.from <= pairs[i][0] && axis.to >= pairs[i][1] && axis.to > axis.from, "pair %zu", i);
        double digits = axis.step / pow(10, floor(log10(axis.step) + 1e-9));
        cr_assert(fabs(digits - 1) < 1e-6 || fabs(digits - 2) < 1e-6 || fabs(digits - 5) < 1e-6, "step %g",
                  axis.step);
        cr_assert((axis.to - axis.from) / axis.step < 9, "pair %zu has too many steps", i);
    }
}

static char *plot(const struct es_plot_chart *chart)
{
    char *svg = NULL;
    size_t length = 0;
    struct es_error err;
    cr_assert_eq(es_plot_chart(chart, &svg, &length, &err), ES_OK, "%s", err.text);
    cr_assert_eq(strlen(svg), length);
    return svg;
}

Test(plot, chart_says_its_lines_and_rules)
{
    const double values[] = {49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 60};
    struct es_plot_point points[10];
    uint32_t signals[10];
    struct es_control_chart limits;
    struct es_error err;
    cr_assert_eq(es_control_chart(values, 10, 9, ES_RUN_RULES_ALL, signals, &limits, &err), ES_OK);
    cr_assert(signals[9] & ES_RUN_BEYOND_3);
    for (size_t i = 0; i < 10; i++)
        points[i] = (struct es_plot_point){values[i], 0.5, i == 0 ? "2026-02-03" : NULL, signals[i]};
    struct es_plot_chart chart = {"travel <L1>", "mm", points, 10, &limits, NAN, 70, true};
    char *svg = plot(&chart), *again = plot(&chart);
    cr_assert(strstr(svg, "<title>travel &lt;L1&gt;</title>") != NULL);
    cr_assert(strstr(svg, "1 marked: one point beyond 3 sigma") != NULL);
    cr_assert(strstr(svg, "moving range") != NULL && strstr(svg, "2026-02-03") != NULL);
    cr_assert(strcmp(svg, again) == 0, "the same plot twice");
    free(svg);
    free(again);
}

Test(plot, odd_values_leave_gaps)
{
    struct es_plot_point points[] = {{NAN, 1, NULL, 0},
                                     {INFINITY, NAN, "x", 0},
                                     {1, INFINITY, "", ES_RUN_BEYOND_3},
                                     {1e308, 1e308, NULL, 0}};
    for (size_t count = 1; count <= 4; count++) {
        struct es_plot_chart chart = {"", "", points, count, NULL, -INFINITY, NAN, true};
        char *svg = plot(&chart);
        cr_assert(strstr(svg, "</svg>") != NULL);
        cr_assert(count != 2 || strstr(svg, "no values to draw") != NULL);
        free(svg);
    }
    struct es_plot_chart none = {"", "", points, 0, NULL, NAN, NAN, false};
    char *svg;
    size_t length;
    struct es_error err;
    cr_assert_eq(es_plot_chart(&none, &svg, &length, &err), ES_RANGE);
}

Test(plot, pareto_gathers_the_rest)
{
    struct es_pareto_row rows[30];
    char *svg = NULL;
    size_t length;
    struct es_error err;
    for (size_t i = 0; i < 30; i++)
        rows[i] = (struct es_pareto_row){.name = i == 0 ? "relay seat" : "cause", .count = 30 - i};
    es_pareto(rows, 30);
    cr_assert_eq(es_plot_pareto("causes", rows, 30, &svg, &length, &err), ES_OK);
    cr_assert(strstr(svg, "relay seat") != NULL && strstr(svg, "others") != NULL &&
              strstr(svg, "together 100.0 %") != NULL);
    free(svg);
    cr_assert_eq(es_plot_pareto("", rows, 0, &svg, &length, &err), ES_RANGE);
}

static enum es_status draw(const char *json, enum es_certificate_finding finding, char **bytes,
                           struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *document = NULL;
    static const struct es_certificate_report empty;
    struct es_certificate_report report = empty;
    size_t length;
    report.finding = finding;
    cr_assert_eq(es_document_parse("test", json, strlen(json), &findings, &document, err), ES_OK);
    enum es_status s =
        es_page_draw(&report, es_document_root(document), ES_CANVAS_PDF, ES_PAPER_A4, bytes, &length, err);
    es_document_free(document);
    es_findings_free(&findings);
    return s;
}

/* The least that can be drawn, for every finding: only what is as signed gets a page. */
Test(page, only_what_is_as_signed)
{
    for (int finding = ES_CERTIFICATE_VALID; finding <= ES_CERTIFICATE_VOID; finding++) {
        char *bytes = NULL;
        struct es_error err;
        enum es_status s =
            draw("{\"endstop\":\"certificate/1\"}", (enum es_certificate_finding)finding, &bytes, &err);
        bool drawn = finding == ES_CERTIFICATE_VALID || finding == ES_CERTIFICATE_UNKNOWN_KEY ||
                     finding == ES_CERTIFICATE_VOID;
        cr_assert_eq(s, drawn ? ES_OK : ES_NOT_VALID, "finding %d", finding);
        cr_assert(!drawn || memcmp(bytes, "%PDF-", 5) == 0);
        free(bytes);
    }
}

Test(page, too_long_is_told)
{
    struct es_text json = {0};
    char *bytes = NULL;
    struct es_error err;
    es_text_add(&json, "{\"endstop\":\"certificate/1\",\"lines\":[");
    for (int i = 0; i < 10000; i++)
        es_text_printf(&json, "%s{\"measurand\":\"m\",\"value\":1,\"verdict\":\"pass\"}", i > 0 ? "," : "");
    es_text_add(&json, "]}");
    cr_assert_eq(draw(json.bytes, ES_CERTIFICATE_VALID, &bytes, &err), ES_RANGE);
    cr_assert(strstr(err.text, "60 pages") != NULL);
    es_text_free(&json);
}

/* The plots with rows: their texts are there, too many rows are told, nothing to plot is refused. */
Test(plot, rows_and_operating_curves)
{
    struct es_plot_pair pairs[50];
    struct es_plot_share shares[] = {{"Example Quarry", 12, 3, 0.09, 0.53}, {"<none>", 0, 0, 0, 1}};
    const double bad[] = {0, 0.05, 0.1}, accepted[] = {1, 0.4, 0.05};
    const struct es_plot_mark mark = {.bad = 0.05, .accepted = 0.4, .text = "40 % accepted"};
    struct es_error err;
    char *svg = NULL;
    size_t length = 0;
    for (size_t i = 0; i < 50; i++)
        pairs[i] =
            (struct es_plot_pair){"EX-1, 2026-02-03", 5 - 0.1 * (double)i, 0.3, i % 3 ? 0.5 : NAN, NAN};
    cr_assert_eq(es_plot_pairs("leak", "Nl/h", NAN, 3, pairs, 50, &svg, &length, &err), ES_OK, "%s",
                 err.text);
    cr_expect(strstr(svg, "the first 40 of 50") != NULL && strstr(svg, "Nl/h") != NULL);
    free(svg);
    cr_assert_eq(es_plot_shares("no fault", shares, 2, &svg, &length, &err), ES_OK, "%s", err.text);
    cr_expect(strstr(svg, "3 of 12") != NULL && strstr(svg, "&lt;none&gt;") != NULL);
    free(svg);
    cr_assert_eq(es_plot_operating("lot", bad, accepted, 3, &mark, 1, &svg, &length, &err), ES_OK, "%s",
                 err.text);
    cr_expect(strstr(svg, "40 % accepted") != NULL);
    free(svg);
    cr_expect_eq(es_plot_pairs("leak", "Nl/h", NAN, 3, pairs, 0, &svg, &length, &err), ES_RANGE);
    cr_expect_eq(es_plot_shares("x", shares, 0, &svg, &length, &err), ES_RANGE);
    cr_expect_eq(es_plot_operating("x", bad, accepted, 1, NULL, 0, &svg, &length, &err), ES_RANGE);
}

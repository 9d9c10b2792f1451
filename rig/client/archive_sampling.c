#include "rig/client/archive_sampling.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/page/plot.h"
#include "results/statistics/sampling.h"
#include "rig/client/archive_answer.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

#define PRODUCER 0.05 /* risk that a good lot is sent back */
#define CONSUMER 0.10 /* risk that a bad one is taken */
#define POINTS   101

static enum es_status read_number(const char *text, const char *what, double least, double most, double *out,
                                  struct es_error *err)
{
    char *end = NULL;
    double value = strtod(text, &end);
    if (end == text || (*end != '\0' && strcmp(end, "%") != 0 && strcmp(end, " %") != 0) ||
        !(value >= least && value <= most))
        return es_fail(err, ES_USAGE, "%s is a number from %g to %g, not \"%s\"", what, least, most, text);
    *out = value;
    return ES_OK;
}

static enum es_status read_level(const char *text, enum es_inspection_level *level, struct es_error *err)
{
    static const char *const words[] = {"I", "II", "III"};
    for (size_t i = 0; i < 3; i++)
        if (strcmp(text, words[i]) == 0) {
            *level = (enum es_inspection_level)i;
            return ES_OK;
        }
    return es_fail(err, ES_USAGE, "the inspection level is I, II or III, not \"%s\"", text);
}

static enum es_status find_plan(const struct es_sampling_order *o, size_t lot, struct es_sampling_plan *plan,
                                struct es_error *err)
{
    enum es_inspection_level level = ES_LEVEL_II;
    double aql, good, bad;
    enum es_status s = o->level != NULL ? read_level(o->level, &level, err) : ES_OK;
    if (s == ES_OK && o->aql != NULL) {
        s = read_number(o->aql, "the acceptance quality limit (AQL, %)", 0, 10, &aql, err);
        return s == ES_OK ? es_sampling_iso2859(lot, level, aql, plan, err) : s;
    }
    if (s == ES_OK && (o->good == NULL || o->bad == NULL))
        s = es_fail(err, ES_USAGE, "which plan? --aql PERCENT (ISO 2859-1), or --good and --bad PERCENT");
    if (s == ES_OK)
        s = read_number(o->good, "--good (%)", 0, 99, &good, err);
    if (s == ES_OK)
        s = read_number(o->bad, "--bad (%)", 0, 99.9, &bad, err);
    if (s == ES_OK)
        s = es_sampling_find(good / 100, PRODUCER, bad / 100, CONSUMER, plan, err);
    if (s == ES_OK && plan->n >= lot) {
        plan->n = lot;
        plan->whole_lot = true;
    }
    return s;
}

/* How many of the lot are bad at a share, and how often such a lot is accepted. */
static double accepts(const struct es_sampling_plan *plan, size_t lot, size_t bad)
{
    return es_sampling_accepts_lot(plan, lot, bad);
}

struct curve {
    double bad[POINTS], accepted[POINTS];
    size_t count;
};

/* From 0 to where hardly a lot is accepted; a small lot has a point for each bad unit. */
static void make_curve(const struct es_sampling_plan *plan, size_t lot, struct curve *c)
{
    size_t last = 0;
    while (last < lot && accepts(plan, lot, last) > 0.005)
        last += lot / 400 + 1;
    last = last > lot ? lot : last;
    c->count = last < POINTS ? last + 1 : POINTS;
    for (size_t i = 0; i < c->count; i++) {
        size_t bad = c->count > 1 ? (i * last + (c->count - 1) / 2) / (c->count - 1) : 0;
        c->bad[i] = (double)bad / (double)lot;
        c->accepted[i] = accepts(plan, lot, bad);
    }
}

/* Nine rows at most for a person: those where the probability has changed by a tenth or more. */
static bool is_shown(const struct curve *c, size_t i, double *last)
{
    if (i == 0 || i + 1 == c->count || fabs(c->accepted[i] - *last) >= 0.1) {
        *last = c->accepted[i];
        return true;
    }
    return false;
}

static void write_head(const struct es_sampling_plan *plan, size_t lot, char out[static 240])
{
    char letter[32] = "";
    if (plan->letter != 0)
        snprintf(letter, sizeof letter, " (code letter %c)", plan->letter);
    snprintf(out, 240, "Lot of %zu: test %s%zu units%s; accept with at most %zu that do not pass", lot,
             plan->whole_lot ? "all " : "", plan->n, letter, plan->accept);
}

static enum es_status print_json(const struct es_sampling_plan *plan, size_t lot, const struct curve *c,
                                 struct es_error *err)
{
    struct es_text t = {0};
    char letter[2] = {plan->letter, '\0'};
    es_json_object(&t, NULL);
    es_json_integer(&t, "lot", (long long)lot);
    es_json_text(&t, "letter", plan->letter != 0 ? letter : NULL);
    es_json_integer(&t, "sample", (long long)plan->n);
    es_json_integer(&t, "accept", (long long)plan->accept);
    es_json_bool(&t, "whole_lot", plan->whole_lot);
    es_json_array(&t, "curve");
    for (size_t i = 0; i < c->count; i++) {
        es_json_object(&t, NULL);
        es_json_number(&t, "bad", c->bad[i]);
        es_json_number(&t, "accepted", c->accepted[i]);
        es_json_end_object(&t);
    }
    es_json_end_array(&t);
    es_json_end_object(&t);
    enum es_status s = es_text_status(&t, err);
    if (s == ES_OK)
        printf("%s\n", t.bytes);
    es_text_free(&t);
    return s;
}

static void print_csv(const struct curve *c)
{
    static const char *const names[] = {"bad", "accepted"};
    es_csv_row(stdout, names, 2);
    for (size_t i = 0; i < c->count; i++) {
        char bad[32], accepted[32];
        const char *cells[] = {bad, accepted};
        snprintf(bad, sizeof bad, "%.9g", c->bad[i]);
        snprintf(accepted, sizeof accepted, "%.9g", c->accepted[i]);
        es_csv_row(stdout, cells, 2);
    }
}

static enum es_status print_table(const char *head, size_t lot, const struct curve *c,
                                  const struct es_screen *screen, struct es_error *err)
{
    static const struct es_column columns[] = {{.title = "bad units", .align = ES_ALIGN_RIGHT},
                                               {.title = "share", .align = ES_ALIGN_RIGHT},
                                               {.title = "lots accepted", .align = ES_ALIGN_RIGHT}};
    struct es_table *table = es_table_new(columns, 3);
    double last = 0;
    for (size_t i = 0; i < c->count; i++) {
        char bad[32], share[32], accepted[32];
        const char *cells[] = {bad, share, accepted};
        if (!is_shown(c, i, &last))
            continue;
        snprintf(bad, sizeof bad, "%.0f", c->bad[i] * (double)lot);
        snprintf(share, sizeof share, "%.2f %%", 100 * c->bad[i]);
        snprintf(accepted, sizeof accepted, "%.1f %%", 100 * c->accepted[i]);
        es_table_row(table, ES_PLAIN, cells);
    }
    es_verb_say(screen, "%s.", head);
    putchar('\n');
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

/* The points at which 95, 50 and 10 lots in 100 are accepted. */
static enum es_status plot(const char *head, const struct es_sampling_plan *plan, const struct curve *c,
                           const char *file, struct es_error *err)
{
    static const double accepted[] = {0.95, 0.5, 0.1};
    struct es_plot_mark marks[3];
    char texts[3][64], *svg = NULL;
    size_t count = 0, length = 0;
    for (size_t i = 0; i < 3 && !plan->whole_lot; i++) {
        for (size_t k = 1; k < c->count; k++) {
            if (c->accepted[k - 1] >= accepted[i] && c->accepted[k] < accepted[i]) {
                double part = (c->accepted[k - 1] - accepted[i]) / (c->accepted[k - 1] - c->accepted[k]);
                double bad = c->bad[k - 1] + part * (c->bad[k] - c->bad[k - 1]);
                snprintf(texts[count], sizeof texts[count], "%.0f %% accepted at %.2f %% bad",
                         100 * accepted[i], 100 * bad);
                marks[count] =
                    (struct es_plot_mark){.bad = bad, .accepted = accepted[i], .text = texts[count]};
                count++;
                break;
            }
        }
    }
    enum es_status s =
        es_plot_operating(head, c->bad, c->accepted, c->count, marks, count, &svg, &length, err);
    if (s == ES_OK)
        s = es_plot_write(file, svg, length, err);
    free(svg);
    return s;
}

enum es_status es_sampling_tell(const struct es_sampling_order *order, const struct es_screen *screen,
                                struct es_error *err)
{
    struct es_sampling_plan plan;
    struct curve curve;
    double lot = 0;
    char head[240];
    enum es_status s = read_number(order->lot, "the lot's size", 2, 1e9, &lot, err);
    if (s == ES_OK && lot != floor(lot))
        s = es_fail(err, ES_USAGE, "a lot has whole units, not %s", order->lot);
    if (s == ES_OK)
        s = find_plan(order, (size_t)lot, &plan, err);
    if (s != ES_OK)
        return s;
    make_curve(&plan, (size_t)lot, &curve);
    write_head(&plan, (size_t)lot, head);
    if (order->svg != NULL && (s = plot(head, &plan, &curve, order->svg, err)) != ES_OK)
        return s;
    if (order->svg != NULL && strcmp(order->svg, "-") == 0)
        return ES_OK;
    if (order->json)
        return print_json(&plan, (size_t)lot, &curve, err);
    if (order->csv) {
        print_csv(&curve);
        return ES_OK;
    }
    return print_table(head, (size_t)lot, &curve, screen, err);
}

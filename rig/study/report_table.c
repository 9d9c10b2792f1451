#include <math.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/base/number.h"
#include "rig/console/table.h"
#include "rig/study/report.h"

#define CELL 48

static void percent(double share, char out[CELL])
{
    if (!isfinite(share)) {
        snprintf(out, CELL, "-");
    } else {
        /* 100.0 % must not come from rounding. */
        snprintf(out, CELL, "%.1f %%", share < 1 && share > 0.9994 ? 99.9 : 100 * share);
    }
}

static void share_cells(size_t k, size_t n, char share[CELL], char interval[CELL])
{
    const struct es_share s = es_share_clopper_pearson(k, n, 0.95);
    percent(s.share, share);
    if (n) {
        snprintf(interval, CELL, "%.1f .. %.1f %%", 100 * s.lower, 100 * s.upper);
    } else {
        snprintf(interval, CELL, "-");
    }
}

static void overall_row(struct es_table *t, const char *what, size_t k, size_t n, const char *aim)
{
    char counted[CELL], share[CELL], interval[CELL];
    if (n == 0) {
        return;
    }
    snprintf(counted, sizeof counted, "%zu of %zu", k, n);
    share_cells(k, n, share, interval);
    const char *cells[] = {what, counted, share, interval, aim};
    es_table_row(t, ES_PLAIN, cells);
}

static enum es_status print_overall(const struct es_study *s, const struct es_study_summary *m,
                                    const struct es_study_naming *naming, size_t width, bool colour, FILE *to,
                                    struct es_error *err)
{
    static const struct es_column columns[] = {{.title = "Of all units", .wraps = true, .least = 20},
                                               {.title = "Counted", .align = ES_ALIGN_RIGHT},
                                               {.title = "Share", .align = ES_ALIGN_RIGHT},
                                               {.title = "95 % interval", .align = ES_ALIGN_RIGHT},
                                               {.title = "Aim", .align = ES_ALIGN_RIGHT}};
    struct es_table *t = es_table_new(columns, 5);
    overall_row(t, "good units failed", m->good_all.failed, m->good_all.n, "<= 0.5 %");
    overall_row(t, "good units neither passed nor failed", m->good_all.held, m->good_all.n, "");
    overall_row(t, "faults of unit or mounting found, from the severity that matters",
                m->unit_mattering.failed, m->unit_mattering.n, ">= 99 %");
    overall_row(t, "the same kept from passing (failed or not tested)",
                m->unit_mattering.failed + m->unit_mattering.held, m->unit_mattering.n, "");
    overall_row(t, "faults of unit or mounting found, any severity", m->unit_all.failed, m->unit_all.n, "");
    overall_row(t, "bench faults blamed on a good unit", m->bench_all.failed, m->bench_all.n, "<= 0.5 %");
    overall_row(t, "bench faults that kept a result back", m->bench_all.held, m->bench_all.n, "");
    if (naming) {
        overall_row(t, "first-named cause right, of those that did not pass", naming->first, naming->units,
                    ">= 95 %");
        overall_row(t, "right one among the first three", naming->among_three, naming->units, "");
        overall_row(t, "bench faults: a cause of the bench named first", naming->bench_first, naming->bench,
                    "");
    }
    enum es_status status = es_table_print(t, width, 0, colour, to, err);
    es_table_free(t);
    if (status == ES_OK) {
        char mean[ES_NUMBER_SIZE], longest[ES_NUMBER_SIZE];
        es_number_duration(m->duration_mean, mean);
        es_number_duration(m->duration_longest, longest);
        fprintf(
            to,
            "\nBench time of a good unit: %s, at most %s. Plan \"%s\" version %s; seed %llu; %zu units.\n",
            mean, longest, s->plan->name, s->plan->version, (unsigned long long)s->order.seed,
            s->order.units);
    }
    return status;
}

static void threshold_cell(const struct es_threshold *f, char out[CELL])
{
    if (!f->valid) {
        snprintf(out, CELL, "%s", f->reason);
    } else if (f->size > 1) {
        snprintf(out, CELL, "beyond 1");
    } else if (isinf(f->upper) || f->upper > 1) {
        snprintf(out, CELL, "%.2f (%.2f .. 1)", f->size, f->lower);
    } else {
        snprintf(out, CELL, "%.2f (%.2f .. %.2f)", f->size, f->lower, f->upper);
    }
}

/* `judged`: of what the plan judges; else a unit that failed was blamed for the bench. */
static void fault_row(struct es_table *t, const struct es_study_fault *f, bool judged)
{
    char n[CELL], matters[CELL], found[CELL], interval[CELL], held[CELL], missed[CELL], threshold[CELL];
    snprintf(n, sizeof n, "%zu", f->all.n);
    if (f->matters > 0) {
        snprintf(matters, sizeof matters, "%.2f", f->matters);
    } else {
        snprintf(matters, sizeof matters, "any");
    }
    snprintf(found, sizeof found, "%zu of %zu", f->mattering.failed, f->mattering.n);
    share_cells(f->mattering.failed, f->mattering.n, held, interval);
    snprintf(held, sizeof held, "%zu", f->mattering.held);
    snprintf(missed, sizeof missed, "%zu", f->mattering.passed);
    threshold_cell(&f->threshold, threshold);
    const char *cells[] = {
        es_study_fault_name(f->fault), n, matters, found, interval, held, missed, threshold};
    const bool bad = judged ? f->mattering.failed < f->mattering.n : f->all.failed > 0;
    es_table_row(t, bad ? ES_STRONG : ES_PLAIN, cells);
}

static enum es_status print_faults(const struct es_study *s, const struct es_study_summary *m, size_t width,
                                   bool colour, FILE *to, struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Fault", .wraps = true, .least = 16},
        {.title = "Units", .align = ES_ALIGN_RIGHT},
        {.title = "Matters from", .align = ES_ALIGN_RIGHT},
        {.title = "Failed", .align = ES_ALIGN_RIGHT},
        {.title = "95 % interval", .align = ES_ALIGN_RIGHT},
        {.title = "Held", .align = ES_ALIGN_RIGHT},
        {.title = "Passed", .align = ES_ALIGN_RIGHT},
        {.title = "Failed 95 times in 100 from", .wraps = true, .least = 14},
    };
    struct es_table *t = es_table_new(columns, sizeof columns / sizeof columns[0]);
    int place = -1;
    size_t type = SIZE_MAX;
    for (size_t i = 0; i < m->fault_count; i++) {
        const struct es_study_fault *f = &m->faults[i];
        const enum es_virtual_place here = es_virtual_fault_get(f->fault)->place;
        const bool judged = es_study_judges(&s->types[f->type], f->fault);
        if (f->all.n == 0) {
            continue;
        }
        if (f->type != type || (int)here != place) {
            char heading[200];
            snprintf(heading, sizeof heading, "%s: faults of the %s%s", s->types[f->type].sheet->name,
                     es_virtual_place_name(here), judged ? "" : " (failed = blamed on the unit)");
            es_table_heading(t, heading);
            type = f->type;
            place = (int)here;
        }
        fault_row(t, f, judged);
    }
    const enum es_status status = es_table_print(t, width, 0, colour, to, err);
    es_table_free(t);
    return status;
}

static void print_confused(const struct es_study_naming *n, FILE *to)
{
    if (n->confused_count) {
        fputs("\nNamed first in place of the right cause:\n", to);
    }
    for (size_t i = 0; i < n->confused_count; i++) {
        fprintf(to, "  %zu: %s taken for %s\n", n->confused[i].units,
                es_study_fault_name(n->confused[i].fault),
                n->confused[i].named < 0 ? "no fault" : es_study_fault_name(n->confused[i].named));
    }
}

static void coverage_row(struct es_table *t, const struct es_study *s, const struct es_study_coverage *c)
{
    char n[CELL], share[CELL], interval[CELL], away_share[CELL], bias[CELL], spread[CELL];
    char worst[CELL], unit[CELL], away[2 * CELL];
    snprintf(n, sizeof n, "%zu", c->covered.n);
    share_cells(c->covered.k, c->covered.n, share, interval);
    percent(c->away.share, away_share);
    snprintf(away, sizeof away, "%s of %zu", away_share, c->away.n);
    snprintf(bias, sizeof bias, "%.2f", c->bias);
    snprintf(spread, sizeof spread, "%.2f", c->spread);
    snprintf(worst, sizeof worst, "%.1f", c->worst_off);
    snprintf(unit, sizeof unit, "%zu", c->worst);
    const char *cells[] = {s->types[c->type].slots[c->slot].measurand,
                           n,
                           share,
                           interval,
                           c->away.n ? away : "-",
                           bias,
                           spread,
                           worst,
                           c->worst == SIZE_MAX ? "" : unit};
    const bool bad = c->covered.upper < 0.94 || c->covered.lower > 0.96;
    es_table_row(t, bad ? ES_STRONG : ES_PLAIN, cells);
}

static enum es_status print_coverage(const struct es_study *s, const struct es_study_coverage *rows,
                                     size_t count, const char *of, size_t width, bool colour, FILE *to,
                                     struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Measurand", .wraps = true, .least = 20},
        {.title = "Values", .align = ES_ALIGN_RIGHT},
        {.title = "Covered", .align = ES_ALIGN_RIGHT},
        {.title = "95 % interval", .align = ES_ALIGN_RIGHT},
        {.title = "Away from 0", .align = ES_ALIGN_RIGHT},
        {.title = "Bias / u", .align = ES_ALIGN_RIGHT},
        {.title = "Spread / u", .align = ES_ALIGN_RIGHT},
        {.title = "Worst / u", .align = ES_ALIGN_RIGHT},
        {.title = "in unit", .align = ES_ALIGN_RIGHT},
    };
    struct es_table *t = es_table_new(columns, sizeof columns / sizeof columns[0]);
    size_t type = SIZE_MAX;
    for (size_t i = 0; i < count; i++) {
        if (rows[i].type != type) {
            char heading[200];
            type = rows[i].type;
            snprintf(heading, sizeof heading, "%s: 95 %% uncertainty intervals of %s units",
                     s->types[type].sheet->name, of);
            es_table_heading(t, heading);
        }
        if (rows[i].covered.n > 0) { /* counted values and statistics: no interval to cover anything */
            coverage_row(t, s, &rows[i]);
        }
    }
    const enum es_status status = es_table_print(t, width, 0, colour, to, err);
    es_table_free(t);
    return status;
}

enum es_status es_study_report_table(const struct es_study *study, const struct es_study_summary *summary,
                                     const struct es_study_naming *naming, size_t width, bool colour,
                                     FILE *to, struct es_error *err)
{
    enum es_status status = print_overall(study, summary, naming, width, colour, to, err);
    if (status == ES_OK && summary->unit_all.n + summary->bench_all.n > 0) {
        fputc('\n', to);
        status = print_faults(study, summary, width, colour, to, err);
    }
    if (status == ES_OK && naming) {
        print_confused(naming, to);
    }
    const struct es_study_coverage *rows[] = {summary->coverage, summary->coverage_faulty};
    for (int i = 0; i < 2 && status == ES_OK; i++) {
        if (rows[i]) {
            fputc('\n', to);
            status = print_coverage(study, rows[i], summary->coverage_count, i ? "faulty" : "good", width,
                                    colour, to, err);
        }
    }
    return status;
}

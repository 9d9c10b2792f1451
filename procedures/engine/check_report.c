/* The proof's report: as a table for people and as JSON for programs. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/say.h"
#include "procedures/engine/walk.h"

void es_report_sentence(struct es_check_report *report, bool remark, bool *no_memory, const char *sentence)
{
    char ***list = remark ? &report->remarks : &report->not_checked;
    size_t *count = remark ? &report->remark_count : &report->not_checked_count;

    for (size_t i = 0; i < *count; i++)
        if (strcmp((*list)[i], sentence) == 0)
            return;
    char **grown = realloc(*list, (*count + 1) * sizeof *grown);
    if (grown != NULL)
        *list = grown;
    char *text = grown != NULL ? strdup(sentence) : NULL;
    if (text == NULL) {
        *no_memory = true;
        return;
    }
    (*list)[(*count)++] = text;
}

static void free_texts(char **texts, size_t count)
{
    for (size_t i = 0; i < count; i++)
        free(texts[i]);
    free(texts);
}

void es_check_report_free(struct es_check_report *report)
{
    if (report == NULL)
        return;
    for (size_t i = 0; i < report->procedure_count; i++)
        free(report->procedures[i].name);
    free(report->procedures);
    for (size_t i = 0; i < report->line_count; i++) {
        struct es_check_line *l = &report->lines[i];
        free(l->procedure);
        free(l->measurand);
        free(l->measure);
        free(l->output);
        free(l->limit);
        free(l->not_tested);
    }
    free(report->lines);
    free_texts(report->not_checked, report->not_checked_count);
    free_texts(report->remarks, report->remark_count);
    *report = (struct es_check_report){0};
}

static void duration(double s, char *out, size_t size)
{
    const long whole = lround(ceil(s));
    (void)snprintf(out, size, "%ld min %02ld s", whole / 60, whole % 60);
}

static void limit_text(const struct es_check_line *l, char *out, size_t size)
{
    char low[48], high[48];

    if (isnan(l->lower)) {
        (void)snprintf(out, size, "-");
        return;
    }
    (void)es_quantity_format(l->lower, l->unit, l->decimals, low, sizeof low);
    (void)es_quantity_format(l->upper, l->unit, l->decimals, high, sizeof high);
    if (!isfinite(l->lower))
        (void)snprintf(out, size, "at most %s", high);
    else if (!isfinite(l->upper))
        (void)snprintf(out, size, "at least %s", low);
    else
        (void)snprintf(out, size, "%.*f to %s", l->decimals, es_to_unit(l->lower, l->unit), high);
}

#define WIDE 94 /* columns that the table takes */

static void print_line(const struct es_check_line *l, int width, FILE *to)
{
    char limit[112], U[48] = "-", ratio[24] = "-", text[400];

    limit_text(l, limit, sizeof limit);
    if (isfinite(l->u))
        (void)snprintf(U, sizeof U, "%.3g %s", 2 * es_to_unit_difference(l->u, l->unit), l->unit->name);
    if (isfinite(l->tur))
        (void)snprintf(ratio, sizeof ratio, l->tur >= 100 ? "> 100" : "%.1f", l->tur);
    if (width >= WIDE) {
        fprintf(to, "  %-45.45s %-26.26s %-13.13s %s\n", l->measurand, limit, U, ratio);
    } else {
        const bool told = isfinite(l->u);
        (void)snprintf(text, sizeof text, "%s: %s%s%s%s%s", l->measurand, limit, told ? "; U expected " : "",
                       told ? U : "", told ? ", ratio " : "", told ? ratio : "");
        es_wrap(to, width, 2, "- ", text);
    }
    if (l->not_tested != NULL) {
        (void)snprintf(text, sizeof text, "not tested: %s", l->not_tested);
        es_wrap(to, width, 6, "", text);
    }
}

static void print_sentences(const char *heading, char *const *items, size_t count, int width, FILE *to)
{
    if (count > 0)
        fprintf(to, "\n%s\n", heading);
    for (size_t i = 0; i < count; i++)
        es_wrap(to, width, 2, "- ", items[i]);
}

static void print_procedure(const struct es_check_report *report, const struct es_check_procedure *p,
                            int width, FILE *to)
{
    char bench[40], people[40], text[240];
    bool any = false;

    duration(p->bench_time, bench, sizeof bench);
    duration(p->operator_time, people, sizeof people);
    (void)snprintf(text, sizeof text, "%s: at most %s of bench time%s%s%s", p->name, bench,
                   p->operator_time > 0 ? ", and up to " : "", p->operator_time > 0 ? people : "",
                   p->operator_time > 0 ? " of waiting for people" : "");
    es_wrap(to, width, 0, "", text);
    for (size_t i = 0; i < report->line_count; i++) {
        if (strcmp(report->lines[i].procedure, p->name) != 0 || !report->lines[i].applies)
            continue;
        if (!any && width >= WIDE)
            fprintf(to, "  %-45s %-26s %-13s %s\n", "measurand", "limit", "U expected", "ratio");
        any = true;
        print_line(&report->lines[i], width, to);
    }
}

static void print_sums(const struct es_check_report *report, int width, FILE *to)
{
    char bench[40], people[40], text[240], cautions[100] = "";

    if (report->caution_time > 0) {
        duration(report->caution_time, text, sizeof text);
        (void)snprintf(cautions, sizeof cautions, ", %.39s of it until the cautions are confirmed", text);
    }
    duration(report->bench_time, bench, sizeof bench);
    duration(report->operator_time, people, sizeof people);
    (void)snprintf(text, sizeof text,
                   "Altogether at most %s of bench time, and up to %s of waiting for people%s.", bench,
                   people, cautions);
    fputc('\n', to);
    es_wrap(to, width, 0, "", text);
}

void es_check_print(const struct es_check_report *report, size_t columns, FILE *to)
{
    const int width = columns < 98 ? (int)columns : 98;
    bool told = false;

    for (size_t i = 0; i < report->procedure_count; i++) {
        if (i > 0)
            fputc('\n', to);
        print_procedure(report, &report->procedures[i], width, to);
    }
    print_sums(report, width, to);
    for (size_t i = 0; i < report->line_count; i++)
        told = told || isfinite(report->lines[i].u);
    if (told)
        es_wrap(
            to, width, 0, "",
            "U expected is of the instruments alone (k = 2): noise, sampling and the unit's own movement "
            "come "
            "on top in a recording. Ratio is the test uncertainty ratio: the limit's width, or its distance "
            "from zero where it has one side, over twice U expected.");
    print_sentences("To be noted:", report->remarks, report->remark_count, width, to);
    print_sentences("Not checked:", report->not_checked, report->not_checked_count, width, to);
}

/* A number that is not finite has no place in JSON: null. */
static cJSON *number(double value)
{
    return isfinite(value) ? cJSON_CreateNumber(value) : cJSON_CreateNull();
}

static cJSON *line_json(const struct es_check_line *l)
{
    cJSON *o = cJSON_CreateObject();

    cJSON_AddStringToObject(o, "procedure", l->procedure);
    cJSON_AddStringToObject(o, "measurand", l->measurand);
    cJSON_AddStringToObject(o, "measure", l->measure);
    cJSON_AddStringToObject(o, "output", l->output);
    cJSON_AddStringToObject(o, "limit", l->limit);
    cJSON_AddBoolToObject(o, "applies", l->applies);
    if (l->not_tested != NULL)
        cJSON_AddStringToObject(o, "notTested", l->not_tested);
    if (l->unit != NULL)
        cJSON_AddStringToObject(o, "unit", l->unit->name);
    cJSON_AddItemToObject(o, "lower", number(l->unit != NULL ? es_to_unit(l->lower, l->unit) : NAN));
    cJSON_AddItemToObject(o, "upper", number(l->unit != NULL ? es_to_unit(l->upper, l->unit) : NAN));
    cJSON_AddItemToObject(o, "expectedU",
                          number(l->unit != NULL ? 2 * es_to_unit_difference(l->u, l->unit) : NAN));
    cJSON_AddItemToObject(o, "testUncertaintyRatio", number(l->tur));
    cJSON_AddItemToObject(o, "rate", number(l->rate));
    cJSON_AddItemToObject(o, "rateNeeded", number(l->rate_needed));
    return o;
}

static void texts_json(cJSON *to, const char *name, char *const *items, size_t count)
{
    cJSON *array = cJSON_AddArrayToObject(to, name);

    for (size_t i = 0; i < count; i++)
        cJSON_AddItemToArray(array, cJSON_CreateString(items[i]));
}

cJSON *es_check_json(const struct es_check_report *report)
{
    cJSON *o = cJSON_CreateObject();
    if (o == NULL)
        return NULL;
    cJSON *procedures = cJSON_AddArrayToObject(o, "procedures");
    for (size_t i = 0; i < report->procedure_count; i++) {
        cJSON *p = cJSON_CreateObject();
        cJSON_AddStringToObject(p, "name", report->procedures[i].name);
        cJSON_AddNumberToObject(p, "benchTime", report->procedures[i].bench_time);
        cJSON_AddNumberToObject(p, "operatorTime", report->procedures[i].operator_time);
        cJSON_AddItemToArray(procedures, p);
    }
    cJSON *lines = cJSON_AddArrayToObject(o, "lines");
    for (size_t i = 0; i < report->line_count; i++)
        cJSON_AddItemToArray(lines, line_json(&report->lines[i]));
    texts_json(o, "remarks", report->remarks, report->remark_count);
    texts_json(o, "notChecked", report->not_checked, report->not_checked_count);
    cJSON_AddNumberToObject(o, "benchTime", report->bench_time);
    cJSON_AddNumberToObject(o, "operatorTime", report->operator_time);
    return o;
}

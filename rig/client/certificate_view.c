#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/number.h"
#include "rig/client/certificate_causes.h"
#include "rig/client/certificate_lines.h"
#include "rig/client/certificate_view.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"
#include "rig/console/table.h"

static void put(const char *text, FILE *to)
{
    struct es_text clean = {0};
    es_text_visible(&clean, text, strlen(text));
    fputs(clean.bytes != NULL ? clean.bytes : "", to);
    es_text_free(&clean);
}

static bool is_record(const cJSON *root)
{
    return strcmp(es_member_text(root, "kind"), "record") == 0;
}

int es_certificate_view_exit(const cJSON *root)
{
    if (is_record(root))
        return 3;
    return strcmp(es_member_text(root, "verdict"), "pass") == 0 ? 0 : 1;
}

void es_certificate_view_brief(const cJSON *root, FILE *to)
{
    put(is_record(root) ? "not completed" : es_member_text(root, "verdict"), to);
    fputs(", serial ", to);
    put(es_member_text(es_member(root, "unit"), "serial"), to);
    fprintf(to, ", %.10s", es_member_text(root, "issued"));
    if (es_member_true(es_member(root, "bench"), "virtual"))
        fputs(", VIRTUAL", to);
}

void es_certificate_view_sentence(const cJSON *root, FILE *to)
{
    const cJSON *unit = es_member(root, "unit");
    put(es_member_text(root, "kind"), to);
    fputc(' ', to);
    put(es_member_text(root, "number"), to);
    fputs(": serial ", to);
    put(es_member_text(unit, "serial"), to);
    fputs(", ", to);
    put(es_member_text(unit, "type"), to);
    fputs(", ", to);
    put(is_record(root) ? "not completed" : es_member_text(root, "verdict"), to);
    fputs(", issued ", to);
    put(es_member_text(root, "issued"), to);
    if (es_member_true(es_member(root, "bench"), "virtual"))
        fputs(" on a VIRTUAL bench", to);
    fputc('\n', to);
}

static void fact(const char *name, const char *text, const struct es_screen *screen, FILE *to)
{
    if (text[0] == '\0')
        return;
    struct es_text clean = {0};
    es_text_visible(&clean, text, strlen(text));
    fprintf(to, "  %-12s", name);
    es_display_wrap(clean.bytes != NULL ? clean.bytes : "", 14, screen->width, to);
    es_text_free(&clean);
}

#define MISSED_MOST 12

static void part(struct es_text *out, const char **before, int count, const char *one, const char *many)
{
    if (count == 0)
        return;
    es_text_printf(out, "%s%d %s", *before, count, count == 1 ? one : many);
    *before = ", ";
}

/* "of 36 lines that decide 11 pass, 2 fail, 23 were not tested; 4 more only inform" */
static void count_text(const cJSON *root, struct es_text *out)
{
    struct es_line_counts n;
    const char *before = " ";
    es_lines_count(root, &n);
    if (n.decide == 0) {
        es_text_add(out, "no line decides");
    } else if (n.passed == n.decide) {
        es_text_add(out, n.decide == 1 ? "the line that decides passes" : "");
        if (n.decide > 1)
            es_text_printf(out, "all %d lines that decide pass", n.decide);
    } else {
        es_text_printf(out, "of %d line%s that decide%s", n.decide, n.decide == 1 ? "" : "s",
                       n.decide == 1 ? "s" : "");
        part(out, &before, n.passed, "passes", "pass");
        part(out, &before, n.conditional, "passes conditionally", "pass conditionally");
        part(out, &before, n.conditional_failed, "fails conditionally", "fail conditionally");
        part(out, &before, n.failed, "fails", "fail");
        part(out, &before, n.untested, "was not tested", "were not tested");
    }
    before = "; ";
    part(out, &before, n.inform, "more only informs", "more only inform");
    part(out, &before, n.inform_outside, "of them outside its limit", "of them outside their limits");
}

static void print_verdict(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    char verdict[40] = "NOT COMPLETED";
    struct es_text text = {0}, clean = {0};
    if (!is_record(root)) {
        es_verdict_text(es_member_text(root, "verdict"), screen->utf8, verdict, sizeof verdict);
        for (char *c = verdict; *c != '\0'; c++)
            if (*c >= 'a' && *c <= 'z')
                *c = (char)(*c - 'a' + 'A');
        count_text(root, &text);
    } else {
        es_text_add(&text, es_member_text(es_member(root, "run"), "ended_because"));
    }
    const char *head = verdict + strspn(verdict, " ");
    if (text.bytes != NULL)
        es_text_visible(&clean, text.bytes, text.length);
    if (screen->colour)
        fputs(es_certificate_view_exit(root) == 0 ? "\033[1;32m" : "\033[1;31m", to);
    put(head, to);
    if (screen->colour)
        fputs("\033[0m", to);
    fputs(": ", to);
    size_t first = es_display_width(head) + 2;
    es_display_wrap_after(clean.bytes != NULL ? clean.bytes : "", first, 2, screen->width, to);
    es_text_free(&clean);
    es_text_free(&text);
}

/* What did not pass, or nearly did not, so that it is seen without scrolling. */
static enum es_status print_missed(const cJSON *root, const struct es_screen *screen, FILE *to,
                                   struct es_error *err)
{
    size_t more;
    struct es_table *table = es_lines_missed(root, screen->utf8, MISSED_MOST, &more);
    enum es_status s = ES_OK;
    if (table == NULL || es_table_rows(table) > 0) {
        fputc('\n', to);
        s = es_table_print(table, screen->width, 2, screen->colour, to, err);
        if (more > 0)
            fprintf(to, "  and %zu more, see below\n", more);
        fputc('\n', to);
    }
    es_table_free(table);
    return s;
}

/* Where a run stood when it ended. */
static void print_end(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    const cJSON *run = es_member(root, "run"), *procedure;
    struct es_text in = {0}, done = {0};
    cJSON_ArrayForEach(procedure, es_member(root, "procedures"))
    {
        const char *title = es_procedure_title(root, es_member_text(procedure, "name"));
        if (es_member_true(procedure, "completed"))
            es_text_printf(&done, "%s%s", done.length > 0 ? "; " : "", title);
        else if (es_member_text(procedure, "began")[0] != '\0' && in.length == 0)
            es_text_printf(&in, " in \"%s\"", title);
    }
    struct es_text text = {0};
    const char *ended = es_member_text(run, "ended");
    if (ended[0] != '\0' || in.length > 0)
        es_text_printf(&text, "%s%s; ", ended, in.length > 0 ? in.bytes : "");
    if (done.length > 0)
        es_text_printf(&text, "completed before: %s", done.bytes);
    else
        es_text_add(&text, "no procedure was completed before");
    fact("Ended", text.bytes != NULL ? text.bytes : "", screen, to);
    es_text_free(&text);
    es_text_free(&done);
    es_text_free(&in);
}

static void print_safe_time(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    char text[80];
    double safe = es_member_number(es_member(root, "run"), "safe_state_after_s");
    if (isnan(safe))
        return;
    snprintf(text, sizeof text, "reached %.2f s after the cause", safe);
    fact("Safe state", text, screen, to);
}

/* What was corrected after the test. */
static void print_amended(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    const cJSON *change;
    cJSON_ArrayForEach(change, es_member(root, "amended"))
    {
        struct es_text text = {0};
        const char *was = es_member_text(change, "was");
        es_text_printf(&text, "%s: %s, was %s", es_member_text(change, "what"), es_member_text(change, "is"),
                       was[0] != '\0' ? was : "not given");
        fact("Amended", text.bytes != NULL ? text.bytes : "", screen, to);
        es_text_free(&text);
    }
}

static void print_head(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    const cJSON *unit = es_member(root, "unit"), *run = es_member(root, "run"),
                *bench = es_member(root, "bench");
    const cJSON *plan = es_member(root, "plan");
    char text[700];
    const char *tag = es_member_text(unit, "tag");
    snprintf(text, sizeof text, "serial %s%s%s, %s", es_member_text(unit, "serial"),
             tag[0] != '\0' ? ", tag " : "", tag, es_member_text(unit, "type"));
    fact("Unit", text, screen, to);
    const char *title = es_member_text(plan, "title");
    snprintf(text, sizeof text, "%s, version %s", title[0] != '\0' ? title : es_member_text(plan, "name"),
             es_member_text(plan, "version"));
    fact("Plan", text, screen, to);
    fact("State", es_member_text(root, "state"), screen, to);
    fact("Reason", es_member_text(root, "reason"), screen, to);
    fact("Customer", es_member_text(root, "customer"), screen, to);
    fact("Lot", es_member_text(unit, "lot"), screen, to);
    fact("Supplier", es_member_text(unit, "supplier"), screen, to);
    fact("Replaced", es_member_text(root, "parts_replaced"), screen, to);
    snprintf(text, sizeof text, "%s, station %s%s", es_member_text(bench, "name"),
             es_member_text(bench, "station"),
             es_member_true(bench, "virtual") ? " (VIRTUAL: no real unit was tested)" : "");
    fact("Bench", text, screen, to);
    snprintf(text, sizeof text, "%s by %s%s", es_member_text(run, "began"), es_member_text(run, "person"),
             es_member_true(run, "attended") ? "" : " (unattended)");
    fact("Run", text, screen, to);
    snprintf(text, sizeof text, "%s %s, issued %s", es_member_text(root, "kind"),
             es_member_text(root, "number"), es_member_text(root, "issued"));
    fact("Document", text, screen, to);
    const char *because = es_member_text(root, "replaces_because");
    snprintf(text, sizeof text, "%s%s%s", es_member_text(root, "replaces"), because[0] != '\0' ? ": " : "",
             because);
    fact("Corrects", text, screen, to);
    print_amended(root, screen, to);
}

static enum es_status print_record(const cJSON *root, const struct es_screen *screen, FILE *to,
                                   struct es_error *err)
{
    print_end(root, screen, to);
    print_safe_time(root, screen, to);
    print_head(root, screen, to);
    struct es_table *table = es_lines_measured(root, screen->utf8);
    enum es_status s = ES_OK;
    fputc('\n', to);
    if (table != NULL && es_table_rows(table) == 0)
        es_display_wrap("Nothing was measured before it ended.", 0, screen->width, to);
    else
        s = es_table_print(table, screen->width, 0, screen->colour, to, err);
    es_table_free(table);
    fputc('\n', to);
    es_display_wrap(
        "A run that was not completed judges nothing: there is no verdict, neither on the unit nor "
        "on a value.",
        0, screen->width, to);
    return s;
}

static enum es_status print_judged(const cJSON *root, const struct es_screen *screen, FILE *to,
                                   struct es_error *err)
{
    enum es_status s = print_missed(root, screen, to, err);
    print_head(root, screen, to);
    print_safe_time(root, screen, to);
    if (s != ES_OK)
        return s;
    struct es_table *table = es_lines_judged(root, screen->utf8);
    if (table == NULL || es_table_rows(table) > 0) {
        fputc('\n', to);
        s = es_table_print(table, screen->width, 0, screen->colour, to, err);
        fputc('\n', to);
        es_display_wrap("Values with expanded uncertainty U for 95 % coverage, rounded after JCGM 100 7.2.6.",
                        0, screen->width, to);
    }
    es_table_free(table);
    if (s == ES_OK)
        es_certificate_view_causes(root, screen, to);
    return s;
}

enum es_status es_certificate_view_print(const cJSON *root, const struct es_screen *screen, FILE *to,
                                         struct es_error *err)
{
    print_verdict(root, screen, to);
    return is_record(root) ? print_record(root, screen, to, err) : print_judged(root, screen, to, err);
}

static size_t count_lines(const cJSON *root, const struct es_screen *screen)
{
    char *text = NULL;
    size_t size = 0, lines = 0;
    FILE *to = open_memstream(&text, &size);
    if (to == NULL)
        return 0;
    struct es_error err;
    enum es_status s = es_certificate_view_print(root, screen, to, &err);
    if (fclose(to) == 0 && s == ES_OK)
        for (const char *c = text; *c != '\0'; c++)
            lines += *c == '\n';
    free(text);
    return lines;
}

enum es_status es_certificate_view_again(const cJSON *root, const struct es_screen *screen, size_t beside,
                                         FILE *to, struct es_error *err)
{
    if (screen->height == 0 || count_lines(root, screen) + beside <= screen->height)
        return ES_OK;
    fputc('\n', to);
    print_verdict(root, screen, to);
    return is_record(root) ? ES_OK : print_missed(root, screen, to, err);
}

static void number_cell(const cJSON *object, const char *name, char out[static 40])
{
    double value = es_member_number(object, name);
    out[0] = '\0';
    if (!isnan(value))
        snprintf(out, 40, "%.12g", value);
}

void es_certificate_view_csv(const cJSON *root, FILE *to)
{
    static const char *const head[] = {
        "number", "serial", "procedure", "measurand",  "verdict",          "value", "U", "k", "unit",
        "lower",  "upper",  "rule",      "guard band", "false acceptance", "reason"};
    es_csv_row(to, head, sizeof head / sizeof head[0]);
    const cJSON *line;
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        const cJSON *limit = es_member(line, "limit");
        char value[40], U[40], k[40], lower[40], upper[40], guard[40], risk[40];
        number_cell(line, "value", value);
        number_cell(line, "U", U);
        number_cell(line, "k", k);
        number_cell(limit, "lower", lower);
        number_cell(limit, "upper", upper);
        number_cell(line, "guard_band", guard);
        number_cell(line, "false_acceptance", risk);
        const char *cells[] = {es_member_text(root, "number"),
                               es_member_text(es_member(root, "unit"), "serial"),
                               es_member_text(line, "procedure"),
                               es_member_text(line, "measurand"),
                               es_member_text(line, "verdict"),
                               value,
                               U,
                               k,
                               es_member_text(line, "unit"),
                               lower,
                               upper,
                               es_member_text(line, "rule"),
                               guard,
                               risk,
                               es_member_text(line, "reason")};
        es_csv_row(to, cells, sizeof cells / sizeof cells[0]);
    }
}

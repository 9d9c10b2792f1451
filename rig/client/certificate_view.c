#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/client/certificate_view.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"
#include "rig/console/number.h"
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

/* Word and shape of a verdict; colour comes on top of them, never instead. */
static void verdict_text(const char *verdict, bool utf8, char *out, size_t size)
{
    static const struct {
        const char *verdict, *word, *shape, *plain;
    } words[] = {
        {"pass", "pass", "✓", " "},
        {"conditional pass", "conditional pass", "~", "~"},
        {"conditional fail", "CONDITIONAL FAIL", "!", "!"},
        {"fail", "FAIL", "✗", "X"},
        {"not tested", "NOT TESTED", "-", "-"},
    };
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(verdict, words[i].verdict) == 0) {
            snprintf(out, size, "%s %s", utf8 ? words[i].shape : words[i].plain, words[i].word);
            return;
        }
    }
    snprintf(out, size, "  %s", verdict);
}

static void limit_text(const cJSON *line, bool utf8, char *out, size_t size)
{
    const cJSON *limit = es_member(line, "limit");
    char unit[64]; /* with its blank; nothing for pure numbers */
    const char *name = es_member_text(line, "unit");
    snprintf(unit, sizeof unit, "%s%s", name[0] != '\0' && strcmp(name, "1") != 0 ? " " : "",
             strcmp(name, "1") != 0 ? name : "");
    double lower = es_member_number(limit, "lower"), upper = es_member_number(limit, "upper");
    char low[ES_NUMBER_SIZE], high[ES_NUMBER_SIZE];
    es_number_limit(lower, low);
    es_number_limit(upper, high);
    const char *information = es_member_true(limit, "required") ? "" : " (for information)";
    if (!isnan(lower) && !isnan(upper))
        snprintf(out, size, "%s to %s%s%s", low, high, unit, information);
    else if (!isnan(upper))
        snprintf(out, size, "%s %s%s%s", utf8 ? "≤" : "<=", high, unit, information);
    else if (!isnan(lower))
        snprintf(out, size, "%s %s%s%s", utf8 ? "≥" : ">=", low, unit, information);
    else
        snprintf(out, size, "none%s", information);
}

static void value_text(const cJSON *line, bool utf8, char *value, size_t value_size, char *spread,
                       size_t size)
{
    double y = es_member_number(line, "value");
    double decimals = es_member_number(line, "decimals");
    value[0] = spread[0] = '\0';
    if (isnan(y))
        return;
    struct es_number_text text;
    es_number_with_uncertainty(y, es_member_number(line, "U"),
                               decimals >= 0 && decimals <= 12 ? (int)decimals : 3, &text);
    snprintf(value, value_size, "%s", text.value);
    const char *unit = es_member_text(line, "unit");
    if (strcmp(unit, "1") == 0)
        unit = "";
    if (text.U[0] != '\0')
        snprintf(spread, size, "%s %s%s%s", utf8 ? "±" : "+-", text.U, unit[0] != '\0' ? " " : "", unit);
    else
        snprintf(spread, size, "%s", unit);
}

/* Title of a procedure, by its name. */
static const char *procedure_title(const cJSON *root, const char *name)
{
    const cJSON *procedure;
    cJSON_ArrayForEach(procedure, es_member(root, "procedures"))
    {
        const char *title = es_member_text(procedure, "title");
        if (strcmp(es_member_text(procedure, "name"), name) == 0 && title[0] != '\0')
            return title;
    }
    return name;
}

static const struct es_column columns[] = {
    {.title = "Verdict"},
    {.title = "Measurand", .wraps = true, .least = 18},
    {.title = "Value", .align = ES_ALIGN_RIGHT},
    {.title = "", .gap = 1},
    {.title = "Limits", .wraps = true, .least = 12},
};

static struct es_table *line_table(const cJSON *root, bool utf8)
{
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const char *procedure = "";
    const cJSON *line;
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (strcmp(procedure, es_member_text(line, "procedure")) != 0) {
            procedure = es_member_text(line, "procedure");
            es_table_heading(table, procedure_title(root, procedure));
        }
        char verdict[40], value[64], spread[96], limits[240];
        verdict_text(es_member_text(line, "verdict"), utf8, verdict, sizeof verdict);
        value_text(line, utf8, value, sizeof value, spread, sizeof spread);
        limit_text(line, utf8, limits, sizeof limits);
        const char *cells[] = {verdict, es_member_text(line, "measurand"), value, spread, limits};
        bool fine = strcmp(es_member_text(line, "verdict"), "pass") == 0 || is_record(root);
        es_table_row(table, fine ? ES_PLAIN : ES_STRONG, cells);
        if (es_member_text(line, "reason")[0] != '\0')
            es_table_note(table, 4, es_member_text(line, "reason"));
    }
    return table;
}

static void print_counts(const cJSON *root, FILE *to)
{
    int lines = 0, passed = 0, failed = 0, untested = 0;
    const cJSON *line;
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        const char *verdict = es_member_text(line, "verdict");
        lines++;
        passed += strcmp(verdict, "pass") == 0;
        failed += strcmp(verdict, "fail") == 0 || strcmp(verdict, "conditional fail") == 0;
        untested += strcmp(verdict, "not tested") == 0;
    }
    fprintf(to, ": %d of %d lines pass", passed, lines);
    if (failed > 0)
        fprintf(to, ", %d fail%s", failed, failed == 1 ? "s" : "");
    if (untested > 0)
        fprintf(to, ", %d not tested", untested);
}

static void print_verdict(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    char verdict[40];
    if (screen->colour)
        fputs(es_certificate_view_exit(root) == 0 ? "\033[1;32m" : "\033[1;31m", to);
    if (is_record(root)) {
        fputs("NOT COMPLETED", to);
    } else {
        verdict_text(es_member_text(root, "verdict"), screen->utf8, verdict, sizeof verdict);
        for (char *c = verdict; *c != '\0'; c++)
            if (*c >= 'a' && *c <= 'z')
                *c = (char)(*c - 'a' + 'A');
        put(verdict + (verdict[0] == ' '), to);
    }
    if (screen->colour)
        fputs("\033[0m", to);
    if (is_record(root)) {
        fputs(": ", to);
        put(es_member_text(es_member(root, "run"), "ended_because"), to);
    } else {
        print_counts(root, to);
    }
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
    double safe = es_member_number(run, "safe_state_after_s");
    if (!isnan(safe)) {
        snprintf(text, sizeof text, "reached %.2f s after the cause", safe);
        fact("Safe state", text, screen, to);
    }
}

static void print_procedures_left_out(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    const cJSON *procedure;
    cJSON_ArrayForEach(procedure, es_member(root, "procedures"))
    {
        const char *why = es_member_text(procedure, "skipped_because");
        if (why[0] == '\0')
            continue;
        char text[400];
        snprintf(text, sizeof text, "%s: %s", procedure_title(root, es_member_text(procedure, "name")), why);
        fact("Left out", text, screen, to);
    }
}

enum es_status es_certificate_view_print(const cJSON *root, const struct es_screen *screen, FILE *to,
                                         struct es_error *err)
{
    print_verdict(root, screen, to);
    print_head(root, screen, to);
    print_procedures_left_out(root, screen, to);
    struct es_table *table = line_table(root, screen->utf8);
    enum es_status s = ES_OK;
    if (table == NULL || es_table_rows(table) > 0) {
        fputc('\n', to);
        s = es_table_print(table, screen->width, 0, screen->colour, to, err);
        fputc('\n', to);
        es_display_wrap("Values with expanded uncertainty U for 95 % coverage, rounded after JCGM 100 7.2.6.",
                        0, screen->width, to);
    }
    es_table_free(table);
    return s;
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

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rig/base/number.h"
#include "rig/client/certificate_lines.h"
#include "rig/client/talk.h"

void es_verdict_text(const char *verdict, bool utf8, char *out, size_t size)
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
    char above[ES_NUMBER_SIZE], below[ES_NUMBER_SIZE];
    const cJSON *trials = es_member(line, "monte_carlo");
    if (trials != NULL && es_number_uneven(y, es_member_number(trials, "low"),
                                           es_member_number(trials, "high"), text.decimals, above, below))
        snprintf(spread, size, "+%s -%s%s%s", above, below, unit[0] != '\0' ? " " : "", unit);
    else if (text.U[0] != '\0')
        snprintf(spread, size, "%s %s%s%s", utf8 ? "±" : "+-", text.U, unit[0] != '\0' ? " " : "", unit);
    else
        snprintf(spread, size, "%s", unit);
}

const char *es_procedure_title(const cJSON *root, const char *name)
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

static bool is(const cJSON *line, const char *verdict)
{
    return strcmp(es_member_text(line, "verdict"), verdict) == 0;
}

static bool decides(const cJSON *line)
{
    return es_member_true(es_member(line, "limit"), "required");
}

static bool belongs(const cJSON *line, const cJSON *procedure)
{
    return strcmp(es_member_text(line, "procedure"), es_member_text(procedure, "name")) == 0;
}

/* The one reason why nothing of a procedure was tested; "" when something was, or reasons differ. *lines: how
 * many lines the procedure has. */
static const char *left_out_because(const cJSON *root, const cJSON *procedure, int *lines)
{
    const char *why = es_member_text(procedure, "skipped_because");
    bool one_reason = true;
    const cJSON *line;
    *lines = 0;
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (!belongs(line, procedure))
            continue;
        const char *reason = es_member_text(line, "reason");
        one_reason = one_reason && is(line, "not tested") && (*lines == 0 || strcmp(reason, why) == 0);
        if (reason[0] != '\0')
            why = reason;
        ++*lines;
    }
    return one_reason ? why : "";
}

static bool is_outside(const cJSON *line)
{
    return is(line, "fail") || is(line, "conditional fail");
}

void es_lines_count(const cJSON *root, struct es_line_counts *counts)
{
    const cJSON *line;
    *counts = (struct es_line_counts){0};
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (!decides(line)) {
            counts->inform++;
            counts->inform_outside += is_outside(line);
            continue;
        }
        counts->decide++;
        counts->passed += is(line, "pass");
        counts->conditional += is(line, "conditional pass");
        counts->failed += is(line, "fail");
        counts->conditional_failed += is(line, "conditional fail");
        counts->untested += is(line, "not tested");
    }
}

/* By how much a value misses: "57.04 Nl/h too high"; inside the limit, what the guard band took from it. */
static void miss_text(const cJSON *line, char *out, size_t size)
{
    const cJSON *limit = es_member(line, "limit");
    double y = es_member_number(line, "value"), U = es_member_number(line, "U");
    double lower = es_member_number(limit, "lower"), upper = es_member_number(limit, "upper");
    double decimals = es_member_number(line, "decimals");
    const char *unit = es_member_text(line, "unit");
    out[0] = '\0';
    double high = isnan(upper) ? -INFINITY : y - upper, low = isnan(lower) ? -INFINITY : lower - y;
    double miss = fmax(high, low);
    if (isnan(y) || !isfinite(miss))
        return;
    struct es_number_text text;
    es_number_with_uncertainty(fabs(miss), U, decimals >= 0 && decimals <= 12 ? (int)decimals : 3, &text);
    const char *blank = unit[0] != '\0' && strcmp(unit, "1") != 0 ? " " : "";
    if (blank[0] == '\0')
        unit = "";
    if (miss > 0)
        snprintf(out, size, "%s%s%s too %s", text.value, blank, unit, high > low ? "high" : "low");
    else
        snprintf(out, size, "inside by only %s%s%s", text.value, blank, unit);
}

/* Passed, but with a probability of a tenth of a percent or more that the true value lies outside. */
static bool is_close(const cJSON *line)
{
    return is(line, "pass") && decides(line) && es_member_number(line, "false_acceptance") >= 0.0005;
}

/* `missing`: with by how much it misses its limit or stays inside. */
static void value_row(struct es_table *table, const cJSON *line, bool utf8, bool missing,
                      enum es_emphasis emphasis)
{
    char verdict[40], value[64], spread[96], limits[240], miss[240];
    es_verdict_text(es_member_text(line, "verdict"), utf8, verdict, sizeof verdict);
    if (missing && is_close(line))
        snprintf(verdict, sizeof verdict, utf8 ? "✓ close" : "  close");
    else if (is_outside(line) && !decides(line)) /* nobody failed by it */
        snprintf(verdict, sizeof verdict, "! outside");
    value_text(line, utf8, value, sizeof value, spread, sizeof spread);
    limit_text(line, utf8, limits, sizeof limits);
    miss_text(line, miss, sizeof miss);
    if (missing && is_close(line))
        snprintf(miss + strlen(miss), sizeof miss - strlen(miss), "%srisk %.1f %%",
                 miss[0] != '\0' ? "; " : "", 100 * es_member_number(line, "false_acceptance"));
    const char *cells[] = {
        verdict, es_member_text(line, "measurand"), value, spread, limits, missing ? miss : NULL};
    es_table_row(table, emphasis, cells);
}

static bool same_reason(const cJSON *a, const cJSON *b)
{
    return is(b, "not tested") && decides(b) &&
           strcmp(es_member_text(a, "procedure"), es_member_text(b, "procedure")) == 0 &&
           strcmp(es_member_text(a, "reason"), es_member_text(b, "reason")) == 0;
}

/* One line for all that were not tested for the same reason, when `line` is the first of them. */
static void untested_note(struct es_table *table, const cJSON *root, const cJSON *line, bool utf8)
{
    char verdict[40], text[700];
    int count = 0;
    const cJSON *other;
    cJSON_ArrayForEach(other, es_member(root, "lines"))
    {
        if (same_reason(line, other) && count++ == 0 && other != line)
            return; /* told with that one */
    }
    es_verdict_text("not tested", utf8, verdict, sizeof verdict);
    if (count == 1)
        snprintf(text, sizeof text, "%s  %s: %s", verdict, es_member_text(line, "measurand"),
                 es_member_text(line, "reason"));
    else
        snprintf(text, sizeof text, "%s  %d lines of \"%s\": %s", verdict, count,
                 es_procedure_title(root, es_member_text(line, "procedure")), es_member_text(line, "reason"));
    es_table_item(table, 0, text);
}

struct es_table *es_lines_missed(const cJSON *root, bool utf8, size_t most, size_t *more)
{
    static const struct es_column columns[] = {
        {.title = ""},
        {.title = "", .wraps = true, .least = 18},
        {.title = "", .align = ES_ALIGN_RIGHT},
        {.title = "", .gap = 1},
        {.title = "", .wraps = true, .least = 9},
        {.title = "", .wraps = true, .least = 12},
    };
    static const char *const order[] = {"fail", "conditional fail", "conditional pass", "not tested"};
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const cJSON *line;
    *more = 0;
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        cJSON_ArrayForEach(line, es_member(root, "lines"))
        {
            if (!is(line, order[i]) || !decides(line))
                continue;
            if (table != NULL && es_table_rows(table) < most && is(line, "not tested"))
                untested_note(table, root, line, utf8);
            else if (table != NULL && es_table_rows(table) < most)
                value_row(table, line, utf8, true, ES_STRONG);
            else
                ++*more;
        }
    }
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (table != NULL && es_table_rows(table) < most && is_close(line))
            value_row(table, line, utf8, true, ES_PLAIN);
    }
    return table;
}

/* A reason that several lines share stands once, below the last of them. */
static bool reason_goes_on(const cJSON *line)
{
    const cJSON *next = line->next;
    return next != NULL && is(line, "not tested") && is(next, "not tested") &&
           strcmp(es_member_text(line, "procedure"), es_member_text(next, "procedure")) == 0 &&
           strcmp(es_member_text(line, "reason"), es_member_text(next, "reason")) == 0;
}

static void add_left_out(struct es_table *table, const char *why, int lines)
{
    char text[400];
    if (lines == 0)
        snprintf(text, sizeof text, "%s", why);
    else
        snprintf(text, sizeof text, "%s: %d line%s not tested", why, lines, lines == 1 ? "" : "s");
    es_table_note(table, 2, text);
}

/* "1.2 %", "under 0.01 %". */
static void share_text(double share, char *out, size_t size)
{
    if (100 * share < 0.01)
        (void)snprintf(out, size, "under 0.01 %%");
    else
        (void)snprintf(out, size, "%.2g %%", 100 * share);
}

/* What the decision rule does to all units of the type, where the type sheet says how they are distributed.
 */
static void add_global_risk(struct es_table *table, const cJSON *line)
{
    const cJSON *risk = es_member(line, "global_risk");
    const double consumer = es_member_number(risk, "consumer"), producer = es_member_number(risk, "producer");
    char text[200], passes[24], fails[24];
    if (isnan(consumer) || isnan(producer))
        return;
    share_text(consumer, passes, sizeof passes);
    share_text(producer, fails, sizeof fails);
    (void)snprintf(text, sizeof text,
                   "of all such units %s would pass without conforming, %s fail although they conform",
                   passes, fails);
    es_table_note(table, 4, text);
}

static void add_lines(struct es_table *table, const cJSON *root, const cJSON *procedure, bool utf8)
{
    const cJSON *line;
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (!belongs(line, procedure))
            continue;
        value_row(table, line, utf8, false, is(line, "pass") ? ES_PLAIN : ES_STRONG);
        if (es_member_text(line, "reason")[0] != '\0' && !reason_goes_on(line))
            es_table_note(table, 4, es_member_text(line, "reason"));
        add_global_risk(table, line);
    }
}

/* A line whose procedure stands nowhere: a foreign or damaged document is shown all the same. */
static bool is_stray(const cJSON *root, const cJSON *line)
{
    const cJSON *procedure;
    cJSON_ArrayForEach(procedure, es_member(root, "procedures"))
    {
        if (belongs(line, procedure))
            return false;
    }
    return true;
}

struct es_table *es_lines_judged(const cJSON *root, bool utf8)
{
    static const struct es_column columns[] = {
        {.title = "Verdict"},
        {.title = "Measurand", .wraps = true, .least = 18},
        {.title = "Value", .align = ES_ALIGN_RIGHT},
        {.title = "", .gap = 1},
        {.title = "Limits", .wraps = true, .least = 12},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const cJSON *procedure, *line;
    cJSON_ArrayForEach(procedure, es_member(root, "procedures"))
    {
        int lines;
        const char *why = left_out_because(root, procedure, &lines);
        if (lines == 0 && why[0] == '\0')
            continue;
        es_table_heading(table, es_procedure_title(root, es_member_text(procedure, "name")));
        if (why[0] != '\0')
            add_left_out(table, why, lines);
        else
            add_lines(table, root, procedure, utf8);
    }
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (is_stray(root, line))
            value_row(table, line, utf8, false, is(line, "pass") ? ES_PLAIN : ES_STRONG);
    }
    return table;
}

struct es_table *es_lines_measured(const cJSON *root, bool utf8)
{
    static const struct es_column columns[] = {
        {.title = "Measured before it ended", .wraps = true, .least = 18},
        {.title = "Value", .align = ES_ALIGN_RIGHT},
        {.title = "", .gap = 1},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const char *procedure = "";
    const cJSON *line;
    cJSON_ArrayForEach(line, es_member(root, "lines"))
    {
        if (isnan(es_member_number(line, "value")))
            continue;
        if (strcmp(procedure, es_member_text(line, "procedure")) != 0) {
            procedure = es_member_text(line, "procedure");
            es_table_heading(table, es_procedure_title(root, procedure));
        }
        char value[64], spread[96];
        value_text(line, utf8, value, sizeof value, spread, sizeof spread);
        const char *cells[] = {es_member_text(line, "measurand"), value, spread};
        es_table_row(table, ES_PLAIN, cells);
    }
    return table;
}

#include <stdlib.h>
#include <string.h>

#include "procedures/measures/propagate.h"
#include "rig/base/file.h"
#include "rig/bench/recording_file.h"
#include "rig/client/measure_list.h"
#include "rig/client/measure_order.h"
#include "rig/client/measure_show.h"
#include "rig/client/verb.h"

#define SLOTS_MAX 8

struct arguments {
    struct es_option_list files, columns, uncertainties, sets, facts, traces;
    const char *measure, *decimal;
    bool merge, list, json, csv;
};

#define LIST(n, word, member, text)                                                                          \
    {                                                                                                        \
        .name = (n), .value = (word), .kind = ES_OPTION_LIST, .offset = offsetof(struct arguments, member),  \
        .meaning = (text)                                                                                    \
    }
#define FLAG(n, member, text) ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    {.name = "measure",
     .value = "NAME",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, measure),
     .meaning = "the measure: \"step response\""},
    LIST("column", "CHANNEL=COLUMN", columns,
         "which column is which channel, by its name in the header or its number: \"travel=2 [mm]\", "
         "\"time=1 [s]\"; "
         "columns that are named time or like a channel need none"),
    LIST("uncertainty", "CHANNEL=U", uncertainties,
         "standard uncertainty of a channel's offset: \"travel=0.02 mm\""),
    LIST("set", "SETTING=VALUE", sets, "a setting of the measure: \"response=travel\""),
    LIST("fact", "NAME=VALUE", facts,
         "a known quantity with its expanded uncertainty (k = 2): \"output 1 volume=0.5 l +- 0.005 l\""),
    LIST("trace", "SLOT=FILE", traces,
         "a further recording of the measure, such as its tare: \"flow tare=tare.csv\""),
    {.name = "decimal",
     .value = "CHARACTER",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, decimal),
     .meaning = "decimal sign of the file, \".\" or \",\"; else found from the text"},
    FLAG("merge-repeats", merge, "average rows with the same time instead of refusing them"),
    FLAG("list", list,
         "list the measures; with --measure NAME all that this one takes and gives: recordings, settings, "
         "facts, outputs, units"),
    FLAG("json", json, "print for programs"),
    FLAG("csv", csv, "print as CSV"),
};

static const struct es_command_line line = {
    .program = "endstop measure",
    .summary = "puts a CSV recording from anywhere, or a kept one, through a measure",
    .detail = "--list lists the measures, and with --measure NAME what that one takes and gives. The "
              "recording needs a header with a unit in brackets for each column, or --column with units. "
              "Nothing is "
              "guessed: what can be read in two ways is refused. Exit status: 0 all values are valid; 1 the "
              "recording "
              "does not carry a value (the reason is given); 2 the recording cannot be accepted.",
    .example = "endstop measure step.csv --measure \"step response\" --set \"response=travel\"",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands =
        {.name = "FILE",
         .min = 0,
         .max = 1,
         .offset = offsetof(struct arguments, files),
         .meaning =
             "the recording of the measure's first slot: CSV, or DIGEST.recording.gz as a run keeps it; "
             "\"-\" is standard input"},
};

#define KEPT   ".recording.gz"
#define DIGEST 64 /* hexadecimal digits: the rest of such a file's name */

/* DIGEST.recording.gz: a recording that this program has kept. */
static bool is_kept(const char *file, char digest[static DIGEST + 1])
{
    const char *slash = strrchr(file, '/'), *name = slash ? slash + 1 : file;
    if (strlen(name) != DIGEST + strlen(KEPT) || strcmp(name + DIGEST, KEPT) != 0 ||
        strspn(name, "0123456789abcdef") != DIGEST)
        return false;
    memcpy(digest, name, DIGEST);
    digest[DIGEST] = '\0';
    return true;
}

static enum es_status read_kept(const char *file, const char *digest, struct es_trace **out,
                                struct es_error *err)
{
    struct es_trace *trace = NULL;
    enum es_status s = es_recording_read(es_file_system(), file, digest, &trace, err);
    if (s == ES_OK && trace->unfit != NULL) {
        s = es_fail(err, ES_NOT_VALID, "%s: the recording \"%s\" is unfit to be measured: %s", file,
                    trace->name != NULL ? trace->name : "", trace->unfit);
        es_trace_free(trace);
        return s;
    }
    if (s == ES_OK)
        *out = trace;
    return s;
}

static void add_count(struct es_text *t, size_t count, const char *one, const char *many)
{
    if (count > 0)
        es_text_printf(t, "%s%zu %s", t->length > 0 ? ", " : "", count, count == 1 ? one : many);
}

/* What of a file did not become samples. */
static void tell_left_out(const char *file, const struct es_csv_report *report)
{
    struct es_text text = {0};
    add_count(&text, report->text_rows, "row of text left out", "rows of text left out");
    add_count(&text, report->missing, "missing value", "missing values");
    add_count(&text, report->merged, "row merged into one of the same time",
              "rows merged into ones of the same time");
    add_count(&text, report->gaps, "gap in time", "gaps in time");
    if (text.length > 0 && text.bytes != NULL)
        fprintf(stderr, "%s: %zu rows; %s\n", file, report->rows, text.bytes);
    es_text_free(&text);
}

static enum es_status read_trace(const struct arguments *a, const struct es_measure_order *order,
                                 const char *file, struct es_findings *findings, struct es_trace **out,
                                 struct es_error *err)
{
    struct es_csv_options csv = {.columns = order->columns,
                                 .column_count = order->column_count,
                                 .decimal = a->decimal != NULL ? a->decimal[0] : '\0',
                                 .merge_repeats = a->merge};
    char *bytes = NULL;
    size_t length = 0;
    struct es_csv_report report = {0};
    char digest[DIGEST + 1];
    if (is_kept(file, digest))
        return read_kept(file, digest, out, err);
    enum es_status s = es_file_read(NULL, file, ES_CSV_MAX, &bytes, &length, err);
    if (s == ES_OK)
        s = es_csv_trace_read(file, bytes, length, &csv, findings, out, &report, err);
    if (s == ES_OK)
        tell_left_out(file, &report);
    free(bytes);
    return s;
}

/* The slot that "SLOT=FILE" names. */
static enum es_status find_slot(const struct es_measure *m, const char *text, size_t *slot, const char **file,
                                struct es_error *err)
{
    const char *equals = strchr(text, '=');
    for (size_t i = 0; equals != NULL && m->trace_names[i] != NULL && i < SLOTS_MAX; i++) {
        size_t length = strlen(m->trace_names[i]);
        if (length == (size_t)(equals - text) && strncmp(m->trace_names[i], text, length) == 0) {
            *slot = i;
            *file = equals + 1;
            return ES_OK;
        }
    }
    return es_fail(err, ES_USAGE, "--trace \"%s\": wanted SLOT=FILE with a recording of \"%s\"", text,
                   m->name);
}

static enum es_status read_traces(const struct arguments *a, const struct es_measure_order *order,
                                  struct es_findings *findings, struct es_trace *traces[SLOTS_MAX],
                                  struct es_error *err)
{
    enum es_status s = ES_OK;
    if (a->files.count > 0)
        s = read_trace(a, order, a->files.items[0], findings, &traces[0], err);
    for (size_t i = 0; s == ES_OK && i < a->traces.count; i++) {
        size_t slot = 0;
        const char *file = NULL;
        s = find_slot(order->measure, a->traces.items[i], &slot, &file, err);
        if (s == ES_OK && traces[slot] != NULL)
            s = es_fail(err, ES_USAGE, "recording \"%s\" is given twice", order->measure->trace_names[slot]);
        if (s == ES_OK)
            s = read_trace(a, order, file, findings, &traces[slot], err);
    }
    if (s == ES_OK && traces[0] == NULL)
        s = es_fail(err, ES_USAGE, "FILE is missing (the recording \"%s\")", order->measure->trace_names[0]);
    return s;
}

static enum es_status evaluate(const struct arguments *a, const struct es_screen *screen,
                               const struct es_measure_order *order, struct es_trace *const *traces,
                               bool *all_valid, struct es_error *err)
{
    const struct es_measure *m = order->measure;
    const struct es_trace *given[SLOTS_MAX];
    for (size_t i = 0; i < SLOTS_MAX; i++)
        given[i] = traces[i];
    struct es_facts facts = {.items = order->facts, .count = order->fact_count};
    struct es_measured *values = calloc(m->output_count, sizeof *values);
    if (values == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
    enum es_status s = m->evaluate(order->settings, given, &facts, values, err);
    for (size_t i = 0; s == ES_OK && i < m->output_count; i++) {
        const struct es_draws draws = {es_seed_of(0, "measure", m->name, values[i].name), 0};
        s = es_measured_propagate(&values[i], &draws, err);
    }
    *all_valid = true;
    for (size_t i = 0; s == ES_OK && i < m->output_count; i++)
        *all_valid = *all_valid && values[i].valid;
    if (s == ES_OK && a->csv)
        es_measure_show_csv(values, m->output_count);
    else if (s == ES_OK && a->json)
        s = es_measure_show_json(m, values, m->output_count, err);
    if (s == ES_OK && !a->csv && !a->json) {
        for (size_t i = 0; i < SLOTS_MAX; i++)
            if (traces[i] != NULL)
                es_measure_show_taken(screen, m->trace_names[i], traces[i]);
        putchar('\n');
        s = es_measure_show_table(screen, values, m->output_count, err);
    }
    if (s == ES_OK && !*all_valid)
        es_measure_show_not_given(screen, order, given);
    free(values);
    return s;
}

/* All, or the one that is named: by --measure, or as people will write it, after --list. */
static int list_measures(const struct es_screen *screen, const struct arguments *a, struct es_error *err)
{
    const char *name = a->measure != NULL ? a->measure : a->files.count > 0 ? a->files.items[0] : NULL;
    const size_t width = screen->width < 120 ? screen->width : 120;
    const struct es_measure *measure = NULL;
    if (name == NULL) {
        es_measure_list_names(width, stdout);
        return es_verb_end(&es_verb_measure, 0);
    }
    if (es_measure_order_find(name, &measure, err) != ES_OK)
        return es_verb_fail(&es_verb_measure, err, NULL);
    es_measure_list_one(measure, width, stdout);
    return es_verb_end(&es_verb_measure, 0);
}

static enum es_status check_arguments(const struct arguments *a, struct es_error *err)
{
    if (a->json && a->csv)
        return es_fail(err, ES_USAGE, "--json and --csv exclude each other");
    if (a->measure == NULL)
        return es_fail(err, ES_USAGE,
                       "--measure NAME is missing; \"endstop measure --list\" lists the measures");
    if (a->decimal != NULL && strcmp(a->decimal, ".") != 0 && strcmp(a->decimal, ",") != 0)
        return es_fail(err, ES_USAGE, "--decimal is \".\" or \",\", not \"%s\"", a->decimal);
    return ES_OK;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_measure, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    if (a.list)
        return list_measures(screen, &a, &err);
    struct es_findings findings = {0};
    struct es_trace *traces[SLOTS_MAX] = {0};
    bool all_valid = false;
    struct es_measure_order order = {0};
    enum es_status s = check_arguments(&a, &err);
    if (s == ES_OK)
        s = es_measure_order_read(a.measure, &a.columns, &a.uncertainties, &a.sets, &a.facts, &order,
                                  &findings, &err);
    if (s == ES_OK)
        s = read_traces(&a, &order, &findings, traces, &err);
    if (s == ES_OK)
        s = evaluate(&a, screen, &order, traces, &all_valid, &err);
    status = s == ES_OK ? es_verb_end(&es_verb_measure, all_valid ? 0 : 1)
                        : es_verb_fail(&es_verb_measure, &err, &findings);
    for (size_t i = 0; i < SLOTS_MAX; i++)
        es_trace_free(traces[i]);
    es_measure_order_free(&order);
    es_findings_free(&findings);
    return status;
}

const struct es_verb es_verb_measure = {.line = &line, .name = "measure", .run = run};

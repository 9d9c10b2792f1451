#include <stdlib.h>
#include <string.h>

#include "procedures/engine/check.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/bench/bench.h"
#include "rig/bench/station_view.h"
#include "rig/client/verb.h"
#include "rig/console/display.h"

struct arguments {
    struct es_option_list files;
    const char *bench, *station, *type;
    bool unattended, json;
};

static const struct es_option options[] = {
    {.name = "bench",
     .value = "FILE",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, bench),
     .meaning = "bench file, by name or file: roles, ceilings, rates and uncertainties are then proved "
                "too"},
    {.name = "station",
     .value = "NAME",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, station),
     .meaning = "station of that bench; else its first"},
    {.name = "type",
     .value = "TYPE",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, type),
     .meaning = "type sheet, by name or file: limits and named quantities are then proved too"},
    {.name = "unattended",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, unattended),
     .meaning = "for a run with nobody at the bench: a step that asks somebody is refused too"},
    {.name = "json",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, json),
     .meaning = "print for programs"},
};

static const struct es_command_line line = {
    .program = "endstop check",
    .summary = "proves a procedure, plan, type sheet or bench file before anything moves",
    .detail = "What cannot be proved is refused, with every fault of the file at once. A procedure or plan "
              "is proved "
              "as far as the given bench file and type sheet allow; what had to be left unchecked is listed.",
    .example = "endstop check after-relay-swap --bench bench.json --type linear-single-acting",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "FILE",
                 .min = 1,
                 .max = 1,
                 .offset = offsetof(struct arguments, files),
                 .meaning = "the file, or a name in the library"},
};

/* All that one check holds. */
struct work {
    struct es_findings findings;
    char *file, *type_file, *bench_file;
    struct es_bench *bench;
    struct es_station_view *view;
    struct es_type *type;
    struct es_plan *plan;
    struct es_check_report report;
};

/* "bench/1", "type-sheet/1", ...; "" when the file has none. */
static enum es_status read_format(const char *path, struct es_findings *findings, char *out, size_t size,
                                  struct es_error *err)
{
    struct es_document *doc = NULL;
    enum es_status s = es_document_load(path, findings, &doc, err);
    if (s != ES_OK)
        return s;
    const cJSON *format = cJSON_GetObjectItemCaseSensitive(es_document_root(doc), "endstop");
    snprintf(out, size, "%s", cJSON_IsString(format) ? format->valuestring : "");
    es_document_free(doc);
    return ES_OK;
}

static enum es_status load_view(const struct arguments *a, struct work *w, struct es_error *err)
{
    if (a->bench == NULL)
        return a->station == NULL ? ES_OK : es_fail(err, ES_USAGE, "--station needs --bench");
    enum es_status s = es_find_file(a->bench, ES_DATA_DIR "/benches", ".json", &w->bench_file, err);
    if (s == ES_OK)
        s = es_bench_load(w->bench_file, &w->findings, &w->bench, err);
    if (s != ES_OK)
        return s;
    const struct es_bench_station *station = NULL;
    for (size_t i = 0; i < w->bench->station_count && station == NULL; i++)
        if (a->station == NULL || strcmp(w->bench->stations[i].name, a->station) == 0)
            station = &w->bench->stations[i];
    if (station == NULL)
        return es_fail(err, ES_NOT_FOUND, "%s has no station \"%s\"", a->bench,
                       a->station != NULL ? a->station : "");
    w->view = calloc(1, sizeof *w->view);
    if (w->view == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to check");
    es_station_view_fill(w->bench, station, w->view);
    return ES_OK;
}

/* Names in it come from files. */
static enum es_status print_report(const struct es_check_report *report, size_t columns, struct es_error *err)
{
    char *text = NULL;
    size_t size;
    FILE *to = open_memstream(&text, &size);

    if (to != NULL)
        es_check_print(report, columns, to);
    const bool whole = to != NULL && fclose(to) == 0;
    if (whole)
        es_display_lines(text, stdout);
    free(text);
    return whole ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to print the check");
}

static enum es_status check_plan(const struct arguments *a, struct work *w, size_t columns,
                                 struct es_error *err)
{
    enum es_status s = load_view(a, w, err);
    if (s == ES_OK && a->type != NULL)
        s = es_find_file(a->type, ES_DATA_DIR "/types", ".json", &w->type_file, err);
    if (s == ES_OK && w->type_file != NULL)
        s = es_type_load(w->type_file, &w->findings, &w->type, err);
    if (s == ES_OK)
        s = es_plan_load_any(w->file, &w->findings, &w->plan, err);
    if (s != ES_OK)
        return s;
    s = (a->unattended ? es_plan_check_unattended : es_plan_check)(w->plan, w->view, w->type, &w->findings,
                                                                   &w->report, err);
    if (a->json) {
        cJSON *json = es_check_json(&w->report);
        char *text = json != NULL ? cJSON_PrintUnformatted(json) : NULL;
        if (text != NULL)
            printf("%s\n", text);
        else
            s = es_fail(err, ES_NO_MEMORY, "not enough memory to print the check");
        cJSON_free(text);
        cJSON_Delete(json);
    } else {
        const enum es_status printed = print_report(&w->report, columns, err);
        s = s == ES_OK ? printed : s;
    }
    return s;
}

static enum es_status check(const struct arguments *a, struct work *w, size_t columns, struct es_error *err)
{
    enum es_status s = es_find_procedure(a->files.items[0], &w->file, err);
    char format[64] = "";
    bool from_stdin =
        s == ES_OK && strcmp(w->file, "-") == 0; /* can be read once only: a plan or procedure */
    if (s == ES_OK && !from_stdin)
        s = read_format(w->file, &w->findings, format, sizeof format, err);
    if (s != ES_OK)
        return s;
    if (strncmp(format, "bench/", 6) == 0)
        s = es_bench_load(w->file, &w->findings, &w->bench, err);
    else if (strncmp(format, "type-sheet/", 11) == 0)
        s = es_type_load(w->file, &w->findings, &w->type, err);
    else
        return check_plan(a, w, columns, err);
    if (s == ES_OK && a->json)
        printf("{\"valid\":true}\n");
    else if (s == ES_OK)
        printf("%s: no faults\n", w->file);
    return s;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_check, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct work w = {0};
    enum es_status s = check(&a, &w, screen->width, &err);
    (void)fflush(stdout);
    status = s == ES_OK ? es_verb_end(&es_verb_check, 0) : es_verb_fail(&es_verb_check, &err, &w.findings);
    es_check_report_free(&w.report);
    es_plan_free(w.plan);
    es_type_free(w.type);
    free(w.view);
    es_bench_free(w.bench);
    free(w.bench_file);
    free(w.type_file);
    free(w.file);
    es_findings_free(&w.findings);
    return status;
}

const struct es_verb es_verb_check = {.line = &line, .name = "check", .run = run};

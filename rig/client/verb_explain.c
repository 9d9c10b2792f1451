#include <stdlib.h>

#include "procedures/engine/explain.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/client/verb.h"
#include "rig/console/display.h"

struct arguments {
    struct es_option_list files;
    const char *type;
};

static const struct es_option options[] = {
    {.name = "type",
     .value = "TYPE",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, type),
     .meaning = "type sheet, by name or file: named quantities and limits are then given with their values"},
};

static const struct es_command_line line = {
    .program = "endstop explain",
    .summary = "prints a procedure or test plan as a sheet to pin to the wall",
    .example = "endstop explain relay-leak --type linear-single-acting",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "FILE",
                 .min = 1,
                 .max = 1,
                 .offset = offsetof(struct arguments, files),
                 .meaning = "procedure or plan: a file, or a name in the library"},
};

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_explain, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_findings findings = {0};
    char *file = NULL, *type_file = NULL;
    struct es_type *type = NULL;
    char *text = NULL;
    size_t size;
    enum es_status s = es_find_procedure(a.files.items[0], &file, &err);
    if (s == ES_OK && a.type != NULL)
        s = es_find_file(a.type, ES_DATA_DIR "/types", ".json", &type_file, &err);
    if (s == ES_OK && type_file != NULL)
        s = es_type_load(type_file, &findings, &type, &err);
    FILE *to = s == ES_OK ? open_memstream(&text, &size) : NULL;
    if (s == ES_OK && to == NULL)
        s = es_fail(&err, ES_NO_MEMORY, "no memory for the explanation");
    if (s == ES_OK)
        s = es_explain_file(file, type, &findings, to, &err);
    if (to != NULL && fclose(to) != 0 && s == ES_OK)
        s = es_fail(&err, ES_NO_MEMORY, "no memory for the explanation");
    if (s == ES_OK)
        es_display_lines(text, stdout);
    status = s == ES_OK ? es_verb_end(&es_verb_explain, 0) : es_verb_fail(&es_verb_explain, &err, &findings);
    free(text);
    es_type_free(type);
    free(type_file);
    free(file);
    es_findings_free(&findings);
    return status;
}

const struct es_verb es_verb_explain = {.line = &line, .name = "explain", .run = run};

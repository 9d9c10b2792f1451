#include <string.h>

#include "rig/console/display.h"
#include "rig/console/options.h"

#define COLUMN 26
#define NARROW 52 /* columns: below, what it means stands under the name */

/* What is named left of what it means, which begins below where the name is too long. */
static void named(const char *left, const char *meaning, size_t width, FILE *to)
{
    es_display_named(left, meaning, 2, width < NARROW ? 6 : COLUMN, width, to);
}

static void one_option(const struct es_option *o, size_t width, FILE *to)
{
    char left[80];
    snprintf(left, sizeof left, "--%s%s%s", o->name, o->value != NULL ? " " : "",
             o->value != NULL ? o->value : "");
    named(left, o->meaning, width, to);
    if (o->required)
        fprintf(to, "%*s(required)\n", width < NARROW ? 6 : COLUMN, "");
}

void es_options_usage(const struct es_command_line *line, FILE *to)
{
    fprintf(to, "Usage: %s", line->program);
    bool optional = false;
    for (size_t i = 0; i < line->option_count; i++) {
        const struct es_option *o = &line->options[i];
        if (o->required)
            fprintf(to, " --%s %s", o->name, o->value);
        else
            optional = true;
    }
    if (optional)
        fputs(" [OPTIONS]", to);
    const struct es_operands *rows = &line->operands;
    if (rows->name != NULL)
        fprintf(to, rows->min > 0 ? " %s%s" : " [%s]%s", rows->name, rows->max > 1 ? " ..." : "");
    fputc('\n', to);
}

void es_options_help(const struct es_command_line *line, size_t width, FILE *to)
{
    fprintf(to, "%s: ", line->program);
    es_display_wrap_after(line->summary, strlen(line->program) + 2, 2, width, to);
    fputc('\n', to);
    es_options_usage(line, to);
    fputc('\n', to);
    if (line->detail != NULL) {
        es_display_wrap(line->detail, 0, width, to);
        fputc('\n', to);
    }
    const struct es_operands *rows = &line->operands;
    if (rows->name != NULL)
        named(rows->name, rows->meaning, width, to);
    for (size_t i = 0; i < line->option_count; i++)
        one_option(&line->options[i], width, to);
    named("--help", "this text", width, to);
    if (line->example != NULL)
        fprintf(to, "\nExample:\n  %s\n", line->example);
}

/* The manual page of a command from the same rows as its --help. */
#include <string.h>

#include "rig/console/options.h"

/* Text as roff reads it (groff man(7)): no escape, no request, and a '-' that is the character of options. */
static void escaped(const char *text, FILE *to)
{
    if (*text == '.' || *text == '\'')
        fputs("\\&", to);
    for (; *text != '\0'; text++) {
        if (*text == '\\')
            fputs("\\e", to);
        else if (*text == '-')
            fputs("\\-", to);
        else
            fputc(*text, to);
    }
}

static void section(const char *title, FILE *to)
{
    fprintf(to, ".SH %s\n", title);
}

/* "endstop run" as the page is called: "endstop-run". */
static void page_name(const char *program, char *out, size_t size)
{
    snprintf(out, size, "%s", program);
    for (char *c = out; *c != '\0'; c++)
        if (*c == ' ')
            *c = '-';
}

static void synopsis(const struct es_command_line *line, FILE *to)
{
    const struct es_operands *operands = &line->operands;
    fputs(".B ", to);
    escaped(line->program, to);
    fputc('\n', to);
    for (size_t i = 0; i < line->option_count; i++) {
        const struct es_option *o = &line->options[i];
        if (!o->required)
            continue;
        fputs("\\fB\\-\\-", to);
        escaped(o->name, to);
        fputs("\\fR \\fI", to);
        escaped(o->value, to);
        fputs("\\fR\n", to);
    }
    fputs("[\\fIOPTIONS\\fR]\n", to);
    if (operands->name != NULL) {
        fputs(operands->min > 0 ? "\\fI" : "[\\fI", to);
        escaped(operands->name, to);
        fprintf(to, "\\fR%s%s\n", operands->min > 0 ? "" : "]", operands->max > 1 ? " ..." : "");
    }
}

static void one_option(const struct es_option *o, FILE *to)
{
    fputs(".TP\n\\fB\\-\\-", to);
    escaped(o->name, to);
    fputs("\\fR", to);
    if (o->value != NULL) {
        fputs(" \\fI", to);
        escaped(o->value, to);
        fputs("\\fR", to);
    }
    fputc('\n', to);
    escaped(o->meaning, to);
    fputs(o->required ? " (required)\n" : "\n", to);
}

void es_options_manual(const struct es_command_line *line, const char *version, FILE *to)
{
    char name[80];
    page_name(line->program, name, sizeof name);
    fprintf(to, ".TH \"%s\" 1 \"\" \"%s\"\n", name, version);
    section("NAME", to);
    escaped(name, to);
    fputs(" \\- ", to);
    escaped(line->summary, to);
    fputc('\n', to);
    section("SYNOPSIS", to);
    synopsis(line, to);
    if (line->detail != NULL) {
        section("DESCRIPTION", to);
        escaped(line->detail, to);
        fputc('\n', to);
    }
    section("OPTIONS", to);
    if (line->operands.name != NULL) {
        fputs(".TP\n\\fI", to);
        escaped(line->operands.name, to);
        fputs("\\fR\n", to);
        escaped(line->operands.meaning, to);
        fputc('\n', to);
    }
    for (size_t i = 0; i < line->option_count; i++)
        one_option(&line->options[i], to);
    fputs(".TP\n\\fB\\-\\-help\\fR\nThe same in short.\n", to);
    if (line->example != NULL) {
        section("EXAMPLES", to);
        fputs(".nf\n", to);
        escaped(line->example, to);
        fputs("\n.fi\n", to);
    }
    section("SEE ALSO", to);
    fputs("\\fBendstop\\fR(1), which tells what all verbs share: exit status, environment, output.\n", to);
}

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/nearest.h"
#include "rig/console/options.h"

#define OPTIONS_MAX 40

struct parse {
    const struct es_command_line *line;
    void *destination;
    bool seen[OPTIONS_MAX];
    struct es_error *err;
};

static void *target(const struct parse *p, size_t offset)
{
    return (char *)p->destination + offset;
}

static enum es_status unknown_option(const struct parse *p, const char *name, size_t length)
{
    char typed[64];
    snprintf(typed, sizeof typed, "%.*s", (int)(length < 60 ? length : 60), name);
    struct es_nearest near = {.word = typed};
    for (size_t i = 0; i < p->line->option_count; i++)
        es_nearest_offer(&near, p->line->options[i].name);
    es_nearest_offer(&near, "help");
    if (near.best != NULL)
        return es_fail(p->err, ES_USAGE, "unknown option --%s; did you mean --%s?", typed, near.best);
    return es_fail(p->err, ES_USAGE, "unknown option --%s; \"%s --help\" lists them", typed,
                   p->line->program);
}

static enum es_status store_integer(const struct parse *p, const struct es_option *o, const char *value)
{
    char *end = NULL;
    errno = 0;
    long number = strtol(value, &end, 10);
    if (end == value || *end != '\0' || errno != 0)
        return es_fail(p->err, ES_USAGE, "--%s needs a whole number, not \"%s\"", o->name, value);
    if ((o->min != 0 || o->max != 0) && ((double)number < o->min || (double)number > o->max))
        return es_fail(p->err, ES_USAGE, "--%s must lie between %.0f and %.0f, not %ld", o->name, o->min,
                       o->max, number);
    *(long *)target(p, o->offset) = number;
    return ES_OK;
}

static enum es_status store_quantity(const struct parse *p, const struct es_option *o, const char *value)
{
    struct es_quantity q;
    enum es_status s = es_quantity_parse_as(value, o->dimension, &q, p->err);
    if (s != ES_OK) {
        es_error_context(p->err, s, "--%s", o->name);
        if (p->err != NULL)
            p->err->status = ES_USAGE;
        return ES_USAGE;
    }
    if ((o->min != 0 || o->max != 0) && (q.value < o->min || q.value > o->max)) {
        char low[48], high[48];
        es_quantity_format(o->min, q.unit, q.decimals, low, sizeof low);
        es_quantity_format(o->max, q.unit, q.decimals, high, sizeof high);
        return es_fail(p->err, ES_USAGE, "--%s must lie between %s and %s, not %s", o->name, low, high,
                       value);
    }
    *(double *)target(p, o->offset) = q.value;
    return ES_OK;
}

static enum es_status store_list(const struct parse *p, const char *name, size_t offset, const char *value)
{
    struct es_option_list *list = target(p, offset);
    if (list->count == ES_OPTION_LIST_MAX)
        return es_fail(p->err, ES_USAGE, "%s can be given at most %d times", name, ES_OPTION_LIST_MAX);
    list->items[list->count++] = value;
    return ES_OK;
}

static enum es_status store(struct parse *p, size_t index, const char *value)
{
    const struct es_option *o = &p->line->options[index];
    if (p->seen[index] && o->kind != ES_OPTION_LIST)
        return es_fail(p->err, ES_USAGE, "--%s is given twice", o->name);
    p->seen[index] = true;
    switch (o->kind) {
    case ES_OPTION_FLAG:
        *(bool *)target(p, o->offset) = true;
        return ES_OK;
    case ES_OPTION_TEXT:
        *(const char **)target(p, o->offset) = value;
        return ES_OK;
    case ES_OPTION_LIST:
        return store_list(p, o->name, o->offset, value);
    case ES_OPTION_INTEGER:
        return store_integer(p, o, value);
    case ES_OPTION_QUANTITY:
        return store_quantity(p, o, value);
    }
    return es_fail(p->err, ES_INTERNAL, "option --%s is of no known kind", o->name);
}

/* One "--name[=value]" at argv[*i]; steps *i over a value that stands apart. */
static enum es_status take_option(struct parse *p, int argc, char *const argv[], int *i)
{
    const char *name = argv[*i] + 2;
    size_t length = strcspn(name, "=");
    for (size_t k = 0; k < p->line->option_count; k++) {
        const struct es_option *o = &p->line->options[k];
        if (strlen(o->name) != length || strncmp(o->name, name, length) != 0)
            continue;
        const char *value = name[length] == '=' ? name + length + 1 : NULL;
        if (o->kind == ES_OPTION_FLAG) {
            if (value != NULL)
                return es_fail(p->err, ES_USAGE, "--%s takes no value", o->name);
        } else if (value == NULL) {
            if (*i + 1 >= argc)
                return es_fail(p->err, ES_USAGE, "--%s needs a value: --%s %s", o->name, o->name, o->value);
            value = argv[++*i];
        }
        return store(p, k, value);
    }
    return unknown_option(p, name, length);
}

static enum es_status take_operand(struct parse *p, const char *word)
{
    const struct es_operands *rows = &p->line->operands;
    if (rows->name == NULL)
        return es_fail(p->err, ES_USAGE, "\"%s\" is not expected here: %s takes options only", word,
                       p->line->program);
    struct es_option_list *list = target(p, rows->offset);
    if (list->count == rows->max)
        return es_fail(p->err, ES_USAGE, "\"%s\" is one too many: %s takes %zu %s", word, p->line->program,
                       rows->max, rows->name);
    return store_list(p, rows->name, rows->offset, word);
}

static enum es_status check_complete(const struct parse *p)
{
    for (size_t i = 0; i < p->line->option_count; i++) {
        const struct es_option *o = &p->line->options[i];
        if (o->required && !p->seen[i])
            return es_fail(p->err, ES_USAGE, "--%s %s is missing (%s)", o->name, o->value, o->meaning);
    }
    const struct es_operands *rows = &p->line->operands;
    if (rows->name != NULL) {
        const struct es_option_list *list = target(p, rows->offset);
        if (list->count < rows->min)
            return es_fail(p->err, ES_USAGE, "%s is missing (%s)", rows->name, rows->meaning);
    }
    return ES_OK;
}

enum es_status es_options_parse(const struct es_command_line *line, int argc, char *const argv[],
                                void *destination, bool *help, struct es_error *err)
{
    struct parse p = {.line = line, .destination = destination, .err = err};
    if (line->option_count > OPTIONS_MAX)
        return es_fail(err, ES_INTERNAL, "%s has too many options", line->program);
    *help = false;
    bool operands_only = false;
    for (int i = 0; i < argc; i++) {
        enum es_status s;
        if (operands_only || argv[i][0] != '-' || argv[i][1] == '\0') {
            s = take_operand(&p, argv[i]);
        } else if (strcmp(argv[i], "--") == 0) {
            operands_only = true;
            continue;
        } else if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0) {
            *help = true;
            return ES_OK;
        } else if (argv[i][1] == '-') {
            s = take_option(&p, argc, argv, &i);
        } else {
            s = es_fail(err, ES_USAGE, "unknown option %s; options are written --name", argv[i]);
        }
        if (s != ES_OK)
            return s;
    }
    return check_complete(&p);
}

/* Command lines, one row an option: parser, --help and error messages come from the same table.
 *
 * "--name VALUE", "--name=VALUE", flags "--name"; "--" ends the options; anything else is an operand.
 * Options are never abbreviated: a script written today must not change its meaning when an option is
 * added. Pure functions; text targets point into argv and live as long as it does. */
#ifndef ES_CONSOLE_OPTIONS_H
#define ES_CONSOLE_OPTIONS_H

#include <stddef.h>
#include <stdio.h>

#include "rig/base/error.h"
#include "rig/base/quantity.h"

enum es_option_kind {
    ES_OPTION_FLAG,    /* bool */
    ES_OPTION_TEXT,    /* const char * */
    ES_OPTION_LIST,    /* struct es_option_list; may be given several times */
    ES_OPTION_INTEGER, /* long; min..max */
    ES_OPTION_QUANTITY /* double, coherent, from text with unit; min..max coherent; dimension */
};

#define ES_OPTION_LIST_MAX 32

struct es_option_list {
    const char *items[ES_OPTION_LIST_MAX];
    size_t count;
};

struct es_option {
    const char *name;  /* without dashes: "plan" */
    const char *value; /* word for the value in the help: "FILE"; NULL for flags */
    enum es_option_kind kind;
    bool required;
    size_t offset; /* of the target in the destination struct */
    double min, max;
    enum es_dimension dimension;
    const char *meaning; /* one or two lines for the help, no full stop needed */
};

/* Rows of the two usual kinds, neither required, into a member of `type`. */
#define ES_TEXT_OPTION(type, n, word, member, text)                                                          \
    {                                                                                                        \
        .name = (n), .value = (word), .kind = ES_OPTION_TEXT, .offset = offsetof(type, member),              \
        .meaning = (text)                                                                                    \
    }
#define ES_FLAG_OPTION(type, n, member, text)                                                                \
    {                                                                                                        \
        .name = (n), .kind = ES_OPTION_FLAG, .offset = offsetof(type, member), .meaning = (text)             \
    }

struct es_operands {
    const char *name; /* in the help: "FILE"; NULL when the command takes none */
    size_t min, max;
    size_t offset; /* of a struct es_option_list */
    const char *meaning;
};

struct es_command_line {
    const char *program; /* "endstop run" */
    const char *summary; /* one line */
    const char *detail;  /* a paragraph, or NULL */
    const char *example; /* one line, or NULL */
    const struct es_option *options;
    size_t option_count;
    struct es_operands operands;
};

/* Parses argv[0..argc-1] (without the program's or verb's name) into `destination`, whose defaults the
 * caller has set. "--help" and "-h" stop the parsing and set *help. ES_USAGE: err says what was wrong and,
 * for a misspelt option, names the nearest one. */
enum es_status es_options_parse(const struct es_command_line *line, int argc, char *const argv[],
                                void *destination, bool *help, struct es_error *err) ES_MUST_CHECK;

/* The whole help text, wrapped to `width` columns. */
void es_options_help(const struct es_command_line *line, size_t width, FILE *to);

/* The same as the source of a manual page (groff man(7)) in section 1; `version` stands in its foot. */
void es_options_manual(const struct es_command_line *line, const char *version, FILE *to);

/* "Usage: endstop run --plan NAME ... [OPTIONS]" in one line. */
void es_options_usage(const struct es_command_line *line, FILE *to);

#endif

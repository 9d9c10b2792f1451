#include <criterion/criterion.h>
#include <string.h>

#include "rig/console/options.h"

struct target {
    const char *plan;
    bool quiet;
    long count;
    double grace;
    struct es_option_list keys, files;
};

static const struct es_option rows[] = {
    {.name = "plan",
     .value = "NAME",
     .kind = ES_OPTION_TEXT,
     .required = true,
     .offset = offsetof(struct target, plan),
     .meaning = "the plan"},
    {.name = "quiet", .kind = ES_OPTION_FLAG, .offset = offsetof(struct target, quiet), .meaning = "less"},
    {.name = "count",
     .value = "N",
     .kind = ES_OPTION_INTEGER,
     .offset = offsetof(struct target, count),
     .min = 1,
     .max = 9,
     .meaning = "how many"},
    {.name = "grace",
     .value = "TIME",
     .kind = ES_OPTION_QUANTITY,
     .dimension = ES_DIM_TIME,
     .offset = offsetof(struct target, grace),
     .min = 1,
     .max = 60,
     .meaning = "how long"},
    {.name = "key",
     .value = "FILE",
     .kind = ES_OPTION_LIST,
     .offset = offsetof(struct target, keys),
     .meaning = "a key"},
};

static const struct es_command_line line = {
    .program = "prog",
    .summary = "does",
    .options = rows,
    .option_count = sizeof rows / sizeof rows[0],
    .operands =
        {.name = "FILE", .min = 0, .max = 2, .offset = offsetof(struct target, files), .meaning = "a file"},
};

static enum es_status parse(struct target *t, bool *help, struct es_error *err, int argc,
                            const char *const *argv)
{
    memset(t, 0, sizeof *t);
    return es_options_parse(&line, argc, (char *const *)argv, t, help, err);
}

#define PARSE(...)                                                                                           \
    const char *const argv[] = {__VA_ARGS__};                                                                \
    struct target t;                                                                                         \
    bool help;                                                                                               \
    struct es_error err = {0};                                                                               \
    enum es_status s = parse(&t, &help, &err, (int)(sizeof argv / sizeof argv[0]), argv)

Test(options, takes_every_kind)
{
    PARSE("--plan", "a", "--quiet", "--count=7", "--grace", "2 s", "--key", "k1", "--key=k2", "f1", "--",
          "--f2");
    cr_assert_eq(s, ES_OK, "%s", err.text);
    cr_assert_str_eq(t.plan, "a");
    cr_assert(t.quiet);
    cr_assert_eq(t.count, 7);
    cr_assert_float_eq(t.grace, 2.0, 1e-12);
    cr_assert_eq(t.keys.count, 2);
    cr_assert_str_eq(t.keys.items[1], "k2");
    cr_assert_eq(t.files.count, 2);
    cr_assert_str_eq(t.files.items[1], "--f2");
}

Test(options, a_dash_alone_is_an_operand)
{
    PARSE("--plan", "a", "-");
    cr_assert_eq(s, ES_OK);
    cr_assert_str_eq(t.files.items[0], "-");
}

Test(options, an_empty_value_is_a_value)
{
    PARSE("--plan=");
    cr_assert_eq(s, ES_OK);
    cr_assert_str_eq(t.plan, "");
}

Test(options, help_stops_the_parsing)
{
    PARSE("--help", "--nonsense");
    cr_assert_eq(s, ES_OK);
    cr_assert(help);
}

static void refuses(const char *part, int argc, const char *const *argv)
{
    struct target t;
    bool help;
    struct es_error err = {0};
    cr_assert_eq(parse(&t, &help, &err, argc, argv), ES_USAGE, "accepted, should say: %s", part);
    cr_assert_not_null(strstr(err.text, part), "\"%s\" does not say \"%s\"", err.text, part);
}

#define REFUSES(part, ...)                                                                                   \
    do {                                                                                                     \
        const char *const argv[] = {__VA_ARGS__};                                                            \
        refuses(part, (int)(sizeof argv / sizeof argv[0]), argv);                                            \
    } while (0)

Test(options, says_what_is_wrong)
{
    REFUSES("--plan NAME is missing", "--quiet");
    REFUSES("did you mean --plan?", "--paln", "a");
    REFUSES("did you mean --quiet?", "--plan", "a", "--queit");
    REFUSES("unknown option --xyzzy", "--plan", "a", "--xyzzy");
    REFUSES("--help\" lists them", "--plan", "a", "--xyzzy");
    REFUSES("unknown option --pla", "--pla", "a"); /* never abbreviated */
    REFUSES("given twice", "--plan", "a", "--plan", "b");
    REFUSES("--plan needs a value", "--plan");
    REFUSES("takes no value", "--plan", "a", "--quiet=yes");
    REFUSES("whole number", "--plan", "a", "--count", "3x");
    REFUSES("whole number", "--plan", "a", "--count", "");
    REFUSES("whole number", "--plan", "a", "--count", "99999999999999999999");
    REFUSES("between 1 and 9, not 10", "--plan", "a", "--count", "10");
    REFUSES("--grace", "--plan", "a", "--grace", "2 bar");
    REFUSES("between 1 s and 60 s", "--plan", "a", "--grace", "90 s");
    REFUSES("one too many", "--plan", "a", "f1", "f2", "f3");
    REFUSES("options are written --name", "--plan", "a", "-x");
}

Test(options, help_names_every_option_within_its_width)
{
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);
    es_options_help(&line, 60, to);
    cr_assert_eq(fclose(to), 0);
    for (size_t i = 0; i < line.option_count; i++)
        cr_assert_not_null(strstr(text, rows[i].name));
    cr_assert_not_null(strstr(text, "Usage: prog --plan NAME [OPTIONS] [FILE] ..."));
    for (char *l = strtok(text, "\n"); l != NULL; l = strtok(NULL, "\n"))
        cr_assert_leq(strlen(l), 60, "%s", l);
    free(text);
}

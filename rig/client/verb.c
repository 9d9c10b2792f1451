#include <errno.h>
#include <pwd.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "rig/base/clock.h"
#include "rig/client/verb.h"
#include "rig/console/choices.h"
#include "rig/console/display.h"

void es_screen_look(bool utf8, struct es_screen *screen)
{
    const char *term = getenv("TERM");
    const char *no_colour = getenv("NO_COLOR");
    const char *columns = getenv("COLUMNS");
    bool dumb = term == NULL || strcmp(term, "dumb") == 0;
    *screen = (struct es_screen){.out_terminal = isatty(STDOUT_FILENO) == 1,
                                 .err_terminal = isatty(STDERR_FILENO) == 1 && !dumb,
                                 .utf8 = utf8,
                                 .width = 100};
    screen->colour = screen->out_terminal && !dumb && (no_colour == NULL || no_colour[0] == '\0');
    struct winsize size;
    if (screen->out_terminal && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        screen->width = size.ws_col, screen->height = size.ws_row;
    long wanted = columns != NULL ? strtol(columns, NULL, 10) : 0;
    if (wanted > 0 && wanted < 1000)
        screen->width = (size_t)wanted;
    if (screen->width < 20)
        screen->width = 20;
}

bool es_verb_begin(const struct es_verb *verb, const struct es_screen *screen, int argc, char **argv,
                   void *destination, int *exit_status)
{
    bool help;
    struct es_error err;
    enum es_status s = es_options_parse(verb->line, argc, argv, destination, &help, &err);
    if (s != ES_OK) {
        fprintf(stderr, "%s: %s\n", verb->line->program, err.text);
        es_options_usage(verb->line, stderr);
        *exit_status = es_exit_status(ES_USAGE);
        return false;
    }
    if (help) {
        es_options_help(verb->line, screen->width < 100 ? screen->width : 100, stdout);
        *exit_status = es_verb_end(verb, 0);
        return false;
    }
    return true;
}

int es_verb_fail(const struct es_verb *verb, const struct es_error *err, const struct es_findings *findings)
{
    if (findings != NULL && findings->count > 0)
        es_findings_print(findings, stderr);
    if (findings == NULL || findings->count <= 1) {
        struct es_text text = {0};
        es_text_visible(&text, err->text, strlen(err->text));
        if (findings == NULL || findings->count == 0)
            fprintf(stderr, "%s: %s\n", verb->line->program, text.bytes != NULL ? text.bytes : err->text);
        es_text_free(&text);
    } else {
        fprintf(stderr, "%s: %zu faults; nothing was done\n", verb->line->program, findings->count);
    }
    return es_exit_status(err->status);
}

void es_verb_say(const struct es_screen *screen, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    es_display_sentence(screen->out_terminal ? screen->width : SIZE_MAX, stdout, format, args);
    va_end(args);
}

void es_verb_user(char out[static 64])
{
    char buffer[2048];
    struct passwd entry;
    struct passwd *found = NULL;
    if (getpwuid_r(getuid(), &entry, buffer, sizeof buffer, &found) == 0 && found != NULL)
        (void)snprintf(out, 64, "%s", entry.pw_name);
    else
        (void)snprintf(out, 64, "user %lu", (unsigned long)getuid());
}

enum es_status es_verb_check_since(const char *since, struct es_error *err)
{
    char day[11];
    int y, m, d;
    if (since == NULL)
        return ES_OK;
    size_t length = strlen(since);
    bool month_only = length == 7;
    (void)snprintf(day, sizeof day, "%.10s%s", since, month_only ? "-01" : "");
    if ((month_only || length == 10 || (length > 10 && since[10] == 'T')) && es_date_parse(day, &y, &m, &d))
        return ES_OK;
    return es_fail(err, ES_USAGE, "--since %s: expected a date such as \"2026-03\" or \"2026-03-01T08:00\"",
                   since);
}

int es_verb_end(const struct es_verb *verb, int exit_status)
{
    bool failed = ferror(stdout) != 0;
    if (fflush(stdout) != 0 || failed) {
        if (errno == EPIPE) /* who reads has seen enough */
            return 3;
        fprintf(stderr, "%s: the output could not be written: %s\n", verb->line->program, strerror(errno));
        return 3;
    }
    return exit_status;
}

/* A name that is a file's, and not one of the library. */
static bool is_file(const char *name)
{
    const size_t length = strlen(name);
    return strcmp(name, "-") == 0 || strchr(name, '/') != NULL || access(name, F_OK) == 0 ||
           (length > 5 && strcmp(name + length - 5, ".json") == 0);
}

/* There is neither a file of that name nor one with any of the endings in the folder. */
static enum es_status not_found(const char *name, const char *folder, const char *const *endings,
                                struct es_error *err)
{
    struct es_text text = {0};
    es_text_printf(&text, "there is no file %s here", name);
    for (size_t i = 0; !is_file(name) && endings[i] != NULL; i++)
        es_text_printf(&text, "%s%s%s", i == 0 ? " and no " : " or ", name, endings[i]);
    if (!is_file(name))
        es_text_printf(&text, " in %s", folder);
    for (size_t i = 0; endings[i] != NULL && (i == 0 || access(folder, F_OK) == 0); i++) {
        es_text_add(&text, "; ");
        es_choices_tell(folder, endings[i], &text);
    }
    const enum es_status s = es_fail(err, ES_NOT_FOUND, "%s", text.bytes != NULL ? text.bytes : name);
    es_text_free(&text);
    return s;
}

static enum es_status find_file(const char *name, const char *folder, const char *const *endings, char **out,
                                struct es_error *err)
{
    enum es_status s = ES_NOT_FOUND;
    if (strcmp(name, "-") == 0 || strchr(name, '/') != NULL || access(name, F_OK) == 0) {
        struct es_text path = {0};
        es_text_add(&path, name);
        s = es_text_take(&path, out, err);
        es_text_free(&path);
        return s;
    }
    for (size_t i = 0; !is_file(name) && endings[i] != NULL && s == ES_NOT_FOUND; i++) {
        struct es_text path = {0};
        es_text_printf(&path, "%s/%s%s", folder, name, endings[i]);
        s = es_text_status(&path, err);
        if (s == ES_OK)
            s = access(path.bytes, F_OK) == 0 ? es_text_take(&path, out, err) : ES_NOT_FOUND;
        es_text_free(&path);
    }
    return s == ES_NOT_FOUND ? not_found(name, folder, endings, err) : s;
}

enum es_status es_find_file(const char *name, const char *folder, const char *ending, char **out,
                            struct es_error *err)
{
    const char *const endings[] = {ending, NULL};
    return find_file(name, folder, endings, out, err);
}

enum es_status es_find_procedure(const char *name, char **out, struct es_error *err)
{
    static const char *const endings[] = {".json", ".plan.json", NULL};
    return find_file(name, ES_DATA_DIR "/library", endings, out, err);
}

/* The verbs of endstop, and what they share: the screen, finding files by name, telling faults. */
#ifndef ES_CLIENT_VERB_H
#define ES_CLIENT_VERB_H

#include <stdio.h>

#include "rig/base/findings.h"
#include "rig/base/text.h"
#include "rig/console/options.h"

/* What is known of the terminal. */
struct es_screen {
    bool out_terminal, err_terminal;
    bool colour;   /* standard output may be coloured */
    bool utf8;     /* the user's locale shows more than ASCII */
    size_t width;  /* columns of standard output */
    size_t height; /* its rows; 0 where it is no terminal */
};

/* Looks at the standard streams, COLUMNS, NO_COLOR and TERM. */
void es_screen_look(bool utf8, struct es_screen *screen);

struct es_verb {
    const struct es_command_line *line; /* program is "endstop NAME" */
    const char *name;
    int (*run)(const struct es_screen *screen, int argc, char **argv); /* gives the exit status */
};

extern const struct es_verb es_verb_check, es_verb_explain, es_verb_run, es_verb_stop, es_verb_reset,
    es_verb_bench, es_verb_certificate, es_verb_verify, es_verb_page, es_verb_measure, es_verb_study,
    es_verb_key, es_verb_job, es_verb_archive, es_verb_audit;

/* Parses; on anything but "go on" (true) *exit_status is what the verb returns: 0 after --help, 2 after a
 * usage error that has been told. */
bool es_verb_begin(const struct es_verb *verb, const struct es_screen *screen, int argc, char **argv,
                   void *destination, int *exit_status);

/* Tells an error on standard error, the findings first when there are any; returns the exit status. */
int es_verb_fail(const struct es_verb *verb, const struct es_error *err, const struct es_findings *findings);

/* A sentence on standard output: wrapped on a terminal, one line for a program. Ends the line; harmless
 * whatever stands in it. */
void es_verb_say(const struct es_screen *screen, const char *format, ...) ES_PRINTF(2, 3);

/* The system user who runs the program, by name, else by number. */
void es_verb_user(char out[static 64]);

/* "2026-03", "2026-03-01" or the beginning of an RFC 3339 time; NULL too. Else ES_USAGE: a word that is no
 * date would compare as text, and find nothing. */
enum es_status es_verb_check_since(const char *since, struct es_error *err) ES_MUST_CHECK;

/* Ends a verb that wrote to standard output: a full disk or a closed pipe must not look like success. */
int es_verb_end(const struct es_verb *verb, int exit_status);

/* "name" -> FOLDER/nameENDING when no such file lies here and it holds no '/'; else a copy of `name`. A name
 * that has the ending of a file already is never looked for in FOLDER. */
enum es_status es_find_file(const char *name, const char *folder, const char *ending, char **out,
                            struct es_error *err) ES_MUST_CHECK;

/* A procedure or plan: a file, else NAME.json or NAME.plan.json in the library. */
enum es_status es_find_procedure(const char *name, char **out, struct es_error *err) ES_MUST_CHECK;

#endif

/* endstop: the command line. Each verb is a file of its own; this one finds it. */
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "rig/base/nearest.h"
#include "rig/client/verb.h"
#include "rig/console/display.h"

static const struct es_verb *const verbs[] = {
    &es_verb_check, &es_verb_explain,     &es_verb_run,    &es_verb_stop,    &es_verb_reset,
    &es_verb_bench, &es_verb_certificate, &es_verb_verify, &es_verb_page,    &es_verb_measure,
    &es_verb_study, &es_verb_key,         &es_verb_job,    &es_verb_archive, &es_verb_audit,
};

#define VERB_COUNT (sizeof verbs / sizeof verbs[0])

static void usage(size_t width, FILE *to)
{
    static const char *const sentences[] = {
        "\"endstop VERB --help\" says more about a verb; \"endstop --version\" prints the version.",
        "run, stop, reset and bench talk to the daemon (endstopd); the others work without one.",
        "Exit status: 0 done, and passed or valid; 1 done, but not passed or not valid; 2 wrong use, or a "
        "file that "
        "cannot be accepted; 3 not completed.",
        "This program is no safety device: a bench needs its own emergency stop, relief valve and guard."};
    es_display_wrap(
        "endstop: tests repaired electro-pneumatic valve positioners on a bench, and checks certificates\n\n"
        "Usage: endstop VERB [OPTIONS] ...\n",
        0, width, to);
    fputc('\n', to);
    for (size_t i = 0; i < VERB_COUNT; i++) {
        fprintf(to, "  %-13s", verbs[i]->name);
        es_display_wrap(verbs[i]->line->summary, 15, width, to);
    }
    fputc('\n', to);
    for (size_t i = 0; i < sizeof sentences / sizeof sentences[0]; i++)
        es_display_wrap(sentences[i], 0, width, to);
}

static int unknown_verb(const char *word)
{
    struct es_nearest near = {.word = word};
    for (size_t i = 0; i < VERB_COUNT; i++)
        es_nearest_offer(&near, verbs[i]->name);
    if (near.best != NULL)
        fprintf(stderr, "endstop: unknown verb \"%s\"; did you mean \"%s\"?\n", word, near.best);
    else
        fprintf(stderr, "endstop: unknown verb \"%s\"; \"endstop --help\" lists them\n", word);
    return 2;
}

/* "endstop manual VERB": the source of endstop-VERB(1), for the build. */
static int manual(const char *name)
{
    for (size_t i = 0; i < VERB_COUNT; i++) {
        if (strcmp(name, verbs[i]->name) == 0) {
            es_options_manual(verbs[i]->line, "endstop " ES_VERSION, stdout);
            return fflush(stdout) == 0 ? 0 : 3;
        }
    }
    return unknown_verb(name);
}

int main(int argc, char **argv)
{
    struct es_screen screen;
    es_screen_look(es_display_start(), &screen);
    struct sigaction ignore = {.sa_handler = SIG_IGN};
    (void)sigaction(SIGPIPE, &ignore, NULL); /* a closed pipe shows as a failed write */
    if (sodium_init() < 0) {
        fputs("endstop: the cryptographic library could not be started\n", stderr);
        return 3;
    }
    if (argc < 2) {
        usage(screen.width, stderr);
        return 2;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 || strcmp(argv[1], "help") == 0) {
        usage(screen.width, stdout);
        return fflush(stdout) == 0 ? 0 : 3;
    }
    if (strcmp(argv[1], "--version") == 0) {
        printf("endstop %s\n", ES_VERSION);
        return fflush(stdout) == 0 ? 0 : 3;
    }
    for (size_t i = 0; i < VERB_COUNT; i++)
        if (strcmp(argv[1], verbs[i]->name) == 0)
            return verbs[i]->run(&screen, argc - 2, argv + 2);
    if (strcmp(argv[1], "manual") == 0 && argc == 3)
        return manual(argv[2]);
    return unknown_verb(argv[1]);
}

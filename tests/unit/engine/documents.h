/* Small procedures made from parts, for tests that need just one thing in them. */
#ifndef TESTS_ENGINE_DOCUMENTS_H
#define TESTS_ENGINE_DOCUMENTS_H

#include "procedures/engine/plan.h"

/* A procedure around `steps` (elements of the array) and `measurands`; caller frees the text. */
char *make_procedure(const char *steps, const char *measurands);

/* Reads it; ends the test when it is refused. */
struct es_procedure *must_read(const char *steps, const char *measurands);
struct es_plan *must_plan(const char *steps, const char *measurands);

/* Reads a whole document; faults go to `f`. NULL when refused. */
struct es_procedure *try_read(const char *text, struct es_findings *f);

/* A finding whose "found" or "expected" holds `words`. */
bool told(const struct es_findings *f, const char *words);

#define NEEDS_ALL                                                                                            \
    "{\"always\": [\"loop demand\", \"loop current\", \"supply demand\", \"supply valve\", \"supply "        \
    "pressure\","                                                                                            \
    " \"travel\", \"shaft angle\", \"sensor ratio\", \"output 1 pressure\", \"output 1 flow\","              \
    " \"output 1 isolating valve\", \"output 1 vent valve\", \"guard\"],"                                    \
    " \"double-acting\": [\"output 2 pressure\", \"output 2 flow\", \"output 2 isolating valve\","           \
    " \"output 2 vent valve\"],"                                                                             \
    " \"where fitted\": [\"shaft drive\", \"shaft coupling\", \"auxiliary supply\", \"feedback current\"]}"

#endif

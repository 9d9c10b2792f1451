/* A plan that was run on the fake bench, for tests of what happens on the way and of what comes out. */
#ifndef TESTS_ENGINE_RAN_H
#define TESTS_ENGINE_RAN_H

#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

#define LEVEL(channel, recording, name, limit)                                                               \
    "{\"measure\": \"level\", \"recordings\": {\"recording\": \"" recording "\"},"                           \
    " \"with\": {\"channel\": \"" channel "\"},"                                                             \
    " \"results\": [{\"name\": \"" name "\", \"output\": \"value\", \"limit\": \"" limit "\"}]}"

#define LINEAR "linear-single-acting"
#define TURN   "part-turn-double-acting"

struct ran {
    struct fake_bench *b;
    struct es_type *type;
    struct es_plan *plan;
    struct es_outcome o;
    struct es_error err;
    enum es_status status;
};

/* All but run; ran_done in every case. */
struct ran ran_prepared(const char *type, const char *steps, const char *measurands);
void ran_go(struct ran *r);
/* Both; ends the test when the run did not. */
struct ran ran_run(const char *type, const char *steps, const char *measurands);
void ran_done(struct ran *r);

#endif

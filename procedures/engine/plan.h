/* A test plan (format "plan/1"): an ordered list of procedures and what gates what. Its procedures are read
 * from the plan's own folder. Immutable after loading, may be shared by threads. */
#ifndef ES_ENGINE_PLAN_H
#define ES_ENGINE_PLAN_H

#include "procedures/engine/procedure.h"

/* What an earlier procedure must have come to for a later one to run. */
enum es_gate_kind {
    ES_GATE_COMPLETED,    /* ran to its end */
    ES_GATE_NOT_FAILED,   /* no required line failed, and no gate held it back */
    ES_GATE_PASSED,       /* every required line passed */
    ES_GATE_UNLESS_FAILED /* no required line failed; held back will do */
};

struct es_gate {
    size_t earlier; /* index of the earlier entry */
    enum es_gate_kind must;
    struct es_place place;
};

struct es_plan_entry {
    struct es_procedure *procedure; /* owned */
    char *label; /* what events, lines and records call it: the procedure's name, or the plan's "as" */
    struct es_gate *gates;
    size_t gate_count;
    struct es_place place;
};

struct es_plan {
    char *file;
    char digest[65]; /* of the plan document alone; each procedure has its own */
    char *name, *version, *title, *purpose;
    struct es_plan_entry *entries;
    size_t entry_count;
};

/* Reads the plan and its procedures; faults of all of them in `findings`. */
enum es_status es_plan_load(const char *path, struct es_findings *findings, struct es_plan **out,
                            struct es_error *err) ES_MUST_CHECK;

/* A plan of one procedure without gates, named as the procedure. Takes the procedure over, also on error. */
enum es_status es_plan_of_procedure(struct es_procedure *procedure, struct es_plan **out,
                                    struct es_error *err) ES_MUST_CHECK;

/* Reads whichever of the two the file is. A lone procedure becomes a plan of one. */
enum es_status es_plan_load_any(const char *path, struct es_findings *findings, struct es_plan **out,
                                struct es_error *err) ES_MUST_CHECK;

void es_plan_free(struct es_plan *plan); /* NULL allowed */

/* False when an earlier caution of the plan says the same: people confirm a sentence once. */
bool es_plan_caution_is_new(const struct es_plan *plan, size_t entry, size_t caution);

const char *es_gate_word(enum es_gate_kind kind); /* as the plan writes it */

#endif

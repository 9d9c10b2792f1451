/* One run of a shipped document on the virtual bench, in virtual time, through the real engine, measures,
 * judgement and interlock. Every failure of the arrangement itself ends the test. */
#ifndef TESTS_LIBRARY_VIRTUAL_RUN_H
#define TESTS_LIBRARY_VIRTUAL_RUN_H

#include "drivers/virtual/virtual_bench.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

#define LIBRARY ES_SOURCE_DIR "/procedures/library/"
#define TYPES   ES_SOURCE_DIR "/procedures/types/"
#define BENCHES ES_SOURCE_DIR "/rig/bench/examples/"

struct virtual_case {
    const char *type;  /* shipped type sheet, without folder and ".json" */
    const char *plan;  /* path of a plan or procedure */
    const char *bench; /* path; NULL: the shipped bench that fits the type */
    uint64_t seed;
    const char *fault; /* NULL: a good unit on a good bench */
    double severity, per_stroke;
    bool attended; /* somebody answers every question with yes, or done */
    bool watched;  /* outputs that somebody else sets end the run */
};

struct virtual_run {
    struct es_bench *bench;
    struct es_type *type;
    struct es_virtual *v;
    struct es_virtual_station *station;
    char type_path[512];
    struct es_run_order order;
    struct es_findings findings;
    struct es_outcome outcome;
    struct es_safe_report report;
    struct es_error err;
};

/* The virtual unit that is built as the sheet says. */
enum es_virtual_type virtual_kind(const struct es_type *sheet);
/* The shipped example bench on which such units are tested. */
const char *virtual_bench_for(const struct es_type *sheet);

void virtual_run_make(struct virtual_run *x, const struct virtual_case *c);
/* Runs it; a run that is refused or not completed ends the test. `watch` may be NULL. */
void virtual_run(struct virtual_run *x, const struct es_run_watch *watch);
/* The same, however it ends. */
void virtual_run_to_any_end(struct virtual_run *x, const struct es_run_watch *watch);
/* Longest bench time that the proof gives, with the safe state after the run, s. */
double virtual_longest(struct virtual_run *x);
void virtual_run_free(struct virtual_run *x);

/* NULL when there is none. */
const struct es_line *virtual_line(const struct virtual_run *x, const char *measurand);
/* The lines that are not passed, on standard error. */
void virtual_show(const struct virtual_run *x, bool all);

#endif

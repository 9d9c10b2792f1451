/* The walk along every path of a procedure: the heart of the proof, also used by the engine for the time
 * that each step may take. Internal to the engine. */
#ifndef ES_ENGINE_WALK_H
#define ES_ENGINE_WALK_H

#include "procedures/engine/check.h"

/* Where an output may stand at some point of the procedure. */
struct es_range {
    bool known;
    double low, high;
};

/* The longest time of one step by itself (a block: its own overhead, without the steps in it). */
struct es_step_bound {
    const struct es_step *step;
    double bench, people; /* s */
};

struct es_walk_recording {
    const struct es_step *step;
    unsigned context; /* bits 1 << enum es_when: what must hold for it to be made */
};

struct es_walk {
    const struct es_procedure *procedure;
    const struct es_station_view *view; /* may be NULL */
    const struct es_type *type;         /* may be NULL */
    struct es_findings *findings;       /* may be NULL: only times are wanted */
    struct es_check_report *report;     /* may be NULL; takes the sentences */

    struct es_step_bound *bounds;
    size_t bound_count, bound_capacity;
    struct es_walk_recording *recordings;
    size_t recording_count;
    double bench_time, people_time; /* s, whole procedure */

    struct es_range ranges[ES_ROLE_COUNT];
    unsigned context;
    unsigned repeats; /* how deep inside repeat */
    bool silent;      /* first pass of a repeat */
    bool unattended;  /* nobody is there to be asked: such steps are faults */
    bool shaft_named; /* the shaft stands where `shaft_text` says */
    const char *shaft_text;
    bool no_memory;
};

enum es_status es_walk_procedure(struct es_walk *walk, const struct es_procedure *procedure,
                                 const struct es_station_view *view, const struct es_type *type,
                                 bool unattended, struct es_findings *findings,
                                 struct es_check_report *report, struct es_error *err) ES_MUST_CHECK;
void es_walk_free(struct es_walk *walk);

/* check.c: an unattended run of a procedure that this bench runs at all. */
bool es_must_not_ask(const struct es_procedure *p, const struct es_station_view *view,
                     const struct es_type *type, bool unattended);

/* NULL when the step is never reached for this type. */
const struct es_step_bound *es_walk_bound(const struct es_walk *walk, const struct es_step *step);

/* ---- What the parts of the walk share (walk.c, walk_value.c, walk_block.c). ---- */

void es_walk_fault(struct es_walk *w, struct es_place place, const char *found, const char *format, ...)
    ES_PRINTF(4, 5);
void es_walk_note(struct es_walk *w, const char *format, ...) ES_PRINTF(2, 3);

/* The amount as a number; false when it cannot be known (told as fault or note). */
bool es_walk_resolve(struct es_walk *w, const struct es_amount *amount, enum es_role role, double *out);
/* A time; 0 when it cannot be known. */
double es_walk_time(struct es_walk *w, const struct es_amount *amount);

enum es_walk_use { ES_WALK_READ, ES_WALK_WRITE, ES_WALK_RECORD, ES_WALK_HELD /* either direction */ };
/* The role must be among the needs, under the conditions of this step, and have the right direction. */
void es_walk_need(struct es_walk *w, enum es_role role, struct es_place place, enum es_walk_use use,
                  bool where_fitted);
const struct es_need *es_find_need(const struct es_procedure *p, enum es_role role,
                                   const struct es_type *type);
/* Not known without a view: true. */
bool es_view_has(const struct es_station_view *view, enum es_role role);

/* A value commanded at once (jump) or reached by a ramp; checks every ceiling, keeps the range. */
void es_walk_command(struct es_walk *w, enum es_role role, const struct es_amount *amount, bool jump);
/* Longest time of a ramp to the amount, s. Checks the slew. Call before es_walk_command. */
double es_walk_ramp(struct es_walk *w, enum es_role role, const struct es_amount *to,
                    const struct es_amount *at);

/* Everything that a condition compares with must have a number, and a band must be open. *low, *high: its
 * ends, -INFINITY and INFINITY where open or not known. */
void es_walk_band(struct es_walk *w, const struct es_condition *c, double *low, double *high);

void es_walk_steps(struct es_walk *w, const struct es_step *steps, size_t count);
/* Record, shaft and repeat steps: walk_block.c. */
void es_walk_record(struct es_walk *w, const struct es_step *s);
void es_walk_turn(struct es_walk *w, const struct es_step *s);
void es_walk_sweep(struct es_walk *w, const struct es_step *s);
void es_walk_repeat(struct es_walk *w, const struct es_step *s);
void es_walk_spend(struct es_walk *w, const struct es_step *s, double bench, double people);

/* Adds a sentence to the report, once; remark or not-checked. */
void es_report_sentence(struct es_check_report *report, bool remark, bool *no_memory, const char *sentence);

#endif

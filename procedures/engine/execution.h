/* One execution of a plan: what its parts share. Internal to the engine.
 *
 *   es_plan_execute (execute.c)      cautions, procedures in order, gates, the end
 *     -> es_execute_steps (execute_step.c, execute_record.c, execute_shaft.c, execute_ask.c)   the port
 *     -> es_execute_measure (execute_measure.c)                                     measures and judgement
 *     -> es_keep_... (execute_keep.c, curve.c)                                      the outcome
 *
 * A step ends in one of three ways: ES_OK; ES_OK with `skipping` set (the rest of the procedure is left out,
 * the plan goes on); or another status: the run ends, nothing more is written. */
#ifndef ES_ENGINE_EXECUTION_H
#define ES_ENGINE_EXECUTION_H

#include "procedures/engine/execute.h"
#include "procedures/engine/walk.h"

#define ES_MOST_RUNNING 8 /* recordings at once */
#define ES_POLL_PERIOD  0.05
#define ES_COUPLE_TIME  0.5
#define ES_MOST_HELD    8 /* conditions of one recording */

struct es_running {
    int handle;
    const struct es_step *step;
    struct es_reading stood[ES_MOST_HELD]; /* outputs of its conditions, when it began */
};

struct es_kept {
    const struct es_step *step;
    struct es_trace *trace;
};

struct es_execution {
    const struct es_plan *plan;
    const struct es_type *type;
    const struct es_port *port;
    const struct es_execute_options *options;
    const struct es_execute_keep *keep; /* never NULL */
    struct es_outcome *outcome;

    struct es_walk *walks; /* one an entry */
    es_time began;
    double longest; /* s, the whole plan with its cautions */
    double ahead;   /* s, of that, what may still come */

    const struct es_plan_entry *entry; /* the one being run */
    const struct es_walk *walk;
    struct {
        bool known;
        double value;
    } written[ES_ROLE_COUNT];
    struct es_running running[ES_MOST_RUNNING];
    size_t running_count;
    struct es_kept *kept; /* of the current procedure */
    size_t kept_count;
    bool skipping;
    char reason[320];

    enum es_verdict *verdicts; /* one an entry: over its required lines */
    bool *ran_to_end, *held_back;
    struct es_fact *measured; /* what earlier procedures measured */
    size_t measured_count;
    size_t curve_points; /* each */
};

/* execute_step.c */
enum es_status es_execute_steps(struct es_execution *x, const struct es_step *steps, size_t count,
                                struct es_error *err) ES_MUST_CHECK;
double es_elapsed(const struct es_execution *x);
bool es_fitted(const void *execution, enum es_role role);
enum es_status es_write(struct es_execution *x, enum es_role role, double value,
                        struct es_error *err) ES_MUST_CHECK;
/* Not beyond the longest duration that was proved: then ES_TIMEOUT at its end. */
enum es_status es_sleep_until(struct es_execution *x, es_time until, struct es_error *err) ES_MUST_CHECK;
enum es_status es_sleep(struct es_execution *x, double seconds, struct es_error *err) ES_MUST_CHECK;
/* Takes an output from where it stands to `to`; the last write is `to` itself. */
enum es_status es_ramp(struct es_execution *x, enum es_role role, double to, double speed,
                       struct es_error *err) ES_MUST_CHECK;
void es_announce(struct es_execution *x, enum es_event_kind kind, const char *name, const char *text);
/* As above, with the roles whose values matter now. */
void es_announce_roles(struct es_execution *x, enum es_event_kind kind, const char *name, const char *text,
                       const enum es_role *roles, size_t role_count);
/* The rest of the procedure is left out for this reason. */
void es_skip_rest(struct es_execution *x, const char *format, ...) ES_PRINTF(2, 3);
/* What a step's "otherwise" says is done. */
enum es_status es_otherwise(struct es_execution *x, const struct es_step *s, const char *reason,
                            struct es_error *err) ES_MUST_CHECK;

/* execute_wait.c */
/* A condition's ends as numbers; -INFINITY and INFINITY where open. */
struct es_band {
    double near, within, low, high;
};
enum es_status es_band_resolve(const struct es_execution *x, const struct es_condition *c,
                               struct es_band *out, struct es_error *err) ES_MUST_CHECK;
enum es_status es_execute_wait(struct es_execution *x, const struct es_step *s,
                               struct es_error *err) ES_MUST_CHECK;
enum es_status es_execute_vent(struct es_execution *x, const struct es_step *s,
                               struct es_error *err) ES_MUST_CHECK;
enum es_status es_execute_skip_unless(struct es_execution *x, const struct es_step *s,
                                      struct es_error *err) ES_MUST_CHECK;

/* execute_record.c */
enum es_status es_execute_record(struct es_execution *x, const struct es_step *s,
                                 struct es_error *err) ES_MUST_CHECK;
/* After an error: ends what is still running and keeps it as far as it goes. */
void es_abandon_recordings(struct es_execution *x);
void es_forget_recordings(struct es_execution *x);

/* execute_held.c */
/* Is the role among the needs for this unit, and does the bench have it? */
bool es_recorded(const struct es_execution *x, enum es_role role);
/* Just before a recording begins: looks at the outputs that its conditions name. */
enum es_status es_held_begin(struct es_execution *x, struct es_running *r,
                             struct es_error *err) ES_MUST_CHECK;
/* After it: marks the trace as unfit when a condition did not hold, and says so. */
enum es_status es_held_end(struct es_execution *x, const struct es_running *r, struct es_trace *trace,
                           struct es_error *err) ES_MUST_CHECK;

/* execute_shaft.c */
enum es_status es_execute_turn(struct es_execution *x, const struct es_step *s,
                               struct es_error *err) ES_MUST_CHECK;
enum es_status es_execute_sweep(struct es_execution *x, const struct es_step *s,
                                struct es_error *err) ES_MUST_CHECK;

/* execute_ask.c */
enum es_status es_execute_ask(struct es_execution *x, const struct es_step *s,
                              struct es_error *err) ES_MUST_CHECK;
enum es_status es_execute_confirm(struct es_execution *x, const struct es_step *s,
                                  struct es_error *err) ES_MUST_CHECK;
enum es_status es_ask_done(struct es_execution *x, const struct es_step *s,
                           struct es_error *err) ES_MUST_CHECK;
enum es_status es_confirm_cautions(struct es_execution *x, struct es_error *err) ES_MUST_CHECK;

/* execute_measure.c */
enum es_status es_execute_measure(struct es_execution *x, struct es_error *err) ES_MUST_CHECK;
/* Every line of an entry as not tested. */
enum es_status es_not_tested_lines(struct es_execution *x, const struct es_plan_entry *entry,
                                   const char *reason, struct es_error *err) ES_MUST_CHECK;

/* execute_keep.c: each takes its argument's strings over only on ES_OK. */
enum es_status es_keep_line(struct es_execution *x, struct es_line *line, struct es_error *err) ES_MUST_CHECK;
enum es_status es_keep_confirmation(struct es_execution *x, const char *text, const char *answer,
                                    const char *person, struct es_error *err) ES_MUST_CHECK;
enum es_status es_keep_procedure(struct es_execution *x, const struct es_plan_entry *entry,
                                 struct es_procedure_record **out, struct es_error *err) ES_MUST_CHECK;
enum es_status es_keep_curve(struct es_execution *x, const struct es_trace *trace, enum es_role role,
                             struct es_error *err) ES_MUST_CHECK;
/* Replaces the text by a copy of `with`. */
enum es_status es_replace(char **text, const char *with, struct es_error *err) ES_MUST_CHECK;
/* Time of day, or "" when the caller does not tell it. */
void es_time_of_day(const struct es_execution *x, char out[static 32]);

/* curve.c: at most `most` (>= 4) points of a series' good samples, with the least and greatest of each
 * stretch kept, so that no peak is lost. Allocates *t and *y (both of *count). */
enum es_status es_curve_reduce(const struct es_series *series, size_t most, double **t, double **y,
                               size_t *count, struct es_error *err) ES_MUST_CHECK;

#endif

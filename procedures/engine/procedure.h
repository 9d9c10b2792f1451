/* A procedure document (format "procedure/1") in memory: what a person in the workshop wrote, read by rows,
 * not yet proved. Reference of the format: docs/procedure-file.md; JSON Schema:
 * docs/schema/procedure-1.schema.json. A procedure is immutable after loading and may be shared by threads.
 * All strings are owned by it. */
#ifndef ES_ENGINE_PROCEDURE_H
#define ES_ENGINE_PROCEDURE_H

#include "procedures/measures/measure.h"
#include "rig/base/document.h"
#include "rig/base/error.h"
#include "rig/base/findings.h"
#include "rig/base/role.h"

struct es_type; /* procedures/judgement/type_sheet.h */

/* Where something stands in its document; for messages. */
struct es_place {
    unsigned line, column;
};

/* What kinds of unit a step, role or measurand is for. */
enum es_when {
    ES_WHEN_ALWAYS,
    ES_WHEN_SINGLE,
    ES_WHEN_DOUBLE,
    ES_WHEN_LINEAR,
    ES_WHEN_PART_TURN,
    ES_WHEN_COMPLETE, /* complete unit, not a spare relay module */
    ES_WHEN_MODULE,
    ES_WHEN_BLOCK,    /* self-proof block in the unit's place */
    ES_WHEN_FEEDBACK, /* with position feedback */
    ES_WHEN_SHUTDOWN, /* with a shutdown module */
    ES_WHEN_COUNT
};

/* A quantity as the document gives it. */
enum es_amount_kind {
    ES_AMOUNT_NONE,     /* not given */
    ES_AMOUNT_QUANTITY, /* "4.0 bar"; for states "open", "shut", "on", "off", ... */
    ES_AMOUNT_NAMED,    /* "nominal supply": from the type sheet */
    ES_AMOUNT_SHARE     /* "50 %" of a span: loop demand: "loop low" to "loop high"; travel: "full travel" */
};

/* What the amount is: a value, a difference of values, or a rate of change. */
enum es_amount_use { ES_AMOUNT_VALUE, ES_AMOUNT_DIFFERENCE, ES_AMOUNT_RATE };

struct es_amount {
    enum es_amount_kind kind;
    enum es_amount_use use;
    double value;               /* coherent; SHARE: 0.5 for 50 % */
    const struct es_unit *unit; /* as written; NULL for states and names */
    int decimals;
    char *text; /* as written */
    struct es_place place;
};

enum es_step_kind {
    ES_STEP_SET,          /* role, to */
    ES_STEP_RAMP,         /* role, to, at */
    ES_STEP_WAIT,         /* role; near + within | above and/or below | within alone (steady); duration,
                             at_most, otherwise */
    ES_STEP_HOLD,         /* duration */
    ES_STEP_RECORD,       /* recording, roles, rate; steps | duration | settled */
    ES_STEP_TURN_SHAFT,   /* to, at; or asks `text` on a bench without drive; at_most bounds the asking */
    ES_STEP_SWEEP_SHAFT,  /* from, to, at, times (round trips); or asks `text`, bound by at_most */
    ES_STEP_STEPS,        /* role, list, hold: writes each value in turn */
    ES_STEP_STAIRCASE,    /* role, from, to, stairs, and_back, times, hold */
    ES_STEP_ISOLATE_VENT, /* outputs: shuts the isolating valve, opens the vent, waits until `below` */
    ES_STEP_ASK,          /* text, options or unit; at_most; the answer is kept as a confirmation */
    ES_STEP_CONFIRM,      /* text, at_most, otherwise */
    ES_STEP_REPEAT,       /* times, steps, at_most (NONE: no other bound), otherwise */
    ES_STEP_SKIP_UNLESS,  /* role, above and/or below; reason */
    ES_STEP_KIND_COUNT
};

enum es_otherwise { ES_ELSE_SKIP_REST, ES_ELSE_GO_ON, ES_ELSE_STOP_RUN };

/* What a recording counts on from its first sample to its last. `near` with `within`, or `above` and/or
 * `below`; states `near` alone. */
struct es_condition {
    struct es_place place;
    enum es_role role;
    struct es_amount near, within, above, below;
};

struct es_step {
    enum es_step_kind kind;
    struct es_place place;
    enum es_when when;
    bool where_fitted;             /* left out on a bench that lacks the role */
    enum es_role where_not_fitted; /* left out on a bench that has this one; ES_ROLE_NONE: does not matter */
    char *why;                     /* for explain; may be NULL */
    enum es_role role;
    struct es_amount to, from, at, near, within, above, below;
    struct es_amount duration, at_most, hold, rate, rate_least;
    enum es_otherwise otherwise;
    long times, stairs;
    bool and_back;
    struct es_amount *list;
    size_t list_count;
    char *recording;
    enum es_role *roles;
    size_t role_count;
    enum es_role *draw; /* ES_STEP_RECORD: series that the certificate shows as curves */
    size_t draw_count;
    /* ES_STEP_RECORD: recorded along, each as fast as the bench reads it; what does not hold throughout makes
     * the recording unfit to be measured. Both only where fitted. */
    struct es_condition *throughout;
    size_t throughout_count;
    enum es_role *along;
    size_t along_count;
    bool outputs[2]; /* ES_STEP_ISOLATE_VENT */
    /* ES_STEP_RECORD "until settled": within `within` over `duration`, at most `at_most`, in `role`. */
    bool until_settled;
    char *text, *caution, *picture, *reason;
    char **options; /* NULL-terminated, or NULL */
    const struct es_unit *unit;
    struct es_step *steps;
    size_t step_count;
};

/* The condition of a wait or a "skip the rest unless". A view: nothing owned. */
static inline struct es_condition es_step_condition(const struct es_step *s)
{
    return (struct es_condition){s->place, s->role, s->near, s->within, s->above, s->below};
}

struct es_slot {
    size_t index; /* into measure->trace_names */
    char *recording;
    struct es_place place;
};

/* One line of the certificate: an output of a measure against a limit of the type sheet. */
struct es_result {
    char *name;    /* "leak of output 1 at minimum supply" */
    size_t output; /* into measure->outputs */
    char *limit;   /* in the type sheet */
    bool required; /* false: shown and judged, but does not fail the unit */
    struct es_place place;
};

/* One evaluation of a measure on recordings, and the results taken from it. */
struct es_measurand {
    const struct es_measure *measure;
    void *settings; /* measure->setting_size bytes, read by measure->settings */
    enum es_when when;
    struct es_slot *slots;
    size_t slot_count;
    struct es_result *results;
    size_t result_count;
    struct es_place place;
};

struct es_need {
    enum es_role role;
    enum es_when when;
    bool where_fitted; /* goes without, on a bench that lacks it */
    struct es_place place;
};

struct es_procedure {
    char *file; /* as given by the user, for messages */
    char digest[65];
    char *name, *version, *title, *purpose;
    char **cautions;
    size_t caution_count;
    struct es_need *needs;
    size_t need_count;
    struct es_step *steps;
    size_t step_count;
    struct es_measurand *measurands;
    size_t measurand_count;
};

/* Reads a procedure; every fault of the file in one go in `findings`. "-" is standard input. */
enum es_status es_procedure_load(const char *path, struct es_findings *findings, struct es_procedure **out,
                                 struct es_error *err) ES_MUST_CHECK;
enum es_status es_procedure_from_document(const struct es_document *doc, struct es_findings *findings,
                                          struct es_procedure **out, struct es_error *err) ES_MUST_CHECK;
void es_procedure_free(struct es_procedure *procedure); /* NULL allowed */

/* Is something marked `when` meant for this type? A NULL type: true. */
bool es_when_applies(enum es_when when, const struct es_type *type);
const char *es_when_word(enum es_when when); /* "double-acting"; "" for always */
/* For sentences after "for units": "that are double-acting", "with position feedback"; "" for always. */
const char *es_when_phrase(enum es_when when);

/* The amount as a coherent number for a role (ES_ROLE_NONE when it is no role's value). Fails with
 * ES_NOT_FOUND when it needs a quantity that the type sheet has not, or when `type` is NULL. */
enum es_status es_amount_resolve(const struct es_amount *amount, enum es_role role,
                                 const struct es_type *type, double *out, struct es_error *err) ES_MUST_CHECK;

struct es_station_view; /* check.h */

/* Roles that are recorded along ("throughout", "along") are read at least so often, Hz, or not at all. */
#define ES_LEAST_ALONG 4.0
/* Longest time without a sample of a role that must hold throughout, s: a supply that is shut and opened
 * again shows in less (it has to fill its volume). */
#define ES_LONGEST_UNWATCHED 1.0

/* The series of a recording, each once: its roles, then those of its conditions that are measured, then what
 * is recorded along. Returns their number. */
size_t es_recording_roles(const struct es_step *record, enum es_role out[static ES_ROLE_COUNT]);

/* The rate at which a recording is made on this bench: what it asks for, or what the slowest of its channels
 * reaches, when that is no less than its "at least". `view` NULL: what it asks for. Fails with ES_RANGE, the
 * slowest role in *slowest (NULL allowed). */
enum es_status es_recording_rate(const struct es_step *record, const struct es_station_view *view,
                                 const struct es_type *type, double *out, enum es_role *slowest,
                                 struct es_error *err) ES_MUST_CHECK;

const char *es_step_kind_word(enum es_step_kind kind); /* "do" word in the file: "sweep shaft" */

#endif

/* The port: the only way by which a procedure reaches the world. rig/bench implements it over real
 * instruments (real time) and over the virtual bench (virtual time). One thread uses a port at a time.
 * Every function returns ES_OK or the reason why the run must end (ES_INTERLOCK, ES_CANCELLED, ES_HANGUP,
 * ...); after anything but ES_OK the engine unwinds and the runtime makes the bench safe. */
#ifndef ES_ENGINE_PORT_H
#define ES_ENGINE_PORT_H

#include "procedures/measures/trace.h"
#include "rig/base/clock.h"
#include "rig/base/error.h"
#include "rig/base/role.h"

struct es_reading {
    double value; /* coherent; meaningful only when quality is ES_GOOD */
    enum es_quality quality;
    es_time taken; /* when the instrument took it */
    double u_time; /* s, standard */
};

enum es_question_kind {
    ES_ASK_CONFIRM, /* yes, or the step fails */
    ES_ASK_CHOICE,  /* one of the options */
    ES_ASK_NUMBER,  /* a quantity read by a person, in `unit` */
    ES_ASK_DONE     /* "do this, then say so" */
};

struct es_question {
    enum es_question_kind kind;
    const char *text;           /* what is asked, whole sentence */
    const char *caution;        /* NULL, or shown with it */
    const char *picture;        /* NULL, or a file beside the procedure */
    const char *const *options; /* ES_ASK_CHOICE; NULL-terminated */
    const struct es_unit *unit; /* ES_ASK_NUMBER */
    double timeout;             /* s; no answer by then: ES_TIMEOUT */
    unsigned number, of;        /* its place among questions asked one after the other; 0: it stands alone */
    const char *if_no;          /* NULL, or what an answer of no does, whole sentence */
};

struct es_answer {
    bool yes;
    int choice;
    double number;   /* coherent */
    char person[96]; /* who answered, as the session knows */
};

enum es_event_kind {
    ES_EVENT_PROCEDURE_BEGIN, /* name */
    ES_EVENT_PROCEDURE_END,   /* name, text = outcome in words */
    ES_EVENT_STEP,            /* text = what the step does, in words; remaining filled */
    ES_EVENT_RECORDING_BEGIN, /* name */
    ES_EVENT_RECORDING_END,   /* name */
    ES_EVENT_NOTE             /* text */
};

struct es_event {
    enum es_event_kind kind;
    const char *name;
    const char *text;
    double elapsed;   /* s since the plan began */
    double remaining; /* s, the longest it can still take */
    /* The values that matter now, most important first; for the length of the call. STEP: what it moves or
     * waits for (none for a step made of others); RECORDING_BEGIN: what is recorded. */
    const enum es_role *roles;
    size_t role_count;
};

struct es_port {
    void *self;

    es_time (*now)(void *self);

    /* Lets time pass to an absolute time; recordings go on meanwhile. */
    enum es_status (*sleep_until)(void *self, es_time deadline, struct es_error *err);

    /* The newest value of a role's channel. A value that is not good is ES_OK with its quality said. */
    enum es_status (*read)(void *self, enum es_role role, struct es_reading *out, struct es_error *err);

    /* Writes a role's channel, coherent unit; the runtime checks ceilings and slew and reads back where it
     * can. Returns when the instrument has acknowledged; *acted tells when it took effect. */
    enum es_status (*write)(void *self, enum es_role role, double value, es_time *acted,
                            struct es_error *err);

    /* Starts recording `count` roles, each at `rate` Hz or, where its channel is slower, as fast as that goes
     * (which is fast enough, es_recording_rate has found out before). *handle names the recording; several
     * may run at once. */
    enum es_status (*record_start)(void *self, const char *name, const enum es_role *roles, size_t count,
                                   double rate, int *handle, struct es_error *err);

    /* What a running recording holds so far, without stopping it; valid until the next port call. */
    const struct es_trace *(*record_look)(void *self, int handle);

    /* Ends it and hands over the trace, which the caller frees. */
    enum es_status (*record_stop)(void *self, int handle, struct es_trace **out, struct es_error *err);

    enum es_status (*ask)(void *self, const struct es_question *question, struct es_answer *answer,
                          struct es_error *err);

    void (*event)(void *self, const struct es_event *event);

    /* Brings the bench to its safe state and returns when it is reached. Called before each procedure, so
     * that each begins from the same known state: what the proof of a procedure counts on. */
    enum es_status (*rest)(void *self, struct es_error *err);

    /* Does this bench have the role? *dimension (NULL allowed): length or angle for travel. */
    bool (*has_role)(void *self, enum es_role role, enum es_dimension *dimension);
};

#endif

/* Jobs: one unit's visit from arrival to delivery, a book of lines each (lines.h): jobs/J-000001.jsonl. Every
 * change is a line with who and when; what the job says now follows from its lines. Format: docs/jobs.md.
 *
 *   opened -> (run, found, parts, note)* -> released -> delivered
 *
 * A job can lie for days between two lines. After "delivered" nothing is added any more. */
#ifndef ES_STORE_JOBS_H
#define ES_STORE_JOBS_H

#include "results/store/lines.h"
#include "results/store/store.h"

#define ES_JOB_NO_FAULT "no fault found"

struct es_job_unit {    /* of "opened"; NULL where not given */
    const char *serial; /* required */
    const char *tag, *type, *lot, *supplier, *customer, *customer_contact, *customer_reference, *reason,
        *condition;
    const char *received; /* "2026-02-01"; required */
};

struct es_job_change {
    const char *what;       /* "run", "found", "parts", "note", "released", "delivered" */
    const char *who, *when; /* required */
    const char *text;       /* found, parts, note, delivered: what; else NULL */
    const char *certificate, *state, *verdict, *ran_by; /* run */
};

/* What the lines come to. Texts borrowed from `lines`, or NULL. */
struct es_job {
    char number[ES_STORE_NUMBER_MAX];
    struct es_lines lines;
    struct es_job_unit unit;
    const char *opened_by, *opened;
    const char *found;                       /* the last "found" */
    char *parts;                             /* all "parts", "; " between them; owned */
    const char *as_found, *as_found_verdict; /* the last certificate in that state */
    const char *as_left, *as_left_verdict, *as_left_by;
    const char *released_by, *released, *delivered;
    const char *stage; /* "arrived", "tested", "repaired", "retested", "released", "delivered" */
};

/* Takes the next number and writes the first line, durably. ES_USAGE: no serial number, no date of receipt,
 * or a name with what nobody can see (es_text_check_line). */
enum es_status es_job_open(struct es_store *store, const struct es_job_unit *unit, const char *who,
                           const char *when, char number[static ES_STORE_NUMBER_MAX],
                           struct es_error *err) ES_MUST_CHECK;

/* Adds a line, durably. ES_REFUSED: not in this stage, and why: "released" needs a completed
 * test as left since the last part was replaced, what was found, and another person than who ran that test;
 * once, until something is tested, found or replaced again. "delivered" needs "released". ES_USAGE: something
 * is missing. */
enum es_status es_job_add(struct es_store *store, const char *number, const struct es_job_change *change,
                          struct es_error *err) ES_MUST_CHECK;

enum es_status es_job_read(struct es_store *store, const char *number, struct es_job *out,
                           struct es_error *err) ES_MUST_CHECK;
void es_job_free(struct es_job *job);

struct es_jobs {
    char (*numbers)[ES_STORE_NUMBER_MAX];
    size_t count;
};
/* In order of number. */
enum es_status es_job_list(struct es_store *store, struct es_jobs *out, struct es_error *err) ES_MUST_CHECK;
void es_jobs_free(struct es_jobs *jobs);

#endif

/* The journal of one run: every scan, write and event goes here before it is used; what a crash leaves of it
 * is recovered at the next start. Format: docs/journal-file.md.
 *
 * Adding only copies to memory (any thread, never waits on the disk). A thread of the journal's own writes
 * blocks and makes them durable at least every ES_JOURNAL_INTERVAL; a power cut or SIGKILL loses at most what
 * came after the last durable block. es_journal_flush waits until everything added so far is durable: the
 * run calls it before a recording is measured. */
#ifndef ES_BENCH_JOURNAL_H
#define ES_BENCH_JOURNAL_H

#include "procedures/engine/port.h"
#include "rig/base/file.h"

#define ES_JOURNAL_INTERVAL 0.25       /* s */
#define ES_JOURNAL_WAITING  (8u << 20) /* bytes that may wait for a slow disk before the journal fails */

enum es_journal_kind {
    ES_JOURNAL_BEGIN = 1, /* text: JSON object with run, plan, type, station, serial, person, began, ... */
    ES_JOURNAL_SCAN,      /* values of one request */
    ES_JOURNAL_WRITE,     /* one acknowledged or failed write */
    ES_JOURNAL_EVENT,     /* event of the run */
    ES_JOURNAL_RECORDING, /* text: name; a recording begins */
    ES_JOURNAL_STOP,      /* text: name; it ends */
    ES_JOURNAL_TRIP,      /* text: cause */
    ES_JOURNAL_SAFE,      /* text: what the safe state came to */
    ES_JOURNAL_END        /* text: "completed" or why not */
};

struct es_journal;

struct es_journal_value {
    enum es_role role;
    enum es_quality quality;
    double value;
};

struct es_journal_write {
    enum es_role role;
    enum es_status status;
    double from, to;
};

/* Creates FOLDER/RUN.journal; its first block (with `begin`) is durable on return. `ops` as in file.h. */
enum es_status es_journal_open(const struct es_file_ops *ops, const char *folder, const char *run,
                               const char *begin, struct es_journal **out,
                               struct es_error *err) ES_MUST_CHECK;

void es_journal_scan(struct es_journal *j, es_time taken, double u_time,
                     const struct es_journal_value *values, size_t count);
void es_journal_write(struct es_journal *j, es_time acted, const struct es_journal_write *write);
void es_journal_text(struct es_journal *j, enum es_journal_kind kind, es_time at, const char *text);
/* A recording of `roles` begins. */
void es_journal_recording(struct es_journal *j, es_time at, const char *name, const enum es_role *roles,
                          size_t count);

/* ES_OK, or why the journal can no longer be trusted (sticky). Does not wait. */
enum es_status es_journal_status(struct es_journal *j, struct es_error *err);

/* Waits until all that was added is durable. */
enum es_status es_journal_flush(struct es_journal *j, struct es_error *err) ES_MUST_CHECK;

/* Flushes, ends the thread, frees; the file stays. NULL allowed. */
enum es_status es_journal_close(struct es_journal *j, struct es_error *err);

/* ---- Reading one back ---- */

/* One record; only the members that its kind has are set. Texts live until the visitor returns. */
struct es_journal_record {
    enum es_journal_kind kind;
    es_time at;
    double u_time;
    const char *text;
    const struct es_journal_value *values; /* ES_JOURNAL_SCAN */
    const enum es_role *roles;             /* ES_JOURNAL_RECORDING */
    size_t count;
    struct es_journal_write write;
};

/* Visits the records of all whole blocks in order until the visitor says other than ES_OK (which is
 * returned). *damaged: the file does not end with a whole block; *whole: bytes of the whole blocks.
 * ES_BAD_INPUT: no journal. */
enum es_status es_journal_read(const struct es_file_ops *ops, const char *path,
                               enum es_status (*visit)(void *self, const struct es_journal_record *r,
                                                       struct es_error *err),
                               void *self, bool *damaged, size_t *whole, struct es_error *err) ES_MUST_CHECK;

#endif

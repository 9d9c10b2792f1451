/* From a bench to the archive: every leaf of the bench's log, in its order, exactly once.
 *
 * Certificates and log are durable on the bench first; they are the outbox. How far the archive has got
 * stands in the archive, written by the same transaction as the certificates: there is no second place that
 * could disagree after an outage, a restart, or a transaction of which nobody knows whether it was committed.
 * An archive that was put back from an old copy asks for what it lacks. */
#ifndef ES_ARCHIVE_OUTBOX_H
#define ES_ARCHIVE_OUTBOX_H

#include "results/archive/archive.h"
#include "results/store/store.h"

struct es_outbox_report {
    uint64_t logged;   /* leaves in the bench's log */
    uint64_t sent;     /* handed over by this call */
    uint64_t fresh;    /* certificates, or further signatures, that the archive did not have */
    uint64_t left_out; /* leaves whose file is missing or is not what was logged: never sent */
    char fault[640];   /* about the first of them; "" */
};

/* Sends what the archive lacks, some fifty certificates a transaction. `go_on` (NULL: always) is asked
 * between transactions. Any failure leaves whole transactions only; call again, with a new connection after
 * ES_HANGUP. ES_NOT_VALID: the archive has a head of this log that the log does not lead to: leaves were
 * taken away or changed on the bench. A bench without a log sends nothing. */
enum es_status es_outbox_send(struct es_store *store, struct es_archive *archive, bool (*go_on)(void *self),
                              void *self, struct es_outbox_report *report,
                              struct es_error *err) ES_MUST_CHECK;

#endif

/* The paper side of a run: the state folder, the signing key, the record that a run was begun, and the
 * certificate that comes out of it. Thread-safe: one lock around the store's writing half. */
#ifndef ES_DAEMON_OFFICE_H
#define ES_DAEMON_OFFICE_H

#include "procedures/judgement/likely.h"
#include "results/certificate/amend.h"
#include "results/store/store.h"
#include "rig/base/log.h"
#include "rig/bench/bench.h"

struct es_office;

struct es_office_options {
    const char *state;              /* state folder */
    const char *key;                /* private key file; NULL: the state folder's own */
    const char *passphrase_file;    /* its first line opens the key; NULL: the key is under none */
    const char *prefix;             /* of certificate numbers; NULL: made from the bench's name */
    const char *laboratory;         /* who runs the bench; NULL */
    const char *laboratory_address; /* NULL */
    const struct es_bench *bench;   /* borrowed */
    const struct es_log *log;       /* borrowed; NULL: none */
};

/* Opens and locks the state folder. ES_REFUSED: another daemon has it. The key is taken apart from this
 * (es_office_take_key), so that the bench can be made safe although the key is missing. */
enum es_status es_office_open(const struct es_office_options *options, struct es_office **out,
                              struct es_error *err) ES_MUST_CHECK;
void es_office_close(struct es_office *office); /* NULL allowed */

/* For likely causes; borrowed. Without it certificates say that nothing is known of them. */
void es_office_take_table(struct es_office *office, const struct es_detection *table);
enum es_status es_office_take_key(struct es_office *office, struct es_error *err) ES_MUST_CHECK;

/* Runs that were under way when the daemon ended without saying so: each gets a record as "not completed",
 * with the recordings that its journal holds. Goes on after a run that cannot be dealt with (logged). */
enum es_status es_office_settle_interrupted(struct es_office *office, size_t *count,
                                            struct es_error *err) ES_MUST_CHECK;

/* Durable before it returns; ES_REFUSED when the bench's key may not sign any more. *journals is the run's
 * folder, *recordings that of all recordings (both to be freed). */
enum es_status es_office_begin(struct es_office *office, const struct es_store_run *run, char **journals,
                               char **recordings, struct es_error *err) ES_MUST_CHECK;

/* What people ordered beside the test itself; NULL where not given. */
struct es_office_order {
    const char *serial;                      /* of the unit */
    const char *overdue_reason;              /* why it is issued although a calibration is overdue */
    const char *job;                         /* the unit's visit: gives what the rest leaves open, and takes
                                                the certificate down */
    const char *lot, *supplier, *reference;  /* customer's reference */
    const char *replaces, *replaces_because; /* both or none */
};

/* Whether a certificate can come of it: the job is of this unit and not delivered; what it replaces is there,
 * of this unit, in force and not replaced already. ES_NOT_FOUND, ES_USAGE, or ES_REFUSED and why. */
enum es_status es_office_check(struct es_office *office, const struct es_office_order *order,
                               struct es_error *err) ES_MUST_CHECK;

/* Builds, signs and stores the certificate, or the record of a run that was not completed, and closes the
 * run's entry. On ES_OK it is durable and `number` names it. What it was to replace and no longer can is left
 * out, and logged. A record replaces nothing. */
enum es_status es_office_issue(struct es_office *office, const struct es_outcome *outcome,
                               const struct es_office_order *order, char number[static ES_STORE_NUMBER_MAX],
                               struct es_error *err) ES_MUST_CHECK;

/* Issues certificate `number` anew with what people supplied about the visit corrected
 * (results/certificate/amend.h; `order` without the new one's head, which this fills in). On ES_OK the new
 * one is durable and in the log, `made` names it, and the job's book says so. ES_REFUSED: it is not in force,
 * not as signed, or replaced already. Searches the folder: seconds with a hundred thousand certificates. */
enum es_status es_office_amend(struct es_office *office, const char *number, const struct es_amendment *order,
                               char made[static ES_STORE_NUMBER_MAX], struct es_error *err) ES_MUST_CHECK;

/* Enters a certificate's further signatures (release, void) in the log; sealed when this returns ES_OK. */
enum es_status es_office_seal(struct es_office *office, const char *number,
                              struct es_error *err) ES_MUST_CHECK;

/* Closes the entry of a run of which no paper could be made; failures are logged. */
void es_office_give_up(struct es_office *office, const char *run, const char *why);

#endif

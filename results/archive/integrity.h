/* Has anything been deleted, reordered, altered, added or back-dated: in the state folder, in its log, in the
 * archive? Every certificate that was ever logged is looked for and held, byte for byte, against its leaf;
 * every signed head of the log against the leaves; every row of the archive against the file.
 *
 * What it rests on: nobody but the bench can sign its heads. Who has the bench's key can write everything
 * anew; that shows against a head that somebody kept elsewhere: the archive's heads, or `kept`. */
#ifndef ES_ARCHIVE_INTEGRITY_H
#define ES_ARCHIVE_INTEGRITY_H

#include "results/archive/archive.h"
#include "results/log/log.h"
#include "results/store/store.h"

struct es_integrity_order {
    struct es_store *store;
    const struct es_trusted_key *trusted;
    size_t trusted_count;
    struct es_archive *archive; /* NULL: not looked at */
    const char *const *kept;    /* texts of signed heads that were kept elsewhere */
    size_t kept_count;
    bool skip_recordings; /* do not read the raw recordings */
};

struct es_integrity_finding {
    const char *word; /* "missing", "altered", "moved", "added", "not sealed", "back-dated", "out of order",
                         "seal", "signature", "recording", "log", "head", "archive" */
    char number[ES_STORE_NUMBER_MAX]; /* of the certificate; "" when the whole is meant */
    char text[512];
};

struct es_integrity_report {
    struct es_integrity_finding *items;
    size_t count, capacity;
    uint64_t leaves, certificates, recordings, rows; /* looked at */
    uint64_t benches;                                /* by es_integrity_check_archive */
    char head[ES_LOG_HEAD_MAX];                      /* the newest, to be kept; "" */
    struct es_log_head said;                         /* what it says */
    bool out_of_memory;                              /* sticky */
};

/* ES_OK also with findings; other states: the check could not be done. Free with es_integrity_free. */
enum es_status es_integrity_check(const struct es_integrity_order *order, struct es_integrity_report *report,
                                  struct es_error *err) ES_MUST_CHECK;

/* The archive alone, all its benches in one go, with nothing but their public keys: every certificate's
 * signatures; the columns beside it; each bench's log against all heads that it signed; that nothing logged
 * is missing and nothing stands there that was not logged. What all of it together shows less is a log that
 * was cut short on the bench before it was ever sent. */
enum es_status es_integrity_check_archive(struct es_archive *archive, const struct es_trusted_key *trusted,
                                          size_t trusted_count, struct es_integrity_report *report,
                                          struct es_error *err) ES_MUST_CHECK;
void es_integrity_free(struct es_integrity_report *report);

#endif

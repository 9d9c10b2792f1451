/* The archive: every certificate of one or several benches in one database, for questions over many. What a
 * certificate says is always read from its bytes, which are kept as they were signed; columns beside them
 * only make them quick to find, and the audit (integrity.h) holds them against the bytes.
 *
 * Address: "postgresql://..." as libpq takes it; anything else is the path of an SQLite file ("sqlite:"
 * before it is allowed). The schema is made, and brought up from every earlier version, when the archive is
 * opened for writing. An archive belongs to one thread at a time. Errors: database.h. */
#ifndef ES_ARCHIVE_ARCHIVE_H
#define ES_ARCHIVE_ARCHIVE_H

#include "results/archive/database.h"

#define ES_ARCHIVE_SCHEMA 3 /* version that this program writes */

struct es_archive {
    struct es_database db;
    char *name; /* of the place, for messages: no password in it */
};

enum es_archive_mode { ES_ARCHIVE_READ, ES_ARCHIVE_WRITE };

/* ES_DISABLED: its schema is newer than this program, or older and it is opened for reading; the text says
 * what to do. */
enum es_status es_archive_open(const char *address, enum es_archive_mode mode, struct es_archive **out,
                               struct es_error *err) ES_MUST_CHECK;
void es_archive_close(struct es_archive *archive); /* NULL allowed */

/* Brings the schema to the current version; a part of opening, apart for tests. */
enum es_status es_archive_migrate(struct es_archive *archive, struct es_error *err) ES_MUST_CHECK;

struct es_archive_put {
    const char *bench; /* identity of the bench's log (es_log_id) */
    const char *bytes; /* the certificate's file */
    size_t length;
};

/* Puts one certificate in, within the caller's transaction. The same content twice is kept once; a file with
 * more signatures takes the place of its earlier self. *fresh: something changed. ES_BAD_INPUT: no
 * certificate; ES_REFUSED: another content stands there under this bench's number. */
enum es_status es_archive_put(struct es_archive *archive, const struct es_archive_put *put, bool *fresh,
                              struct es_error *err) ES_MUST_CHECK;

/* How many leaves of a bench's log the archive has, and the newest signed head it was given ("" before the
 * first; ES_LOG_HEAD_MAX bytes). In a PostgreSQL transaction the row stays locked until its end. */
enum es_status es_archive_bench(struct es_archive *archive, const char *log, uint64_t *sent, char *head,
                                size_t size, struct es_error *err) ES_MUST_CHECK;
/* `head_size` 0: no head is added to those kept. */
enum es_status es_archive_set_bench(struct es_archive *archive, const char *log, uint64_t sent,
                                    const char *head, uint64_t head_size, struct es_error *err) ES_MUST_CHECK;

/* One entry of a bench's log, in the order of the log: with all of them anybody can compute the log's root
 * again and hold its signed heads against it. ES_NOT_VALID: another entry stands in that place. */
struct es_archive_leaf {
    const char *log;
    uint64_t position;
    const char *number;
    size_t version;   /* signatures of the file */
    const char *hash; /* hex */
};
enum es_status es_archive_put_leaf(struct es_archive *archive, const struct es_archive_leaf *leaf,
                                   struct es_error *err) ES_MUST_CHECK;

enum es_status es_archive_count(struct es_archive *archive, uint64_t *certificates, uint64_t *benches,
                                struct es_error *err) ES_MUST_CHECK;

#endif

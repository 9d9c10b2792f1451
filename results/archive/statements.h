/* Every statement that the archive gives to a database, by name. One text for both databases where they
 * agree. Values are $1, $2, ... and nothing is ever put into a text. */
#ifndef ES_ARCHIVE_STATEMENTS_H
#define ES_ARCHIVE_STATEMENTS_H

enum es_dialect { ES_DIALECT_SQLITE, ES_DIALECT_POSTGRESQL };

enum es_statement {
    ES_SQL_BEGIN,
    ES_SQL_BEGIN_READ, /* one unchanging view of everything until the transaction ends */
    ES_SQL_COMMIT,
    ES_SQL_ROLLBACK,
    ES_SQL_LOCK_SCHEMA, /* nobody else changes the schema until the transaction ends */
    /* schema */
    ES_SQL_HAS_SCHEMA,
    ES_SQL_SCHEMA,
    ES_SQL_SET_SCHEMA, /* version */
    ES_SQL_V1_FIRST,
    ES_SQL_V1_LAST = ES_SQL_V1_FIRST + 4,
    ES_SQL_V2_FIRST,
    ES_SQL_V2_LAST = ES_SQL_V2_FIRST + 17,
    ES_SQL_V3_FIRST,
    ES_SQL_V3_LAST = ES_SQL_V3_FIRST + 8,
    /* putting in */
    ES_SQL_PUT,       /* content, digest, signatures, bench, number, kind, issued, serial, type, plan, state,
                         verdict,       customer, run, file -> id, or no row when nothing is new */
    ES_SQL_DERIVE,    /* id, reason, lot, supplier, job, received, found, virtual, out of force, bench's name,
                         station, person, released, releaser, replaces */
    ES_SQL_SUPERSEDE, /* bench, number, by */
    ES_SQL_DROP_LINES,
    ES_SQL_DROP_INSTRUMENTS,
    ES_SQL_DROP_CAUSES,
    ES_SQL_PUT_LINE,       /* id, position, procedure, measurand, unit, value, U, lower, upper, verdict */
    ES_SQL_PUT_INSTRUMENT, /* id, position, name, identity, calibration, calibrated, due */
    ES_SQL_PUT_CAUSE,      /* id, position, name, probability */
    ES_SQL_BENCH,          /* log -> sent, head */
    ES_SQL_PUT_BENCH,      /* log, sent, head */
    ES_SQL_PUT_HEAD,       /* log, size, head */
    ES_SQL_PUT_LEAF, /* log, position, number, version, hash; changes nothing when another stands there */
    /* asking */
    ES_SQL_COUNT_ALL,     /* -> certificates, benches */
    ES_SQL_FILES,         /* after id, most -> id, bench, number, content, digest, signatures, file */
    ES_SQL_ROWS_OF_BENCH, /* log, after id -> one row: the columns that were derived, file last */
    ES_SQL_LINES_OF,      /* id */
    ES_SQL_INSTRUMENTS_OF,
    ES_SQL_CAUSES_OF,
    ES_SQL_HEADS_OF_BENCH,
    ES_SQL_BENCHES,     /* -> log, sent */
    ES_SQL_LEAVES_OF,   /* log -> position, number, version, hash */
    ES_SQL_ROWS_APART,  /* -> rows of a bench that has no log here */
    ES_SQL_FIND_SERIAL, /* serial, since */
    ES_SQL_FIND_SINCE,  /* since */
    ES_SQL_HISTORY,     /* serial, measurand, procedure, since */
    ES_SQL_VISITS,      /* since, type, serial */
    ES_SQL_PAIR_LINES,  /* measurand, since, type, serial, procedure */
    ES_SQL_NO_FAULT,    /* since, by, type */
    ES_SQL_FAILED_LINES,
    ES_SQL_FAILED_CAUSES,
    ES_SQL_FAILED_BY, /* since, by, type */
    ES_SQL_TOUCHED,   /* instrument, since */
    ES_SQL_SERIES,    /* measurand, type, serial, since, procedure, state */
    ES_SQL_REPEATED,
    ES_SQL_COUNT
};

/* Text of a statement; never NULL. */
const char *es_statement_text(enum es_statement statement, enum es_dialect dialect);

#endif

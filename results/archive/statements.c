#include "results/archive/statements.h"

#include <stddef.h>

struct text {
    const char *text;       /* of both, or of SQLite */
    const char *postgresql; /* where it differs */
};

#define COLUMN(name) "ALTER TABLE certificates ADD COLUMN " name " TEXT NOT NULL DEFAULT ''"

/* What counts in questions: certificates in force. */
#define IN_FORCE "c.kind = 'certificate' AND c.out_of_force = ''"

/* A filter that is there when it is not "". */
#define OPTIONAL(column, value) "(CAST(" value " AS TEXT) = '' OR " column " = " value ")"

/* Values of measurand $1; type $2, serial $3, since $4, procedure $5, state $6. */
#define SERIES                                                                                               \
    "FROM lines l JOIN certificates c ON c.id = l.certificate WHERE l.measurand = $1 AND " OPTIONAL(         \
        "c.type",                                                                                            \
        "$2") " AND " OPTIONAL("c.serial",                                                                   \
                               "$3") " AND c.issued >= $4 AND " OPTIONAL("l.procedure",                      \
                                                                         "$5") " AND " OPTIONAL("c.state",   \
                                                                                                "$6") " AND" \
                                                                                                      " l."  \
                                                                                                      "valu" \
                                                                                                      "e "   \
                                                                                                      "IS "  \
                                                                                                      "NOT " \
                                                                                                      "NULL" \
                                                                                                      " AND" \
                                                                                                      " " IN_FORCE

#define GROUPED(by)                                                                                          \
    "CASE CAST(" by                                                                                          \
    " AS TEXT) WHEN 'type' THEN c.type WHEN 'customer' THEN c.customer WHEN 'lot' THEN c.lot "               \
    "WHEN 'supplier' THEN c.supplier WHEN 'plan' THEN c.plan WHEN 'reason' THEN c.reason "                   \
    "WHEN 'month' THEN substr(c.issued, 1, 7) ELSE '' END"

static const struct text texts[ES_SQL_COUNT] = {
    [ES_SQL_BEGIN] = {"BEGIN IMMEDIATE", "BEGIN"},
    [ES_SQL_BEGIN_READ] = {"BEGIN", "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"},
    [ES_SQL_COMMIT] = {"COMMIT", NULL},
    [ES_SQL_ROLLBACK] = {"ROLLBACK", NULL},
    /* SQLite's BEGIN IMMEDIATE has locked it; the number is the archive's own, arbitrary. */
    [ES_SQL_LOCK_SCHEMA] = {"SELECT 1", "SELECT pg_advisory_xact_lock(712409531)"},

    [ES_SQL_HAS_SCHEMA] =
        {"SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name = 'archive'",
         "SELECT COUNT(*) FROM information_schema.tables WHERE table_schema = current_schema() "
         "AND table_name = 'archive'"},
    [ES_SQL_SCHEMA] = {"SELECT value FROM archive WHERE name = 'schema'", NULL},
    [ES_SQL_SET_SCHEMA] = {"INSERT INTO archive (name, value) VALUES ('schema', $1) "
                           "ON CONFLICT (name) DO UPDATE SET value = excluded.value",
                           NULL},

    [ES_SQL_V1_FIRST] = {"CREATE TABLE archive (name TEXT PRIMARY KEY, value TEXT NOT NULL)", NULL},
    [ES_SQL_V1_FIRST + 1] =
        {"CREATE TABLE certificates (id INTEGER PRIMARY KEY AUTOINCREMENT, content TEXT NOT NULL UNIQUE, "
         "digest TEXT NOT NULL, signatures INTEGER NOT NULL, bench TEXT NOT NULL, number TEXT NOT NULL, "
         "kind TEXT NOT NULL, issued TEXT NOT NULL, serial TEXT NOT NULL, type TEXT NOT NULL, plan TEXT NOT "
         "NULL, "
         "state TEXT NOT NULL, verdict TEXT NOT NULL, customer TEXT NOT NULL, run TEXT NOT NULL, "
         "file BLOB NOT NULL)",
         "CREATE TABLE certificates (id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, "
         "content TEXT NOT NULL UNIQUE, digest TEXT NOT NULL, signatures INTEGER NOT NULL, bench TEXT NOT "
         "NULL, "
         "number TEXT NOT NULL, kind TEXT NOT NULL, issued TEXT NOT NULL, serial TEXT NOT NULL, "
         "type TEXT NOT NULL, plan TEXT NOT NULL, state TEXT NOT NULL, verdict TEXT NOT NULL, "
         "customer TEXT NOT NULL, run TEXT NOT NULL, file BYTEA NOT NULL)"},
    [ES_SQL_V1_FIRST + 2] = {"CREATE INDEX certificates_serial ON certificates (serial, issued)", NULL},
    [ES_SQL_V1_FIRST + 3] = {"CREATE UNIQUE INDEX certificates_number ON certificates (bench, number)", NULL},
    [ES_SQL_V1_LAST] =
        {"CREATE TABLE benches (log TEXT PRIMARY KEY, sent BIGINT NOT NULL, head TEXT NOT NULL)", NULL},

    [ES_SQL_V2_FIRST] = {COLUMN("reason"), NULL},
    [ES_SQL_V2_FIRST + 1] = {COLUMN("lot"), NULL},
    [ES_SQL_V2_FIRST + 2] = {COLUMN("supplier"), NULL},
    [ES_SQL_V2_FIRST + 3] = {COLUMN("job"), NULL},
    [ES_SQL_V2_FIRST + 4] = {COLUMN("received"), NULL},
    [ES_SQL_V2_FIRST + 5] = {COLUMN("found"), NULL},
    [ES_SQL_V2_FIRST + 6] = {COLUMN("bench_kind"), NULL},
    [ES_SQL_V2_FIRST + 7] = {COLUMN("out_of_force"), NULL},
    [ES_SQL_V2_FIRST + 8] = {"CREATE INDEX certificates_issued ON certificates (issued)", NULL},
    [ES_SQL_V2_FIRST +
        9] = {"CREATE TABLE lines (certificate BIGINT NOT NULL REFERENCES certificates (id), position "
              "INTEGER NOT NULL, "
              "procedure TEXT NOT NULL, measurand TEXT NOT NULL, unit TEXT NOT NULL, value DOUBLE PRECISION, "
              "expanded DOUBLE PRECISION, lower_limit DOUBLE PRECISION, upper_limit DOUBLE PRECISION, "
              "verdict TEXT NOT NULL, PRIMARY KEY (certificate, position))",
              NULL},
    [ES_SQL_V2_FIRST + 10] = {"CREATE INDEX lines_measurand ON lines (measurand, certificate)", NULL},
    [ES_SQL_V2_FIRST + 11] =
        {"CREATE TABLE instruments (certificate BIGINT NOT NULL REFERENCES certificates (id), "
         "position INTEGER NOT NULL, name TEXT NOT NULL, identity TEXT NOT NULL, calibration TEXT NOT NULL, "
         "calibrated TEXT NOT NULL, due TEXT NOT NULL, PRIMARY KEY (certificate, position))",
         NULL},
    [ES_SQL_V2_FIRST + 12] = {"CREATE INDEX instruments_identity ON instruments (identity)", NULL},
    [ES_SQL_V2_FIRST + 13] = {"CREATE INDEX instruments_name ON instruments (name)", NULL},
    [ES_SQL_V2_FIRST + 14] = {"CREATE INDEX instruments_calibration ON instruments (calibration)", NULL},
    [ES_SQL_V2_FIRST +
        15] = {"CREATE TABLE causes (certificate BIGINT NOT NULL REFERENCES certificates (id), "
               "position INTEGER NOT NULL, name TEXT NOT NULL, probability DOUBLE PRECISION, "
               "PRIMARY KEY (certificate, position))",
               NULL},
    [ES_SQL_V2_FIRST + 16] = {"CREATE INDEX causes_name ON causes (name)", NULL},
    [ES_SQL_V2_LAST] = {"CREATE TABLE heads (log TEXT NOT NULL, size BIGINT NOT NULL, head TEXT NOT NULL, "
                        "PRIMARY KEY (log, size))",
                        NULL},

    [ES_SQL_V3_FIRST] = {COLUMN("bench_name"), NULL},
    [ES_SQL_V3_FIRST + 1] = {COLUMN("station"), NULL},
    [ES_SQL_V3_FIRST + 2] = {COLUMN("person"), NULL},
    [ES_SQL_V3_FIRST + 3] = {COLUMN("released"), NULL},
    [ES_SQL_V3_FIRST + 4] = {COLUMN("releaser"), NULL},
    [ES_SQL_V3_FIRST + 5] = {COLUMN("replaces"), NULL},
    [ES_SQL_V3_FIRST + 6] = {"CREATE INDEX certificates_replaces ON certificates (bench, replaces)", NULL},
    [ES_SQL_V3_FIRST +
        7] = {"CREATE TABLE leaves (log TEXT NOT NULL, position BIGINT NOT NULL, number TEXT NOT NULL, "
              "version INTEGER NOT NULL, hash TEXT NOT NULL, PRIMARY KEY (log, position))",
              NULL},
    /* Each bench sends all once more: that brings the leaves, and nothing twice. */
    [ES_SQL_V3_LAST] = {"UPDATE benches SET sent = 0", NULL},

    [ES_SQL_PUT] =
        {"INSERT INTO certificates (content, digest, signatures, bench, number, kind, issued, serial, type, "
         "plan, "
         "state, verdict, customer, run, file) "
         "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15) "
         "ON CONFLICT (content) DO UPDATE SET digest = excluded.digest, signatures = excluded.signatures, "
         "file = excluded.file WHERE excluded.signatures > certificates.signatures RETURNING id",
         NULL},
    [ES_SQL_DERIVE] =
        {"UPDATE certificates SET reason = $2, lot = $3, supplier = $4, job = $5, received = $6, found = $7, "
         "bench_kind = $8, out_of_force = CASE WHEN CAST($9 AS TEXT) <> '' THEN $9 ELSE out_of_force END, "
         "bench_name = $10, station = $11, person = $12, released = $13, releaser = $14, "
         "replaces = $15 WHERE id = $1",
         NULL},
    [ES_SQL_SUPERSEDE] = {"UPDATE certificates SET out_of_force = $3 WHERE bench = $1 AND number = $2 "
                          "AND out_of_force = ''",
                          NULL},
    [ES_SQL_DROP_LINES] = {"DELETE FROM lines WHERE certificate = $1", NULL},
    [ES_SQL_DROP_INSTRUMENTS] = {"DELETE FROM instruments WHERE certificate = $1", NULL},
    [ES_SQL_DROP_CAUSES] = {"DELETE FROM causes WHERE certificate = $1", NULL},
    [ES_SQL_PUT_LINE] =
        {"INSERT INTO lines (certificate, position, procedure, measurand, unit, value, expanded, "
         "lower_limit, upper_limit, verdict) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
         NULL},
    [ES_SQL_PUT_INSTRUMENT] = {"INSERT INTO instruments (certificate, position, name, identity, calibration, "
                               "calibrated, due) VALUES ($1, $2, $3, $4, $5, $6, $7)",
                               NULL},
    [ES_SQL_PUT_CAUSE] =
        {"INSERT INTO causes (certificate, position, name, probability) VALUES ($1, $2, $3, $4)", NULL},
    [ES_SQL_BENCH] = {"SELECT sent, head FROM benches WHERE log = $1",
                      "SELECT sent, head FROM benches WHERE log = "
                      "$1 FOR UPDATE"},
    [ES_SQL_PUT_BENCH] = {"INSERT INTO benches (log, sent, head) VALUES ($1, $2, $3) "
                          "ON CONFLICT (log) DO UPDATE SET sent = excluded.sent, head = excluded.head",
                          NULL},
    [ES_SQL_PUT_HEAD] =
        {"INSERT INTO heads (log, size, head) VALUES ($1, $2, $3) ON CONFLICT (log, size) DO NOTHING", NULL},

    [ES_SQL_PUT_LEAF] =
        {"INSERT INTO leaves (log, position, number, version, hash) VALUES ($1, $2, $3, $4, $5) "
         "ON CONFLICT (log, position) DO UPDATE SET hash = excluded.hash WHERE leaves.hash = excluded.hash "
         "AND leaves.number = excluded.number",
         NULL},

    [ES_SQL_COUNT_ALL] = {"SELECT (SELECT COUNT(*) FROM certificates), (SELECT COUNT(*) FROM benches)", NULL},
    [ES_SQL_FILES] =
        {"SELECT id, bench, number, content, digest, signatures, file FROM certificates WHERE id > $1 "
         "AND id <= $3 ORDER BY id LIMIT $2",
         NULL},
    [ES_SQL_ROWS_OF_BENCH] =
        {"SELECT id, number, content, digest, signatures, kind, issued, serial, type, plan, state, verdict, "
         "customer, run, reason, lot, supplier, job, received, found, bench_kind, bench_name, station, "
         "person, released, releaser, replaces, out_of_force, COALESCE((SELECT MIN(n.number) FROM "
         "certificates n WHERE n.bench = c.bench AND n.replaces = c.number), ''), file FROM certificates c "
         "WHERE bench = $1 AND id > $2 ORDER BY id LIMIT 1",
         NULL},
    [ES_SQL_LINES_OF] =
        {"SELECT position, procedure, measurand, unit, value, expanded, lower_limit, upper_limit, "
         "verdict FROM lines WHERE certificate = $1 ORDER BY position",
         NULL},
    [ES_SQL_INSTRUMENTS_OF] =
        {"SELECT position, name, identity, calibration, calibrated, due FROM instruments "
         "WHERE certificate = $1 ORDER BY position",
         NULL},
    [ES_SQL_CAUSES_OF] =
        {"SELECT position, name, probability FROM causes WHERE certificate = $1 ORDER BY position", NULL},
    [ES_SQL_HEADS_OF_BENCH] = {"SELECT size, head FROM heads WHERE log = $1 ORDER BY size", NULL},
    [ES_SQL_BENCHES] = {"SELECT log, sent FROM benches ORDER BY log", NULL},
    [ES_SQL_LEAVES_OF] =
        {"SELECT position, number, version, hash FROM leaves WHERE log = $1 ORDER BY position", NULL},
    [ES_SQL_ROWS_APART] = {"SELECT number, bench FROM certificates WHERE bench NOT IN (SELECT log FROM "
                           "benches) ORDER BY id",
                           NULL},
    [ES_SQL_FIND_SERIAL] =
        {"SELECT number, bench, kind, issued, serial, type, plan, state, verdict, customer, "
         "released, releaser, out_of_force FROM certificates WHERE serial = $1 AND issued >= $2 ORDER BY "
         "issued, id",
         NULL},
    [ES_SQL_FIND_SINCE] =
        {"SELECT number, bench, kind, issued, serial, type, plan, state, verdict, customer, "
         "released, releaser, out_of_force FROM certificates WHERE issued >= $1 ORDER BY issued, id",
         NULL},
    [ES_SQL_HISTORY] =
        {"SELECT c.number, c.issued, c.state, c.verdict, l.procedure, l.measurand, l.unit, l.value, "
         "l.expanded, l.lower_limit, l.upper_limit, l.verdict FROM certificates c JOIN lines l "
         "ON l.certificate = c.id WHERE c.serial = $1 AND " OPTIONAL("l.measurand", "$2") " AND " OPTIONAL(
             "l.procedure", "$3") " AND c.issued >= $4 AND " IN_FORCE
                                  " ORDER BY l.procedure, l.measurand, l.unit, c.issued, c.id, l.position",
         NULL},
    [ES_SQL_VISITS] =
        {"SELECT c.serial, c.type, c.number, c.issued, c.state, c.verdict FROM certificates c WHERE "
         "c.issued >= $1 AND " OPTIONAL("c.type", "$2") " AND " OPTIONAL(
             "c.serial", "$3") " AND c.state IN ('as found', 'as left') AND " IN_FORCE
                               " ORDER BY c.serial, c.type, c.issued, c.id",
         NULL},
    [ES_SQL_PAIR_LINES] =
        {"SELECT c.serial, c.type, c.number, c.issued, c.state, c.verdict, l.procedure, l.unit, l.value, "
         "l.expanded, l.lower_limit, l.upper_limit, l.verdict FROM lines l JOIN certificates c ON c.id = "
         "l.certificate WHERE l.measurand = $1 AND c.issued >= $2 AND " OPTIONAL(
             "c.type",
             "$3") " AND " OPTIONAL("c.serial",
                                    "$4") " AND " OPTIONAL("l.procedure",
                                                           "$5") " AND c.state IN ('as found', 'as left') "
                                                                 "AND " IN_FORCE
                                                                 " ORDER BY l.procedure, l.unit, c.serial, "
                                                                 "c.type, c.issued, c.id, l.position",
         NULL},
    [ES_SQL_NO_FAULT] = {"SELECT " GROUPED(
                             "$2") ", COUNT(*), SUM(CASE WHEN c.verdict = 'pass' THEN 1 ELSE 0 END) "
                                   "FROM certificates c WHERE c.issued >= $1 AND " OPTIONAL(
                                       "c.type", "$3") " AND c.state = 'as found' AND " IN_FORCE
                                                       " GROUP BY 1 ORDER BY 1",
                         NULL},
    [ES_SQL_FAILED_LINES] =
        {"SELECT l.procedure || ': ' || l.measurand, COUNT(DISTINCT c.id) FROM certificates c "
         "JOIN lines l ON l.certificate = c.id WHERE c.issued >= $1 AND CAST($2 AS TEXT) <> '' AND " OPTIONAL(
             "c.type",
             "$3") " AND l.verdict IN ('fail', 'conditional fail') AND c.state <> 'as left' AND " IN_FORCE
                   " GROUP BY 1 ORDER BY 2 DESC, 1",
         NULL},
    [ES_SQL_FAILED_CAUSES] =
        {"SELECT k.name, COUNT(*) FROM certificates c JOIN causes k ON k.certificate = c.id "
         "WHERE c.issued >= $1 AND CAST($2 AS TEXT) <> '' AND " OPTIONAL(
             "c.type", "$3") " AND k.position = 0 AND c.verdict IN ('fail', 'conditional fail') "
                             "AND c.state <> 'as left' AND " IN_FORCE " GROUP BY 1 ORDER BY 2 DESC, 1",
         NULL},
    [ES_SQL_FAILED_BY] =
        {"SELECT " GROUPED("$2") ", COUNT(*) FROM certificates c WHERE c.issued >= $1 AND " OPTIONAL(
             "c.type",
             "$3") " AND c.verdict IN ('fail', 'conditional fail') AND c.state <> 'as left' AND " IN_FORCE
                   " GROUP BY 1 ORDER BY 2 DESC, 1",
         NULL},
    [ES_SQL_TOUCHED] =
        {"SELECT c.number, c.bench, c.issued, c.serial, c.type, c.customer, c.verdict, "
         "c.out_of_force, i.name, i.identity, i.calibration, i.due FROM instruments i "
         "JOIN certificates c ON c.id = i.certificate WHERE (i.identity = $1 OR i.name = $1 OR "
         "i.calibration = $1) AND c.issued >= $2 ORDER BY c.issued, c.id, i.position",
         NULL},
    [ES_SQL_SERIES] = {"SELECT l.procedure, l.unit, c.number, c.issued, c.serial, c.type, l.value, "
                       "l.expanded, l.lower_limit, "
                       "l.upper_limit " SERIES " ORDER BY c.issued, c.id, l.position",
                       NULL},
    [ES_SQL_REPEATED] = {"SELECT c.serial, c.type, c.state, l.procedure, l.unit, c.issued, c.bench_name, "
                         "c.station, c.person, l.value " SERIES
                         " ORDER BY l.procedure, l.unit, c.serial, c.type, c.issued, c.id, l.position",
                         NULL},
};

const char *es_statement_text(enum es_statement statement, enum es_dialect dialect)
{
    const struct text *t = &texts[statement];
    return dialect == ES_DIALECT_POSTGRESQL && t->postgresql ? t->postgresql : t->text;
}

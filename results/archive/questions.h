/* Questions over many certificates, each answered by a table of texts that a program can take as well as a
 * person. Only certificates in force count (not void, not replaced, no records), but for "find" and
 * "touched", which tell. Statistics: results/statistics. */
#ifndef ES_ARCHIVE_QUESTIONS_H
#define ES_ARCHIVE_QUESTIONS_H

#include "results/archive/archive.h"

enum es_question_kind {
    ES_ASK_FIND,     /* certificates of `serial`, or all, since a time */
    ES_ASK_HISTORY,  /* every measured value of `serial` (of `measurand`), with E_n against the visit before
                        (ISO 13528:2022 9.7) */
    ES_ASK_PAIRS,    /* as found beside the next as left of the same unit: verdicts, or values of `measurand`
                        with the change and its E_n */
    ES_ASK_NO_FAULT, /* share of units that passed as found, with its 95 % Wilson interval; `by` group */
    ES_ASK_FAILURES, /* Pareto of certificates that did not pass (as left ones apart) `by` something */
    ES_ASK_TOUCHED,  /* certificates for which `instrument` (identity, name or calibration) was used */
    ES_ASK_CHART,    /* I-MR chart of `measurand`, with run rules */
    ES_ASK_REPEATABILITY /* of the bench in `measurand`, from repeated tests; reproducibility `by` day (else),
                            person, station or bench where the tests are a crossed study */
};

struct es_question { /* NULL: any, or not needed */
    enum es_question_kind kind;
    const char *serial, *type, *procedure, *measurand, *instrument, *by;
    const char *tested; /* chart, repeatability: only tests in this state, "as found" or "as left" */
    const char *since;  /* RFC 3339 UTC or a leading part of it */
    int within;         /* repeatability: tests of a unit at most so many days apart are repeats; 0: 7 */
};

enum es_answer_kind {
    ES_ANSWER_TEXT,
    ES_ANSWER_NUMBER,
    ES_ANSWER_SHARE, /* 0 to 1 */
    ES_ANSWER_TIME,  /* RFC 3339 UTC */
    ES_ANSWER_DAY    /* the same, of which the day says enough to a person */
};

struct es_answer_column {
    const char *name;  /* for programs: "out_of_force" */
    const char *title; /* for people: "out of force" */
    enum es_answer_kind kind;
    bool heads;  /* the same over many rows: for people a heading over them */
    bool hidden; /* for programs only */
    int spare;   /* above 0: a narrow screen does without it, 1 first */
};

struct es_answer {
    const struct es_answer_column *columns;
    size_t column_count;
    char **cells; /* rows * column_count, owned; "" where there is nothing */
    size_t rows, capacity;
    char summary[256]; /* a sentence for people, below the table; "" */
    char nothing[320]; /* what to tell a person when there are no rows */
};

/* ES_USAGE: `by` is none of its words, or something is missing; the text names it. Free the answer in any
 * case. */
enum es_status es_question_ask(struct es_archive *archive, const struct es_question *question,
                               struct es_answer *answer, struct es_error *err) ES_MUST_CHECK;
void es_answer_free(struct es_answer *answer);

/* "" outside. */
const char *es_answer_cell(const struct es_answer *answer, size_t row, const char *column);
double es_answer_number(const struct es_answer *answer, size_t row, const char *column); /* NAN: none */

#endif

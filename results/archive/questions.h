/* Questions over many certificates, each answered by a table of texts that a program can take as well as a
 * person. Only certificates in force count (not void, not replaced, no records), but for "find" and
 * "touched", which tell. Statistics: results/statistics. */
#ifndef ES_ARCHIVE_QUESTIONS_H
#define ES_ARCHIVE_QUESTIONS_H

#include "results/archive/archive.h"

enum es_question_kind {
    ES_ASK_FIND,     /* certificates of `serial`, or all, since a time */
    ES_ASK_HISTORY,  /* every measured value of `serial`, with E_n against the visit before (ISO
                        13528:2022 9.7) */
    ES_ASK_PAIRS,    /* as found beside the next as left of the same unit */
    ES_ASK_NO_FAULT, /* share of units that passed as found, with its 95 % Wilson interval; `by` group */
    ES_ASK_FAILURES, /* Pareto of certificates that did not pass (as left ones apart) `by` something */
    ES_ASK_TOUCHED,  /* certificates for which `subject` (identity, name or calibration of an instrument) was
                        used */
    ES_ASK_CHART     /* I-MR chart of the measurand `subject`, with run rules */
};

struct es_question {
    enum es_question_kind kind;
    const char *subject;                    /* NULL where not needed */
    const char *serial, *type, *since, *by; /* NULL: any. `since`: RFC 3339 UTC or a leading part of it */
};

struct es_answer_column {
    const char *name; /* a program's name for it: "issued" */
    bool number;
};

struct es_answer {
    const struct es_answer_column *columns;
    size_t column_count;
    char **cells; /* rows * column_count, owned */
    size_t rows, capacity;
};

/* ES_USAGE: `by` is none of its words, named in the text. Free the answer in any case. */
enum es_status es_question_ask(struct es_archive *archive, const struct es_question *question,
                               struct es_answer *answer, struct es_error *err) ES_MUST_CHECK;
void es_answer_free(struct es_answer *answer);

#endif

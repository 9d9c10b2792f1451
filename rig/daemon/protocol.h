/* What clients say to the daemon: one JSON object a line, grammar and meaning in docs/daemon-protocol.md.
 * Reading a request knows nothing of sockets: the page that a later daemon serves speaks through it too.
 * Pure, thread-safe. */
#ifndef ES_DAEMON_PROTOCOL_H
#define ES_DAEMON_PROTOCOL_H

#include "rig/base/findings.h"
#include "rig/base/text.h"

#define ES_PROTOCOL         1
#define ES_REQUEST_LINE_MAX 16384u /* bytes with the line feed */

enum es_do {
    ES_DO_HELLO,
    ES_DO_BENCH,
    ES_DO_RUN,
    ES_DO_WATCH,
    ES_DO_ANSWER,
    ES_DO_STOP,
    ES_DO_RESET,
    ES_DO_RUNS,
    ES_DO_CERTIFICATES,
    ES_DO_CERTIFICATE,
    ES_DO_PLANS,
    ES_DO_SEAL,
    ES_DO_AMEND,
    ES_DO_COUNT
};

enum es_reply_kind { ES_REPLY_YES, ES_REPLY_NO, ES_REPLY_CHOICE, ES_REPLY_NUMBER, ES_REPLY_DONE };

/* One request. Texts that were not given are NULL; which ones a kind of request takes, and which of them
 * it needs, stands in the rows of protocol.c. */
struct es_request_line {
    long id; /* 0..2^31-1; comes back with the reply */
    enum es_do what;
    long protocol; /* hello */
    char *program; /* hello */
    char *person;  /* hello: who sits there */
    char *station; /* bench (NULL: all), run, watch, stop, reset, answer */
    char *plan, *type, *serial, *tag, *customer, *reason, *state, *parts_replaced, *overdue_reason, *job,
        *lot, *supplier, *reference, *replaces, *replaces_because; /* run; some: amend */
    char *contact, *received, *condition;                          /* amend */
    bool unattended, ignore_gates;                                 /* run */
    long seed;                                                     /* run; 0: the daemon takes one */
    long from;     /* watch: first event wanted; runs, certificates: entries to leave out first */
    bool attend;   /* watch: answers questions, keeps the run alive */
    long question; /* answer: number of the question */
    int answer;    /* answer: enum es_reply_kind */
    long choice;   /* answer: index */
    char *number;  /* answer: "4.0 bar"; certificate, seal, amend: its number */
    char *since;   /* certificates */
    char *why;     /* stop */
};

/* Reads one line (without its line feed). ES_BAD_INPUT: err says what was wrong; request->id is set as far as
 * it could be read, else 0. Free with es_request_free in every case. */
enum es_status es_request_parse(const char *line, size_t length, struct es_request_line *request,
                                struct es_error *err) ES_MUST_CHECK;
void es_request_free(struct es_request_line *request);

const char *es_do_word(enum es_do what);

/* Names of plans, types and stations: one plain file or bench name, so that no path gets in. Letters, digits,
 * '-', '_', '.' not leading; at most 64. */
bool es_name_is_plain(const char *name);

/* {"id":7,"ok":false,"status":"...","text":"..."} */
void es_reply_error(struct es_text *out, long id, const struct es_error *err);
/* {"id":7,"ok":true ... without the closing brace: members follow. */
void es_reply_begin(struct es_text *out, long id);

#endif

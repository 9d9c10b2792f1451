/* The log: one line an event, for the person who keeps the bench running. No global state: whoever logs is
 * given a struct es_log. A line is one write(2), so lines of several threads do not mix. */
#ifndef ES_BASE_LOG_H
#define ES_BASE_LOG_H

#include "rig/base/error.h"

/* As in syslog (RFC 5424 section 6.2.1), those that are used. */
enum es_log_level {
    ES_LOG_ERROR = 3,   /* something that was asked for was not done */
    ES_LOG_WARNING = 4, /* done, but somebody should look */
    ES_LOG_NOTICE = 5,  /* a normal event worth keeping: started, run ended, certificate written */
    ES_LOG_INFO = 6,
    ES_LOG_DEBUG = 7
};

struct es_log {
    int fd;                 /* where to; not owned; a negative fd discards */
    enum es_log_level most; /* more detailed levels are left out */
    bool journal;           /* "<3>text" for the system's journal, which adds the time itself */
};

/* Standard error, up to `most`; journal style when standard error is the journal's stream. */
struct es_log es_log_to_stderr(enum es_log_level most);

/* "2026-02-03T10:11:12.345Z warning: text". NULL log: nothing. Control characters come out visibly. Never
 * fails: a log that cannot be written must not stop the bench. Keeps errno. */
void es_log(const struct es_log *log, enum es_log_level level, const char *format, ...) ES_PRINTF(3, 4);

/* "error", "warning", "notice", "info", "debug". */
const char *es_log_level_word(enum es_log_level level);
/* False when `word` is none of them. */
bool es_log_level_find(const char *word, enum es_log_level *out);

#endif

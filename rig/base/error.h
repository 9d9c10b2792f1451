/* One way to report errors.
 *
 * Every function that can fail returns enum es_status and takes a `struct es_error *err` as its last
 * argument (NULL allowed). Out-parameters are written only on ES_OK. The text is one sentence or two for
 * the person at the bench: what happened, and what to do. Safe from any thread; an es_error has one owner. */
#ifndef ES_BASE_ERROR_H
#define ES_BASE_ERROR_H

#include <stdbool.h>
#include <stddef.h>

#define ES_MUST_CHECK   __attribute__((warn_unused_result))
#define ES_PRINTF(f, a) __attribute__((format(printf, f, a)))

enum es_status {
    ES_OK = 0,
    ES_USAGE,     /* wrong use of a command or function */
    ES_BAD_INPUT, /* a file or message cannot be accepted */
    ES_RANGE,     /* a value outside its range, ceilings included */
    ES_NOT_FOUND, /* named thing does not exist */
    ES_NO_MEMORY, /* allocation failed */
    ES_IO,        /* a system call failed */
    ES_TIMEOUT,   /* no (complete) answer in time; the line may still deliver it */
    ES_HANGUP,    /* the other end or the device is gone */
    ES_REFUSED,   /* the other end answered and said no (Modbus exception, permission) */
    ES_GARBLED,   /* bytes arrived that are not an answer */
    ES_DISABLED,  /* switched off by configuration or state */
    ES_CANCELLED, /* stopped by a person */
    ES_INTERLOCK, /* the interlock acted; the bench is in, or on its way to, its safe state */
    ES_NOT_VALID, /* a signature, digest or proof does not hold */
    ES_INTERNAL,  /* an invariant does not hold: a fault of this program */
    ES_STATUS_COUNT
};

struct es_error {
    enum es_status status;
    char text[640];
};

/* Fixed short word for a status ("time-out", "hang-up"); never NULL. */
const char *es_status_word(enum es_status status);

/* Fills err (when not NULL) and returns `status`, so that a caller can `return es_fail(err, ...)`. */
enum es_status es_fail(struct es_error *err, enum es_status status, const char *format, ...) ES_PRINTF(3, 4);

/* As es_fail with ": " and the text of `errnum` appended. ENOMEM gives ES_NO_MEMORY, else ES_IO. */
enum es_status es_fail_errno(struct es_error *err, int errnum, const char *format, ...) ES_PRINTF(3, 4);

/* Puts "context: " before the text that is already there; returns err's status. err may be NULL: returns
 * `status` as given. */
enum es_status es_error_context(struct es_error *err, enum es_status status, const char *format, ...)
    ES_PRINTF(3, 4);

/* Empties err. */
void es_error_clear(struct es_error *err);

/* Exit status of a command for a status: 0 ES_OK; 1 ES_NOT_VALID; 2 wrong use or unacceptable file
 * (ES_USAGE, ES_BAD_INPUT, ES_RANGE, ES_NOT_FOUND); 3 not completed (all others). */
int es_exit_status(enum es_status status);

/* clang's analyser sees one file at a time and would follow paths on which es_fail returns ES_OK. */
#ifdef __clang_analyzer__
static inline enum es_status es_known_status(enum es_status returned, enum es_status known)
{
    (void)returned;
    return known;
}
#define es_fail(err, status, ...)       es_known_status((es_fail)(err, status, __VA_ARGS__), (status))
#define es_fail_errno(err, errnum, ...) es_known_status((es_fail_errno)(err, errnum, __VA_ARGS__), ES_IO)
#define es_error_context(err, status, ...)                                                                   \
    es_known_status((es_error_context)(err, status, __VA_ARGS__), (status))
#endif

#endif

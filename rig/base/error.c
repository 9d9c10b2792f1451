#include "rig/base/error.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const char *const status_words[ES_STATUS_COUNT] = {
    [ES_OK] = "done",
    [ES_USAGE] = "wrong use",
    [ES_BAD_INPUT] = "not acceptable",
    [ES_RANGE] = "out of range",
    [ES_NOT_FOUND] = "not found",
    [ES_NO_MEMORY] = "out of memory",
    [ES_IO] = "input or output failed",
    [ES_TIMEOUT] = "time-out",
    [ES_HANGUP] = "hang-up",
    [ES_REFUSED] = "refused",
    [ES_GARBLED] = "garbled",
    [ES_DISABLED] = "switched off",
    [ES_CANCELLED] = "cancelled",
    [ES_INTERLOCK] = "interlock",
    [ES_NOT_VALID] = "not valid",
    [ES_INTERNAL] = "internal fault",
};

const char *es_status_word(enum es_status status)
{
    if ((unsigned)status >= ES_STATUS_COUNT)
        return "unknown status";
    return status_words[status];
}

/* Cuts an over-long text at a character's boundary and marks the cut. `used` counts what was wanted. */
static void store(struct es_error *err, enum es_status status, const char *text, size_t used)
{
    static const char mark[] = "...";
    size_t keep = used;

    if (used >= sizeof err->text) {
        keep = sizeof err->text - sizeof mark;
        while (keep > 0 && ((unsigned char)text[keep] & 0xC0u) == 0x80u)
            keep--;
    }
    memmove(err->text, text, keep);
    if (keep != used)
        memcpy(err->text + keep, mark, sizeof mark);
    else
        err->text[keep] = '\0';
    err->status = status;
}

/* Formats into a buffer of its own first: an argument may point into err->text. */
#define ES_ERROR_ROOM (sizeof((struct es_error *)0)->text * 2)

static size_t formatted(char *out, size_t size, const char *format, va_list args) ES_PRINTF(3, 0);
static size_t formatted(char *out, size_t size, const char *format, va_list args)
{
    int n = vsnprintf(out, size, format, args);

    if (n < 0) { /* only for an encoding fault in the format's arguments */
        out[0] = '\0';
        return 0;
    }
    return (size_t)n < size ? (size_t)n : size - 1;
}

enum es_status(es_fail)(struct es_error *err, enum es_status status, const char *format, ...)
{
    char text[ES_ERROR_ROOM];
    va_list args;

    if (err == NULL)
        return status;
    va_start(args, format);
    size_t n = formatted(text, sizeof text, format, args);
    va_end(args);
    store(err, status, text, n);
    return status;
}

enum es_status(es_fail_errno)(struct es_error *err, int errnum, const char *format, ...)
{
    enum es_status status = errnum == ENOMEM ? ES_NO_MEMORY : ES_IO;
    char text[ES_ERROR_ROOM];
    char reason[128];
    va_list args;

    if (err == NULL)
        return status;
    va_start(args, format);
    (void)formatted(text, sizeof text, format, args);
    va_end(args);
    return es_fail(err, status, "%s: %s", text, strerror_r(errnum, reason, sizeof reason));
}

enum es_status(es_error_context)(struct es_error *err, enum es_status status, const char *format, ...)
{
    char text[ES_ERROR_ROOM];
    va_list args;

    if (err == NULL)
        return status;
    va_start(args, format);
    (void)formatted(text, sizeof text, format, args);
    va_end(args);
    return es_fail(err, err->status, "%s: %s", text, err->text);
}

void es_error_clear(struct es_error *err)
{
    if (err == NULL)
        return;
    err->status = ES_OK;
    err->text[0] = '\0';
}

int es_exit_status(enum es_status status)
{
    switch (status) {
    case ES_OK:
        return 0;
    case ES_NOT_VALID:
        return 1;
    case ES_USAGE:
    case ES_BAD_INPUT:
    case ES_RANGE:
    case ES_NOT_FOUND:
        return 2;
    default:
        return 3;
    }
}

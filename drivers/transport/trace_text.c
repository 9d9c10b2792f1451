#include "drivers/transport/trace_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

static size_t skip_blanks(const char *line, size_t length, size_t at)
{
    while (at < length && (line[at] == ' ' || line[at] == '\t' || line[at] == '\r'))
        at++;
    return at;
}

/* Digits, a point, digits. Own reading: strtod would take hexadecimal, names and the locale's comma. */
static bool read_time(const char *line, size_t length, size_t *at, double *out)
{
    double whole = 0, part = 0, unit = 1;
    size_t i = *at, start = i;
    for (; i < length && line[i] >= '0' && line[i] <= '9'; i++)
        whole = whole * 10 + (line[i] - '0');
    if (i == start || i - start > 12)
        return false;
    if (i < length && line[i] == '.') {
        size_t first = ++i;
        for (; i < length && line[i] >= '0' && line[i] <= '9'; i++) {
            unit /= 10;
            part += unit * (line[i] - '0');
        }
        if (i == first || i - first > 12)
            return false;
    }
    *at = i;
    *out = whole + part;
    return true;
}

static enum es_status read_bytes(const char *line, size_t length, size_t at, struct es_trace_event *e,
                                 struct es_error *err)
{
    while ((at = skip_blanks(line, length, at)) < length) {
        int high = hex_digit(line[at]);
        int low = at + 1 < length ? hex_digit(line[at + 1]) : -1;
        if (high < 0 || low < 0)
            return es_fail(err, ES_BAD_INPUT, "column %zu: expected a byte as two hexadecimal digits",
                           at + 1);
        if (e->count == ES_TRACE_BYTES)
            return es_fail(err, ES_BAD_INPUT, "column %zu: more than %d bytes in one event", at + 1,
                           ES_TRACE_BYTES);
        e->bytes[e->count++] = (uint8_t)(high * 16 + low);
        at += 2;
    }
    return ES_OK;
}

enum es_status es_trace_parse(const char *line, size_t length, struct es_trace_event *out,
                              struct es_error *err)
{
    struct es_trace_event e = {.kind = ES_TRACE_REMARK};
    size_t at = skip_blanks(line, length, 0);
    if (at == length || line[at] == '#') {
        *out = e;
        return ES_OK;
    }
    if (!read_time(line, length, &at, &e.time))
        return es_fail(err, ES_BAD_INPUT, "column %zu: expected a time in seconds, as 0.012345", at + 1);
    at = skip_blanks(line, length, at);
    char kind = at < length ? line[at] : '\0';
    switch (kind) {
    case '>':
        e.kind = ES_TRACE_WRITTEN;
        break;
    case '<':
        e.kind = ES_TRACE_READ;
        break;
    case '!':
        e.kind = ES_TRACE_HANGUP;
        break;
    case '+':
        e.kind = ES_TRACE_REOPENED;
        break;
    default:
        return es_fail(err, ES_BAD_INPUT,
                       "column %zu: expected > (written), < (read), ! (hang-up) or + (opened)", at + 1);
    }
    enum es_status status = read_bytes(line, length, at + 1, &e, err);
    if (status != ES_OK)
        return status;
    bool carries = e.kind == ES_TRACE_WRITTEN || e.kind == ES_TRACE_READ;
    if (carries != (e.count > 0))
        return es_fail(err, ES_BAD_INPUT, "column %zu: %s", at + 2,
                       carries ? "expected bytes" : "expected the end of the line");
    *out = e;
    return ES_OK;
}

size_t es_trace_format(enum es_trace_kind kind, double time, const uint8_t *bytes, size_t count, char *out,
                       size_t size)
{
    static const char marks[] = "#><!+";
    int n = snprintf(out, size, "%.6f %c", time, marks[kind]);
    size_t at = n < 0 ? 0 : (size_t)n;
    for (size_t i = 0; i < count && at + 5 <= size; i++, at += 3)
        snprintf(out + at, size - at, " %02x", bytes[i]);
    if (at + 2 <= size) {
        out[at++] = '\n';
        out[at] = '\0';
    }
    return at;
}

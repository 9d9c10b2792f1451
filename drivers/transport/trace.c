/* Byte trace: a layer that writes down what passes. It never changes or delays an outcome: when the file
 * cannot be written the bytes still pass, and the description says so. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/transport/trace_text.h"
#include "drivers/transport/transport.h"

struct trace {
    struct es_transport base;
    struct es_transport *inner;
    FILE *file;
    es_time start;
    int write_error; /* first errno of the file; 0 */
};

static void note(struct trace *trace, enum es_trace_kind kind, const uint8_t *bytes, size_t count)
{
    char line[3 * 256 + 40];
    double now = es_seconds(es_clock_now() - trace->start);
    do { /* long pieces take several lines */
        size_t piece = count < 256 ? count : 256;
        size_t length = es_trace_format(kind, now, bytes, piece, line, sizeof line);
        if (fwrite(line, 1, length, trace->file) != length || fflush(trace->file) != 0) {
            if (!trace->write_error)
                trace->write_error = errno;
            clearerr(trace->file);
        }
        bytes += piece;
        count -= piece;
    } while (count > 0);
}

static enum es_status noted(struct trace *trace, enum es_status status)
{
    if (status == ES_HANGUP)
        note(trace, ES_TRACE_HANGUP, (const uint8_t *)"", 0);
    return status;
}

static enum es_status trace_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                 size_t *got, struct es_error *err)
{
    struct trace *trace = (struct trace *)t;
    enum es_status status = es_transport_read(trace->inner, to, size, deadline, got, err);
    if (status == ES_OK)
        note(trace, ES_TRACE_READ, to, *got);
    return noted(trace, status);
}

static enum es_status trace_write(struct es_transport *t, const uint8_t *from, size_t count, es_time deadline,
                                  struct es_error *err)
{
    struct trace *trace = (struct trace *)t;
    note(trace, ES_TRACE_WRITTEN, from, count);
    return noted(trace, es_transport_write(trace->inner, from, count, deadline, err));
}

static enum es_status trace_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct trace *trace = (struct trace *)t;
    return es_transport_drain(trace->inner, deadline, err);
}

static enum es_status trace_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct trace *trace = (struct trace *)t;
    return es_transport_wait(trace->inner, deadline, err);
}

/* What is thrown away is read first, so that the trace shows it. */
static enum es_status trace_flush(struct es_transport *t, struct es_error *err)
{
    struct trace *trace = (struct trace *)t;
    uint8_t waste[256];
    size_t got;
    enum es_status status;
    do
        status = trace_read(t, waste, sizeof waste, es_clock_now(), &got, err);
    while (status == ES_OK);
    if (status != ES_TIMEOUT)
        return status;
    es_error_clear(err);
    return es_transport_flush(trace->inner, err);
}

static enum es_status trace_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct trace *trace = (struct trace *)t;
    enum es_status status = es_transport_reopen(trace->inner, deadline, err);
    if (status == ES_OK)
        note(trace, ES_TRACE_REOPENED, (const uint8_t *)"", 0);
    return status;
}

static int trace_descriptor(const struct es_transport *t)
{
    (void)t;
    return -1;
}

static void trace_describe(const struct es_transport *t, char *out, size_t size)
{
    const struct trace *trace = (const struct trace *)t;
    es_transport_describe(trace->inner, out, size);
    size_t used = strlen(out);
    if (trace->write_error)
        snprintf(out + used, size - used, ", byte trace incomplete (%s)", strerror(trace->write_error));
    else
        snprintf(out + used, size - used, ", byte trace on");
}

static void trace_close(struct es_transport *t)
{
    struct trace *trace = (struct trace *)t;
    es_transport_close(trace->inner);
    fclose(trace->file);
    free(trace);
}

static const struct es_transport_ops trace_ops = {
    .read = trace_read,
    .write = trace_write,
    .drain = trace_drain,
    .wait = trace_wait,
    .flush = trace_flush,
    .reopen = trace_reopen,
    .descriptor = trace_descriptor,
    .describe = trace_describe,
    .close = trace_close,
};

enum es_status es_trace_open(struct es_transport *inner, const char *path, struct es_transport **out,
                             struct es_error *err)
{
    enum es_status status;
    struct trace *trace = calloc(1, sizeof *trace);
    if (!trace) {
        status = es_fail(err, ES_NO_MEMORY, "out of memory opening the byte trace %s", path);
        goto close_inner;
    }
    trace->base.ops = &trace_ops;
    trace->inner = inner;
    trace->start = es_clock_now();
    trace->file = fopen(path, "ae");
    if (!trace->file) {
        status = es_fail_errno(err, errno, "the byte trace %s cannot be written", path);
        goto free_trace;
    }
    char name[256], wall[32];
    es_transport_describe(inner, name, sizeof name);
    es_clock_wall_text(wall);
    if (fprintf(trace->file, "# byte trace of %s, begun %s\n", name, wall) < 0)
        trace->write_error = errno;
    *out = &trace->base;
    return ES_OK;
free_trace:
    free(trace);
close_inner:
    es_transport_close(inner);
    return status;
}

#include "drivers/transport/transport.h"

enum es_status es_transport_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                 size_t *got, struct es_error *err)
{
    return t->ops->read(t, to, size, deadline, got, err);
}

enum es_status es_transport_write(struct es_transport *t, const uint8_t *from, size_t count, es_time deadline,
                                  struct es_error *err)
{
    return t->ops->write(t, from, count, deadline, err);
}

enum es_status es_transport_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    return t->ops->drain(t, deadline, err);
}

enum es_status es_transport_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    return t->ops->wait(t, deadline, err);
}

enum es_status es_transport_flush(struct es_transport *t, struct es_error *err)
{
    return t->ops->flush(t, err);
}

enum es_status es_transport_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    return t->ops->reopen(t, deadline, err);
}

int es_transport_descriptor(const struct es_transport *t)
{
    return t->ops->descriptor(t);
}

void es_transport_describe(const struct es_transport *t, char *out, size_t size)
{
    t->ops->describe(t, out, size);
}

void es_transport_close(struct es_transport *t)
{
    if (t)
        t->ops->close(t);
}

enum es_status es_transport_settle(struct es_transport *t, double quiet, es_time deadline, size_t *discarded,
                                   struct es_error *err)
{
    size_t dropped = 0;
    enum es_status status;
    for (;;) {
        uint8_t bytes[512];
        size_t got;
        status =
            es_transport_read(t, bytes, sizeof bytes, es_clock_now() + es_from_seconds(quiet), &got, err);
        if (status != ES_OK)
            break;
        dropped += got;
        if (es_clock_now() >= deadline) {
            status = es_fail(
                err, ES_GARBLED,
                "the line does not become quiet: %zu bytes came that nobody asked for. Look for a second "
                "master, a wrong baud rate or a loose shield",
                dropped);
            break;
        }
    }
    if (discarded)
        *discarded = dropped;
    if (status != ES_TIMEOUT)
        return status;
    es_error_clear(err);
    return es_transport_flush(t, err);
}

/* libmodbus builds and takes apart the frames, on the transport's own descriptor where it has one ("direct").
 * Where the bytes must pass through layers (byte trace, faults, replay) libmodbus works on one end of a
 * socket pair and this file carries the bytes between the other end and the transport ("fed"), on the same
 * thread.
 *
 * libmodbus's own connecting, recovery and debugging stay off. */
#include "drivers/modbus/wire.h"

#include <errno.h>
#include <modbus/modbus.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "drivers/transport/descriptor.h"

#define ADU_MAX       260 /* the larger of the two, TCP's */
#define TCP_HEADER    7
#define RTU_OVERHEAD  3                 /* unit and CRC */
#define REOPEN_WITHIN (5 * ES_NS_PER_S) /* connect time-outs are shorter and the transport's own */
#define SPIN          (60 * ES_NS_PER_S / 1000000)

struct es_modbus_wire {
    struct es_transport *transport;
    modbus_t *modbus;
    long baud; /* 0: TCP */
    double silence;
    int pair[2];        /* fed: libmodbus's end, our end; -1: direct */
    int descriptor;     /* that libmodbus uses now */
    bool broken;        /* TCP: out of step; any: hung up. Needs mending */
    uint16_t number;    /* TCP transaction */
    es_time last_byte;  /* RTU: end of the last traffic, for the silence */
    double set_timeout; /* what libmodbus has been told */
};

static bool is_tcp(const struct es_modbus_wire *w)
{
    return w->baud == 0;
}

static void use_descriptor(struct es_modbus_wire *w, int fd)
{
    w->descriptor = fd;
    (void)modbus_set_socket(w->modbus, fd); /* fails only without a context */
}

static enum es_status make_context(struct es_modbus_wire *w, struct es_error *err)
{
    /* Names and settings are never used: the context does not connect. */
    w->modbus = is_tcp(w) ? modbus_new_tcp("127.0.0.1", MODBUS_TCP_DEFAULT_PORT)
                          : modbus_new_rtu("line", (int)w->baud, 'N', 8, 1);
    if (!w->modbus)
        return es_fail_errno(err, errno, "libmodbus cannot be set up");
    use_descriptor(w, -1);
    /* 0: the answer as a whole must come within the response time-out. */
    if (modbus_set_byte_timeout(w->modbus, 0, 0) != 0 || modbus_set_debug(w->modbus, 0) != 0 ||
        modbus_set_error_recovery(w->modbus, MODBUS_ERROR_RECOVERY_NONE) != 0)
        return es_fail_errno(err, errno, "libmodbus cannot be set up");
    return ES_OK;
}

enum es_status es_modbus_wire_open(struct es_transport *transport, long baud, double silence,
                                   struct es_modbus_wire **out, struct es_error *err)
{
    struct es_modbus_wire *w = calloc(1, sizeof *w);
    if (!w) {
        es_transport_close(transport);
        return es_fail(err, ES_NO_MEMORY, "out of memory opening a Modbus line");
    }
    w->transport = transport;
    w->baud = baud;
    w->silence = baud == 0 ? 0 : silence > 0 ? silence : es_modbus_silence(baud);
    w->pair[0] = w->pair[1] = -1;
    w->set_timeout = -1;
    enum es_status status = make_context(w, err);
    if (status != ES_OK)
        goto close_wire;
    int fd = es_transport_descriptor(transport);
    if (fd < 0) {
        if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0, w->pair) < 0) {
            status = es_fail_errno(err, errno, "making a socket pair");
            goto close_wire;
        }
        fd = w->pair[0];
        status = es_descriptor_selectable(fd, "socket pair", err);
        if (status != ES_OK)
            goto close_wire;
    }
    use_descriptor(w, fd);
    *out = w;
    return ES_OK;
close_wire:
    es_modbus_wire_close(w);
    return status;
}

void es_modbus_wire_close(struct es_modbus_wire *w)
{
    if (!w)
        return;
    if (w->modbus) {
        (void)modbus_set_socket(w->modbus, -1); /* the descriptor is the transport's */
        modbus_free(w->modbus);
    }
    for (int i = 0; i < 2; i++)
        if (w->pair[i] >= 0)
            close(w->pair[i]);
    es_transport_close(w->transport);
    free(w);
}

/* Waits out the silence before a request. The kernel wakes sleepers some 60 us late; at high baud rates that
 * is a share of the line that counts, so the rest is spun. */
static void keep_silence(const struct es_modbus_wire *w)
{
    es_time until = w->last_byte + es_from_seconds(w->silence);
    es_time now = es_clock_now();
    if (until - now > SPIN)
        es_clock_sleep_until(until - SPIN);
    while (es_clock_now() < until)
        ;
}

/* Nothing may be waiting when a request starts: it would be taken for the answer. TCP answers are numbered.
 */
static enum es_status check_nothing_waits(struct es_modbus_wire *w, struct es_error *err)
{
    uint8_t waste[64];
    size_t got;
    enum es_status status = es_transport_read(w->transport, waste, sizeof waste, es_clock_now(), &got, err);
    if (status == ES_TIMEOUT) {
        es_error_clear(err);
        return ES_OK;
    }
    if (status == ES_OK)
        return es_fail(err, ES_GARBLED, "bytes came that nobody asked for");
    return status;
}

static enum es_status fail_send(struct es_modbus_wire *w, struct es_error *err)
{
    return es_descriptor_fail(errno, is_tcp(w) ? "the connection" : "the line", "sending the request", err);
}

/* libmodbus before 3.1.7 cannot number a raw TCP request (it leaves the number at 0, and numbers are what
 * tells a late answer), so the seven bytes of the header (MBAP, Messaging on TCP/IP V1.0b, 3.1.3) are put
 * here. */
static size_t frame_tcp(struct es_modbus_wire *w, const struct es_modbus_exchange *x,
                        uint8_t adu[static ADU_MAX])
{
    w->number++;
    adu[0] = (uint8_t)(w->number >> 8);
    adu[1] = (uint8_t)w->number;
    adu[2] = adu[3] = 0;
    adu[4] = (uint8_t)((x->request_count + 1) >> 8);
    adu[5] = (uint8_t)(x->request_count + 1);
    adu[6] = x->unit;
    memcpy(adu + TCP_HEADER, x->request, x->request_count);
    return TCP_HEADER + x->request_count;
}

static enum es_status send_request(struct es_modbus_wire *w, struct es_modbus_exchange *x,
                                   struct es_error *err)
{
    es_time deadline = es_clock_now() + es_from_seconds(x->timeout + 1);
    uint8_t adu[ADU_MAX];
    if (is_tcp(w)) {
        size_t n = frame_tcp(w, x, adu);
        x->begun = es_clock_now();
        return es_transport_write(w->transport, adu, n, deadline, err);
    }
    uint8_t raw[1 + ES_MODBUS_PDU_MAX];
    raw[0] = x->unit;
    memcpy(raw + 1, x->request, x->request_count);
    x->begun = es_clock_now();
    int n = modbus_send_raw_request(w->modbus, raw, (int)x->request_count + 1);
    if (n < 0)
        return fail_send(w, err);
    if (w->pair[1] < 0)
        return ES_OK;
    ssize_t got = read(w->pair[1], adu, sizeof adu);
    if (got != n)
        return es_fail(err, ES_INTERNAL, "a request of %d bytes came out of libmodbus as %zd", n, got);
    x->begun = es_clock_now();
    return es_transport_write(w->transport, adu, (size_t)got, deadline, err);
}

static void tell_timeout(struct es_modbus_wire *w, double seconds)
{
    if (w->set_timeout == seconds)
        return;
    uint32_t whole = (uint32_t)seconds;
    uint32_t micro = (uint32_t)((seconds - whole) * 1e6);
    if (whole == 0 && micro == 0)
        micro = 1;                                              /* libmodbus refuses 0 */
    (void)modbus_set_response_timeout(w->modbus, whole, micro); /* fails only for values out of range */
    w->set_timeout = seconds;
}

/* What libmodbus says of a frame that it did not take. */
static enum es_status fail_receive(struct es_modbus_wire *w, int error, struct es_error *err)
{
    switch (error) {
    case ETIMEDOUT:
        return es_fail(err, ES_TIMEOUT, "no whole answer in time");
    case EMBBADCRC:
        return es_fail(err, ES_GARBLED, "the answer's check sum is wrong");
    case EMBBADDATA:
        return es_fail(err, ES_GARBLED, "the answer is longer than a frame can be");
    case EBADF:
        return es_fail(err, ES_HANGUP, "the line is gone");
    default:
        if (error > MODBUS_ENOBASE)
            return es_fail(err, ES_GARBLED, "the answer is no Modbus frame (%s)", modbus_strerror(error));
        return es_descriptor_fail(error, is_tcp(w) ? "the connection" : "the line", "waiting for the answer",
                                  err);
    }
}

static enum es_status receive_direct(struct es_modbus_wire *w, double timeout, uint8_t *adu, int *count,
                                     struct es_error *err)
{
    tell_timeout(w, timeout);
    int n = modbus_receive_confirmation(w->modbus, adu);
    if (n >= 0) {
        *count = n;
        return ES_OK;
    }
    int error = errno;
    /* A driver that does not wake its readers lets a hang-up look like silence. */
    if (error == ETIMEDOUT && es_transport_wait(w->transport, es_clock_now(), NULL) == ES_HANGUP)
        return es_fail(err, ES_HANGUP, "the line is gone");
    return fail_receive(w, error, err);
}

/* Gives libmodbus all that has come so far, again and again, until it says that this is a frame. */
static enum es_status receive_fed(struct es_modbus_wire *w, es_time deadline, uint8_t *adu, int *count,
                                  struct es_error *err)
{
    uint8_t bytes[2 * ADU_MAX], waste[2 * ADU_MAX];
    size_t have = 0;
    tell_timeout(w, 0);
    for (;;) {
        size_t got;
        enum es_status status =
            es_transport_read(w->transport, bytes + have, sizeof bytes - have, deadline, &got, err);
        if (status == ES_TIMEOUT)
            return es_fail(err, ES_TIMEOUT,
                           have ? "the answer broke off after %zu bytes" : "no answer in time", have);
        if (status != ES_OK)
            return status;
        have += got;
        if (write(w->pair[1], bytes, have) != (ssize_t)have)
            return es_fail_errno(err, errno, "carrying bytes to libmodbus");
        int n = modbus_receive_confirmation(w->modbus, adu);
        int error = errno;
        /* What it did not take: none, or, when the frame is not whole yet, the rest of this try. */
        ssize_t left = recv(w->pair[0], waste, sizeof waste, MSG_DONTWAIT);
        if (n >= 0 && left > 0)
            return es_fail(err, ES_GARBLED, "%zd bytes too many came with the answer", left);
        if (n >= 0) {
            *count = n;
            return ES_OK;
        }
        if (error != ETIMEDOUT)
            return fail_receive(w, error, err);
        if (have == sizeof bytes)
            return es_fail(err, ES_GARBLED, "the answer is longer than a frame can be");
    }
}

/* From the frame that libmodbus accepted to a PDU that answers this request of this unit. */
static enum es_status take_apart(struct es_modbus_wire *w, const uint8_t *adu, size_t count,
                                 struct es_modbus_exchange *x, struct es_error *err)
{
    const uint8_t *pdu = adu + 1;
    size_t length = count - RTU_OVERHEAD;
    unsigned unit = adu[0];
    if (is_tcp(w)) {
        if (count < TCP_HEADER + 2)
            return es_fail(err, ES_GARBLED, "the answer is too short");
        if (((unsigned)adu[0] << 8 | adu[1]) != w->number)
            return es_fail(err, ES_GARBLED, "an answer to an earlier request came");
        if (((size_t)adu[4] << 8 | adu[5]) != count - 6 || adu[2] || adu[3])
            return es_fail(err, ES_GARBLED, "the answer's header does not fit its bytes");
        unit = adu[6];
        pdu = adu + TCP_HEADER;
        length = count - TCP_HEADER;
    }
    if (unit != x->unit)
        return es_fail(err, ES_GARBLED, "unit %u answered, unit %u was asked", unit, x->unit);
    if (!is_tcp(w) && count < RTU_OVERHEAD + 2)
        return es_fail(err, ES_GARBLED, "the answer is too short");
    if (length > sizeof x->answer)
        return es_fail(err, ES_GARBLED, "the answer is longer than a frame can be");
    memcpy(x->answer, pdu, length);
    x->answer_count = length;
    return es_modbus_check_answer(x->request, x->request_count, pdu, length, err);
}

static enum es_status receive_answer(struct es_modbus_wire *w, struct es_modbus_exchange *x,
                                     struct es_error *err)
{
    double timeout = x->timeout;
    if (!is_tcp(w)) {
        size_t length = es_modbus_answer_length(x->request, x->request_count);
        timeout += es_modbus_wire_time(w->baud,
                                       x->request_count + (length ? length : 64) + (size_t)2 * RTU_OVERHEAD);
    }
    uint8_t adu[ADU_MAX] = {0};
    int count = 0;
    enum es_status status = w->pair[1] < 0
                                ? receive_direct(w, timeout, adu, &count, err)
                                : receive_fed(w, x->begun + es_from_seconds(timeout), adu, &count, err);
    x->ended = es_clock_now();
    if (status != ES_OK)
        return status;
    if (count == 0) /* libmodbus: a frame of another unit, its check sum not looked at */
        return es_fail(err, ES_GARBLED, "unit %u answered, unit %u was asked", adu[0], x->unit);
    return take_apart(w, adu, (size_t)count, x, err);
}

enum es_status es_modbus_wire_exchange(struct es_modbus_wire *w, struct es_modbus_exchange *x,
                                       struct es_error *err)
{
    if (w->broken)
        return es_fail(err, ES_HANGUP, "the line is not open");
    if (modbus_set_slave(w->modbus, x->unit) != 0)
        return es_fail(err, ES_USAGE, "%u is no unit id that can be asked", x->unit);
    enum es_status status = ES_OK;
    if (!is_tcp(w)) {
        keep_silence(w);
        status = check_nothing_waits(w, err);
    }
    if (status == ES_OK)
        status = send_request(w, x, err);
    if (status == ES_OK)
        status = receive_answer(w, x, err);
    w->last_byte = es_clock_now();
    if (status == ES_HANGUP || (is_tcp(w) && status != ES_OK && status != ES_REFUSED))
        w->broken = true;
    return status;
}

enum es_status es_modbus_wire_mend(struct es_modbus_wire *w, struct es_error *err)
{
    if (!w->broken)
        return ES_OK;
    enum es_status status = es_transport_reopen(w->transport, es_clock_now() + REOPEN_WITHIN, err);
    if (w->pair[1] < 0)
        use_descriptor(w, es_transport_descriptor(w->transport));
    if (status == ES_OK)
        w->broken = false;
    return status;
}

enum es_status es_modbus_wire_settle(struct es_modbus_wire *w, double quiet, struct es_error *err)
{
    enum es_status status = es_modbus_wire_mend(w, err);
    if (status != ES_OK)
        return status;
    if (quiet < w->silence)
        quiet = w->silence;
    es_time deadline = es_clock_now() + es_from_seconds(10 * quiet + 1);
    status = es_transport_settle(w->transport, quiet, deadline, NULL, err);
    if (status == ES_HANGUP)
        w->broken = true;
    w->last_byte = es_clock_now();
    return status;
}

void es_modbus_wire_describe(const struct es_modbus_wire *w, char *out, size_t size)
{
    es_transport_describe(w->transport, out, size);
}

double es_modbus_wire_silence(const struct es_modbus_wire *w)
{
    return w->silence;
}

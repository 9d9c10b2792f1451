#include "drivers/transport/descriptor.h"

#include <errno.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/select.h>
#include <time.h>
#include <unistd.h>

bool es_errno_is_hangup(int errnum)
{
    switch (errnum) {
    case EIO: /* a tty whose device went, a pseudo-terminal whose other end closed */
    case ENXIO:
    case ENODEV:
    case EPIPE:
    case ECONNRESET:
    case ECONNABORTED:
    case ENOTCONN:
    case ETIMEDOUT: /* keep-alive or retransmission gave up: nobody is there */
    case EHOSTUNREACH:
    case ENETUNREACH:
    case ENETDOWN:
        return true;
    default:
        return false;
    }
}

enum es_status es_descriptor_fail(int errnum, const char *what, const char *doing, struct es_error *err)
{
    if (es_errno_is_hangup(errnum))
        return es_fail(err, ES_HANGUP, "%s is gone (%s)", what, doing);
    return es_fail_errno(err, errnum, "%s: %s", what, doing);
}

enum es_status es_descriptor_wait(int fd, bool to_write, es_time deadline, const char *what,
                                  struct es_error *err)
{
    if (fd < 0)
        return es_fail(err, ES_HANGUP, "%s is gone", what);
    struct pollfd p = {.fd = fd, .events = to_write ? POLLOUT : POLLIN};
    for (;;) {
        es_time left = deadline - es_clock_now();
        if (left < 0)
            left = 0;
        struct timespec t = {.tv_sec = left / ES_NS_PER_S, .tv_nsec = left % ES_NS_PER_S};
        int n = ppoll(&p, 1, &t, NULL);
        if (n > 0)
            break;
        if (n == 0 && es_clock_now() >= deadline)
            return es_fail(err, ES_TIMEOUT, "%s: nothing came in time", what);
        if (n < 0 && errno != EINTR)
            return es_fail_errno(err, errno, "%s: waiting", what);
    }
    /* Bytes that arrived before the hang-up are still to be read. */
    if (p.revents & (to_write ? POLLOUT : POLLIN))
        return ES_OK;
    return es_fail(err, ES_HANGUP, "%s is gone", what);
}

enum es_status es_descriptor_read(int fd, uint8_t *to, size_t size, es_time deadline, size_t *got,
                                  const char *what, struct es_error *err)
{
    for (;;) {
        enum es_status status = es_descriptor_wait(fd, false, deadline, what, err);
        if (status != ES_OK)
            return status;
        ssize_t n = read(fd, to, size);
        if (n > 0) {
            *got = (size_t)n;
            return ES_OK;
        }
        if (n == 0)
            return es_fail(err, ES_HANGUP, "%s has been closed by the other end", what);
        if (errno != EINTR && errno != EAGAIN)
            return es_descriptor_fail(errno, what, "reading", err);
    }
}

enum es_status es_descriptor_write(int fd, const uint8_t *from, size_t count, es_time deadline,
                                   const char *what, struct es_error *err)
{
    while (count > 0) {
        enum es_status status = es_descriptor_wait(fd, true, deadline, what, err);
        if (status != ES_OK)
            return status == ES_TIMEOUT ? es_fail(err, ES_TIMEOUT, "%s does not take bytes", what) : status;
        ssize_t n = write(fd, from, count);
        if (n >= 0) {
            from += n;
            count -= (size_t)n;
        } else if (errno != EINTR && errno != EAGAIN) {
            return es_descriptor_fail(errno, what, "writing", err);
        }
    }
    return ES_OK;
}

enum es_status es_descriptor_drain(int fd, unsigned long request, es_time deadline, const char *what,
                                   struct es_error *err)
{
    if (fd < 0)
        return es_fail(err, ES_HANGUP, "%s is gone", what);
    for (;;) {
        int queued = 0;
        if (ioctl(fd, request, &queued) < 0)
            return es_descriptor_fail(errno, what, "asking for unsent bytes", err);
        if (queued == 0)
            return ES_OK;
        es_time now = es_clock_now();
        if (now >= deadline)
            return es_fail(err, ES_TIMEOUT, "%s: %d bytes could not be sent", what, queued);
        es_clock_sleep_until(now + es_from_seconds(0.0005));
    }
}

enum es_status es_descriptor_selectable(int fd, const char *what, struct es_error *err)
{
    if (fd < FD_SETSIZE)
        return ES_OK;
    return es_fail(err, ES_IO, "%s: too many files are open in this process (descriptor %d, at most %d)",
                   what, fd, FD_SETSIZE - 1);
}

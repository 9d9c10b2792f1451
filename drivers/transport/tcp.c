/* TCP connections. */
#include <errno.h>
#include <linux/sockios.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include "drivers/transport/descriptor.h"

struct tcp {
    struct es_transport base;
    int fd; /* -1: lost */
    int port;
    double timeout;
    char host[256];
    char name[300]; /* "host:port" */
};

/* A silent other end is found after 3 s + 3 probes * 2 s, and unacknowledged data after 9 s. */
static void set_options(int fd)
{
    const struct {
        int level, name, value;
    } options[] = {
        {IPPROTO_TCP, TCP_NODELAY, 1},   {SOL_SOCKET, SO_KEEPALIVE, 1}, {IPPROTO_TCP, TCP_KEEPIDLE, 3},
        {IPPROTO_TCP, TCP_KEEPINTVL, 2}, {IPPROTO_TCP, TCP_KEEPCNT, 3}, {IPPROTO_TCP, TCP_USER_TIMEOUT, 9000},
    };
    /* Each only improves matters: a system without one of them still works. */
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++)
        (void)setsockopt(fd, options[i].level, options[i].name, &options[i].value, sizeof options[i].value);
}

/* Connects one address; the socket is non-blocking for good. */
static enum es_status connect_one(const struct addrinfo *a, const char *name, es_time deadline, int *out,
                                  struct es_error *err)
{
    enum es_status status;
    int fd = socket(a->ai_family, a->ai_socktype | SOCK_NONBLOCK | SOCK_CLOEXEC, a->ai_protocol);
    if (fd < 0)
        return es_fail_errno(err, errno, "%s: making a socket", name);
    status = es_descriptor_selectable(fd, name, err);
    if (status != ES_OK)
        goto close_fd;
    if (connect(fd, a->ai_addr, a->ai_addrlen) < 0) {
        if (errno != EINPROGRESS) {
            status = es_fail_errno(err, errno, "%s cannot be reached", name);
            goto close_fd;
        }
        status = es_descriptor_wait(fd, true, deadline, name, err);
        if (status == ES_TIMEOUT)
            status = es_fail(err, ES_TIMEOUT, "%s does not answer the connection", name);
        if (status == ES_TIMEOUT)
            goto close_fd;
        int error = 0;
        socklen_t size = sizeof error;
        if (getsockopt(fd, SOL_SOCKET, SO_ERROR, &error, &size) < 0)
            error = errno;
        if (error) {
            status = es_fail_errno(err, error, "%s cannot be reached", name);
            goto close_fd;
        }
        if (status != ES_OK)
            goto close_fd;
    }
    set_options(fd);
    *out = fd;
    return ES_OK;
close_fd:
    close(fd);
    return status;
}

static enum es_status connect_any(const char *host, int port, const char *name, es_time deadline, int *out,
                                  struct es_error *err)
{
    char service[16];
    snprintf(service, sizeof service, "%d", port);
    struct addrinfo hints = {.ai_family = AF_UNSPEC, .ai_socktype = SOCK_STREAM}, *list = NULL;
    int rc = getaddrinfo(host, service, &hints, &list);
    if (rc != 0)
        return es_fail(err, ES_HANGUP, "%s: the name of the host cannot be resolved: %s", name,
                       gai_strerror(rc));
    enum es_status status = ES_INTERNAL;
    for (const struct addrinfo *a = list; a; a = a->ai_next) {
        status = connect_one(a, name, deadline, out, err);
        if (status == ES_OK)
            break;
    }
    freeaddrinfo(list);
    if (status == ES_OK)
        es_error_clear(err);
    return status;
}

static enum es_status tcp_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                               size_t *got, struct es_error *err)
{
    struct tcp *tcp = (struct tcp *)t;
    return es_descriptor_read(tcp->fd, to, size, deadline, got, tcp->name, err);
}

static enum es_status tcp_write(struct es_transport *t, const uint8_t *from, size_t count, es_time deadline,
                                struct es_error *err)
{
    struct tcp *tcp = (struct tcp *)t;
    if (tcp->fd < 0)
        return es_fail(err, ES_HANGUP, "%s is not connected", tcp->name);
    while (count > 0) {
        ssize_t n = send(tcp->fd, from, count, MSG_NOSIGNAL); /* mostly takes it all without a wait */
        if (n >= 0) {
            from += n;
            count -= (size_t)n;
            continue;
        }
        if (errno == EINTR)
            continue;
        if (errno != EAGAIN)
            return es_descriptor_fail(errno, tcp->name, "writing", err);
        enum es_status status = es_descriptor_wait(tcp->fd, true, deadline, tcp->name, err);
        if (status != ES_OK)
            return status;
    }
    return ES_OK;
}

static enum es_status tcp_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct tcp *tcp = (struct tcp *)t;
    return es_descriptor_drain(tcp->fd, SIOCOUTQNSD, deadline, tcp->name, err);
}

static enum es_status tcp_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct tcp *tcp = (struct tcp *)t;
    return es_descriptor_wait(tcp->fd, false, deadline, tcp->name, err);
}

static enum es_status tcp_flush(struct es_transport *t, struct es_error *err)
{
    struct tcp *tcp = (struct tcp *)t;
    uint8_t waste[512];
    for (;;) {
        ssize_t n = recv(tcp->fd, waste, sizeof waste, MSG_DONTWAIT);
        if (n == 0)
            return es_fail(err, ES_HANGUP, "%s has been closed by the other end", tcp->name);
        if (n < 0 && errno == EAGAIN)
            return ES_OK;
        if (n < 0 && errno != EINTR)
            return es_descriptor_fail(errno, tcp->name, "emptying", err);
    }
}

static enum es_status tcp_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct tcp *tcp = (struct tcp *)t;
    /* The old connection goes first: instruments often serve only one. */
    if (tcp->fd >= 0)
        close(tcp->fd);
    tcp->fd = -1;
    es_time own = es_clock_now() + es_from_seconds(tcp->timeout);
    enum es_status status =
        connect_any(tcp->host, tcp->port, tcp->name, own < deadline ? own : deadline, &tcp->fd, err);
    if (status == ES_TIMEOUT || status == ES_IO) { /* for the caller it is still gone */
        if (err)
            err->status = ES_HANGUP;
        status = ES_HANGUP;
    }
    return status;
}

static int tcp_descriptor(const struct es_transport *t)
{
    return ((const struct tcp *)t)->fd;
}

static void tcp_describe(const struct es_transport *t, char *out, size_t size)
{
    const struct tcp *tcp = (const struct tcp *)t;
    snprintf(out, size, "%s%s", tcp->name, tcp->fd < 0 ? ", not connected" : "");
}

static void tcp_close(struct es_transport *t)
{
    struct tcp *tcp = (struct tcp *)t;
    if (tcp->fd >= 0)
        close(tcp->fd);
    free(tcp);
}

static const struct es_transport_ops tcp_ops = {
    .read = tcp_read,
    .write = tcp_write,
    .drain = tcp_drain,
    .wait = tcp_wait,
    .flush = tcp_flush,
    .reopen = tcp_reopen,
    .descriptor = tcp_descriptor,
    .describe = tcp_describe,
    .close = tcp_close,
};

enum es_status es_tcp_open(const char *host, int port, double timeout, struct es_transport **out,
                           struct es_error *err)
{
    struct tcp *tcp = calloc(1, sizeof *tcp);
    if (!tcp)
        return es_fail(err, ES_NO_MEMORY, "out of memory opening %s", host);
    tcp->base.ops = &tcp_ops;
    tcp->port = port;
    tcp->timeout = timeout;
    snprintf(tcp->name, sizeof tcp->name, strchr(host, ':') ? "[%s]:%d" : "%s:%d", host, port);
    enum es_status status;
    if (strlen(host) >= sizeof tcp->host) {
        status = es_fail(err, ES_RANGE, "the host name is longer than %zu characters", sizeof tcp->host - 1);
        goto free_tcp;
    }
    memcpy(tcp->host, host, strlen(host) + 1);
    status = connect_any(host, port, tcp->name, es_clock_now() + es_from_seconds(timeout), &tcp->fd, err);
    if (status != ES_OK)
        goto free_tcp;
    *out = &tcp->base;
    return ES_OK;
free_tcp:
    free(tcp);
    return status;
}

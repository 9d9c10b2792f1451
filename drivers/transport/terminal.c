#include "drivers/transport/terminal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include "drivers/transport/descriptor.h"

struct terminal {
    struct es_transport base;
    int fd; /* -1: lost */
    char path[];
};

static enum es_status open_raw(const char *path, int *out, struct es_error *err)
{
    int fd = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (fd < 0 && (errno == ENOENT || es_errno_is_hangup(errno)))
        return es_fail(err, ES_HANGUP, "%s is not there", path);
    if (fd < 0)
        return es_fail_errno(err, errno, "%s cannot be opened", path);
    enum es_status status = es_descriptor_selectable(fd, path, err);
    if (status != ES_OK)
        goto close_fd;
    struct termios t;
    if (tcgetattr(fd, &t) < 0) {
        status = es_descriptor_fail(errno, path, "asking for its settings", err);
        goto close_fd;
    }
    cfmakeraw(&t);
    t.c_cflag |= CLOCAL | CREAD;
    t.c_cc[VMIN] = 1;
    t.c_cc[VTIME] = 0;
    if (tcsetattr(fd, TCSANOW, &t) < 0) {
        status = es_descriptor_fail(errno, path, "setting it", err);
        goto close_fd;
    }
    *out = fd;
    return ES_OK;
close_fd:
    close(fd);
    return status;
}

static enum es_status terminal_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                    size_t *got, struct es_error *err)
{
    struct terminal *terminal = (struct terminal *)t;
    return es_descriptor_read(terminal->fd, to, size, deadline, got, terminal->path, err);
}

static enum es_status terminal_write(struct es_transport *t, const uint8_t *from, size_t count,
                                     es_time deadline, struct es_error *err)
{
    struct terminal *terminal = (struct terminal *)t;
    return es_descriptor_write(terminal->fd, from, count, deadline, terminal->path, err);
}

static enum es_status terminal_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct terminal *terminal = (struct terminal *)t;
    return es_descriptor_drain(terminal->fd, TIOCOUTQ, deadline, terminal->path, err);
}

static enum es_status terminal_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct terminal *terminal = (struct terminal *)t;
    return es_descriptor_wait(terminal->fd, false, deadline, terminal->path, err);
}

static enum es_status terminal_flush(struct es_transport *t, struct es_error *err)
{
    struct terminal *terminal = (struct terminal *)t;
    if (terminal->fd < 0)
        return es_fail(err, ES_HANGUP, "%s is gone", terminal->path);
    if (tcflush(terminal->fd, TCIFLUSH) < 0)
        return es_descriptor_fail(errno, terminal->path, "emptying", err);
    return ES_OK;
}

static enum es_status terminal_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct terminal *terminal = (struct terminal *)t;
    (void)deadline; /* opening a pseudo-terminal does not wait */
    if (terminal->fd >= 0)
        close(terminal->fd);
    terminal->fd = -1;
    return open_raw(terminal->path, &terminal->fd, err);
}

static int terminal_descriptor(const struct es_transport *t)
{
    return ((const struct terminal *)t)->fd;
}

static void terminal_describe(const struct es_transport *t, char *out, size_t size)
{
    const struct terminal *terminal = (const struct terminal *)t;
    snprintf(out, size, "%s, pseudo-terminal%s", terminal->path, terminal->fd < 0 ? ", gone" : "");
}

static void terminal_close(struct es_transport *t)
{
    struct terminal *terminal = (struct terminal *)t;
    if (terminal->fd >= 0)
        close(terminal->fd);
    free(terminal);
}

static const struct es_transport_ops terminal_ops = {
    .read = terminal_read,
    .write = terminal_write,
    .drain = terminal_drain,
    .wait = terminal_wait,
    .flush = terminal_flush,
    .reopen = terminal_reopen,
    .descriptor = terminal_descriptor,
    .describe = terminal_describe,
    .close = terminal_close,
};

enum es_status es_terminal_open(const char *path, struct es_transport **out, struct es_error *err)
{
    size_t length = strlen(path) + 1;
    struct terminal *terminal = malloc(sizeof *terminal + length);
    if (!terminal)
        return es_fail(err, ES_NO_MEMORY, "out of memory opening %s", path);
    terminal->base.ops = &terminal_ops;
    memcpy(terminal->path, path, length);
    enum es_status status = open_raw(path, &terminal->fd, err);
    if (status != ES_OK) {
        free(terminal);
        return status;
    }
    *out = &terminal->base;
    return ES_OK;
}

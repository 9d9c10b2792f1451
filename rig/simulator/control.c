/* Where commands come from: standard input, connections of a local socket, and a list of those for later. */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "rig/base/text.h"
#include "rig/simulator/simulator.h"

#define CLIENTS   8
#define LINE_SIZE 512
#define LATER     32

struct client {
    int in, out; /* -1: free */
    size_t have;
    char line[LINE_SIZE];
};

struct later {
    es_time due; /* 0: free */
    char line[LINE_SIZE];
};

struct sim_control {
    struct simulator *sim;
    int listener;
    char *path;
    struct client clients[CLIENTS]; /* [0]: standard input and output */
    struct later later[LATER];
};

static enum es_status set_nonblocking(int fd, struct es_error *err)
{
    const int flags = fcntl(fd, F_GETFL);
    if (flags < 0 || fcntl(fd, F_SETFL, flags | O_NONBLOCK) < 0) {
        return es_fail_errno(err, errno, "cannot set up a descriptor");
    }
    return ES_OK;
}

/* A socket that a killed simulator left behind is taken over; one that answers is not. */
static enum es_status clear_path(const char *path, const struct sockaddr_un *name, struct es_error *err)
{
    struct stat about;
    if (lstat(path, &about) != 0) {
        return errno == ENOENT ? ES_OK : es_fail_errno(err, errno, "cannot look at %s", path);
    }
    if (!S_ISSOCK(about.st_mode)) {
        return es_fail(err, ES_REFUSED, "%s exists and is not a socket; it is not touched", path);
    }
    const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd < 0) {
        return es_fail_errno(err, errno, "cannot make a socket");
    }
    const bool answers = connect(fd, (const struct sockaddr *)name, sizeof *name) == 0;
    (void)close(fd);
    if (answers) {
        return es_fail(err, ES_REFUSED, "somebody already listens at %s", path);
    }
    return unlink(path) == 0 ? ES_OK : es_fail_errno(err, errno, "cannot remove the old socket %s", path);
}

static enum es_status listen_at(struct sim_control *c, const char *path, struct es_error *err)
{
    struct sockaddr_un name = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof name.sun_path) {
        return es_fail(err, ES_USAGE, "the path of the control socket is too long: %s", path);
    }
    memcpy(name.sun_path, path, strlen(path) + 1);
    enum es_status s = clear_path(path, &name, err);
    if (s != ES_OK) {
        return s;
    }
    c->listener = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    const mode_t old = umask(0177); /* for the owner only */
    const int bound = c->listener < 0 ? -1 : bind(c->listener, (struct sockaddr *)&name, sizeof name);
    const int error = errno;
    (void)umask(old);
    if (bound != 0 || listen(c->listener, CLIENTS) != 0) {
        return es_fail_errno(err, bound != 0 ? error : errno, "cannot listen at %s", path);
    }
    c->path = strdup(path);
    return c->path ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory");
}

enum es_status sim_control_open(struct simulator *sim, const char *path, struct sim_control **out,
                                struct es_error *err)
{
    struct sim_control *c = calloc(1, sizeof *c);
    if (!c) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the control");
    }
    c->sim = sim;
    c->listener = -1;
    for (int i = 0; i < CLIENTS; i++) {
        c->clients[i].in = c->clients[i].out = -1;
    }
    c->clients[0].in = STDIN_FILENO;
    c->clients[0].out = STDOUT_FILENO;
    const enum es_status s = path ? listen_at(c, path, err) : ES_OK;
    if (s != ES_OK) {
        sim_control_close(c);
        return s;
    }
    *out = c;
    return ES_OK;
}

static void hang_up(struct sim_control *c, int index)
{
    struct client *client = &c->clients[index];
    if (index > 0 && client->in >= 0) {
        (void)close(client->in);
    }
    client->in = client->out = -1;
    client->have = 0;
}

void sim_control_close(struct sim_control *c)
{
    if (!c) {
        return;
    }
    for (int i = 0; i < CLIENTS; i++) {
        hang_up(c, i);
    }
    if (c->listener >= 0) {
        (void)close(c->listener);
    }
    if (c->path) {
        (void)unlink(c->path);
        free(c->path);
    }
    free(c);
}

static enum es_status keep_for_later(struct sim_control *c, const char *rest, struct es_error *err)
{
    char *end;
    const double seconds = strtod(rest, &end);
    end += strspn(end, " \t");
    if (end == rest || !(seconds >= 0 && seconds <= 1e6) || !*end) {
        return es_fail(err, ES_USAGE, "\"after SECONDS COMMAND\"");
    }
    for (int i = 0; i < LATER; i++) {
        if (c->later[i].due == 0) {
            c->later[i].due = es_clock_now() + es_from_seconds(seconds);
            snprintf(c->later[i].line, sizeof c->later[i].line, "%s", end);
            return ES_OK;
        }
    }
    return es_fail(err, ES_RANGE, "at most %d commands can wait", LATER);
}

enum es_status sim_control_line(struct sim_control *c, const char *line, struct es_text *answer,
                                struct es_error *err)
{
    line += strspn(line, " \t");
    if (strncmp(line, "after ", 6) == 0) {
        return keep_for_later(c, line + 6, err);
    }
    return sim_command(c->sim, line, answer, err);
}

/* Every command is answered: what it shows, then "ok" or "error: ..." on a line of its own. */
static void do_line(struct sim_control *c, const struct client *client, const char *line)
{
    struct es_text answer = {0};
    struct es_error err;
    if (sim_control_line(c, line, &answer, &err) == ES_OK) {
        es_text_add(&answer, "ok\n");
    } else {
        es_text_printf(&answer, "error: %s\n", err.text);
    }
    if (answer.bytes && client->out >= 0) {
        const ssize_t sent = client->out == STDOUT_FILENO ? write(client->out, answer.bytes, answer.length)
                                                          : send(client->out, answer.bytes, answer.length,
                                                                 MSG_DONTWAIT | MSG_NOSIGNAL);
        (void)sent; /* who does not listen misses it */
    }
    es_text_free(&answer);
}

static void do_lines(struct sim_control *c, struct client *client)
{
    char *end;
    while ((end = memchr(client->line, '\n', client->have))) {
        const size_t length = (size_t)(end - client->line);
        *end = '\0';
        if (length > 0 && end[-1] == '\r') {
            end[-1] = '\0';
        }
        do_line(c, client, client->line);
        client->have -= length + 1;
        memmove(client->line, end + 1, client->have);
    }
    if (client->have == sizeof client->line) {
        client->have = 0; /* no command is that long */
        do_line(c, client, "a line longer than any command");
    }
}

static void readable(struct sim_control *c, int index)
{
    struct client *client = &c->clients[index];
    const ssize_t got = read(client->in, client->line + client->have, sizeof client->line - client->have);
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) {
        return;
    }
    if (got <= 0) { /* the end, or (EIO) a terminal that is not ours to read */
        hang_up(c, index);
        return;
    }
    client->have += (size_t)got;
    do_lines(c, client);
}

static void accept_client(struct sim_control *c)
{
    const int fd = accept4(c->listener, NULL, NULL, SOCK_CLOEXEC);
    if (fd < 0) {
        return;
    }
    for (int i = 1; i < CLIENTS; i++) {
        if (c->clients[i].in < 0 && set_nonblocking(fd, NULL) == ES_OK) {
            c->clients[i] = (struct client){.in = fd, .out = fd};
            return;
        }
    }
    (void)close(fd);
}

size_t sim_control_poll(const struct sim_control *c, struct pollfd *fds, size_t max)
{
    size_t count = 0;
    if (c->listener >= 0 && count < max) {
        fds[count++] = (struct pollfd){.fd = c->listener, .events = POLLIN};
    }
    for (int i = 0; i < CLIENTS && count < max; i++) {
        if (c->clients[i].in >= 0) {
            fds[count++] = (struct pollfd){.fd = c->clients[i].in, .events = POLLIN};
        }
    }
    return count;
}

es_time sim_control_work(struct sim_control *c, const struct pollfd *fds, size_t count, es_time now)
{
    es_time next = INT64_MAX;
    for (size_t n = 0; n < count; n++) {
        if (!fds[n].revents) {
            continue;
        }
        if (fds[n].fd == c->listener) {
            accept_client(c);
            continue;
        }
        for (int i = 0; i < CLIENTS; i++) {
            if (c->clients[i].in == fds[n].fd) {
                readable(c, i);
                break;
            }
        }
    }
    for (int i = 0; i < LATER; i++) {
        if (c->later[i].due > 0 && c->later[i].due <= now) {
            c->later[i].due = 0;
            do_line(c, &c->clients[0], c->later[i].line);
        } else if (c->later[i].due > 0 && c->later[i].due < next) {
            next = c->later[i].due;
        }
    }
    return next;
}

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/signalfd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "rig/daemon/server.h"
#include "rig/daemon/session.h"

#define TICK_MS 200 /* while anything is under way or anybody is connected */

struct es_server {
    int listener, wake;
    gid_t group;
    char path[sizeof((struct sockaddr_un *)0)->sun_path];
    const struct es_log *log;
    struct es_session *sessions[ES_SERVER_SESSIONS];
    size_t count;
    es_time deaf_until; /* after accept failed for want of descriptors */
};

/* A socket file left over by a daemon that was killed is removed; anything else is left alone. */
static enum es_status clear_path(const struct sockaddr_un *address, struct es_error *err)
{
    struct stat status;
    if (lstat(address->sun_path, &status) != 0)
        return errno == ENOENT ? ES_OK
                               : es_fail_errno(err, errno, "%s cannot be used as socket", address->sun_path);
    if (!S_ISSOCK(status.st_mode))
        return es_fail(err, ES_REFUSED, "%s exists and is not a socket; name another one with --socket",
                       address->sun_path);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return es_fail_errno(err, errno, "no socket could be made");
    bool answers = connect(fd, (const struct sockaddr *)address, sizeof *address) == 0;
    int reason = errno;
    close(fd);
    if (answers)
        return es_fail(err, ES_REFUSED, "another daemon answers at %s", address->sun_path);
    if (reason != ECONNREFUSED)
        return es_fail_errno(err, reason, "%s cannot be used as socket", address->sun_path);
    if (unlink(address->sun_path) != 0 && errno != ENOENT)
        return es_fail_errno(err, errno, "the old socket %s could not be removed", address->sun_path);
    return ES_OK;
}

static enum es_status listen_at(struct es_server *server, const struct sockaddr_un *address,
                                struct es_error *err)
{
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (fd < 0)
        return es_fail_errno(err, errno, "no socket could be made");
    mode_t before = umask(0177); /* closed from its first moment on */
    int bound = bind(fd, (const struct sockaddr *)address, sizeof *address);
    int reason = errno;
    (void)umask(before);
    if (bound != 0) {
        close(fd);
        return es_fail_errno(err, reason, "the socket %s could not be made", address->sun_path);
    }
    bool group_failed =
        server->group != (gid_t)-1 &&
        (chown(address->sun_path, (uid_t)-1, server->group) != 0 || chmod(address->sun_path, 0660) != 0);
    if (group_failed || listen(fd, 16) != 0) {
        reason = errno;
        unlink(address->sun_path);
        close(fd);
        return es_fail_errno(err, reason, "the socket %s could not be opened to its users",
                             address->sun_path);
    }
    server->listener = fd;
    return ES_OK;
}

enum es_status es_server_open(const char *path, gid_t group, const struct es_log *log, struct es_server **out,
                              struct es_error *err)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address.sun_path)
        return es_fail(err, ES_USAGE,
                       "the socket's path is longer than the %zu bytes that the system allows: %s",
                       sizeof address.sun_path - 1, path);
    memcpy(address.sun_path, path, strlen(path) + 1);
    struct es_server *server = calloc(1, sizeof *server);
    if (server == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the socket");
    server->group = group;
    server->log = log;
    memcpy(server->path, path, strlen(path) + 1);
    enum es_status s;
    server->wake = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (server->wake < 0) {
        s = es_fail_errno(err, errno, "no event descriptor could be made");
        goto free_server;
    }
    s = clear_path(&address, err);
    if (s == ES_OK)
        s = listen_at(server, &address, err);
    if (s != ES_OK)
        goto close_wake;
    *out = server;
    return ES_OK;
close_wake:
    close(server->wake);
free_server:
    free(server);
    return s;
}

void es_server_close(struct es_server *server)
{
    if (server == NULL)
        return;
    for (size_t i = 0; i < server->count; i++)
        es_session_free(server->sessions[i]);
    close(server->listener);
    unlink(server->path);
    close(server->wake);
    free(server);
}

void es_server_wake(void *self)
{
    const struct es_server *server = self;
    uint64_t one = 1;
    ssize_t n = write(server->wake, &one, sizeof one);
    (void)n; /* EAGAIN: it is awake already */
}

static void turn_away(int fd, const char *text)
{
    struct es_error err;
    struct es_text reply = {0};
    (void)es_fail(&err, ES_REFUSED, "%s", text);
    es_reply_error(&reply, 0, &err);
    es_text_char(&reply, '\n');
    if (reply.bytes != NULL)
        (void)send(fd, reply.bytes, reply.length, MSG_DONTWAIT | MSG_NOSIGNAL);
    es_text_free(&reply);
    close(fd);
}

static void accept_one(struct es_server *server, struct es_control *control, es_time now)
{
    int fd = accept4(server->listener, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);
    if (fd < 0) {
        if (errno == EMFILE || errno == ENFILE || errno == ENOMEM || errno == ENOBUFS) {
            es_log(server->log, ES_LOG_WARNING, "a client could not be taken: %s", strerror(errno));
            server->deaf_until = now + ES_NS_PER_S;
        }
        return;
    }
    if (server->count == ES_SERVER_SESSIONS) {
        turn_away(fd, "too many clients are connected to this daemon; close one");
        return;
    }
    struct es_error err;
    if (es_session_new(fd, server->group, control, &server->sessions[server->count], &err) != ES_OK) {
        es_log(server->log, ES_LOG_WARNING, "a client was turned away: %s", err.text);
        turn_away(fd, err.text);
        return;
    }
    server->count++;
}

static void turn_sessions(struct es_server *server, const struct pollfd *fds, size_t polled, es_time now)
{
    size_t kept = 0;
    for (size_t i = 0; i < server->count; i++) {
        struct es_session *session = server->sessions[i];
        short revents = fds != NULL && i < polled ? fds[i].revents : 0;
        if (es_session_turn(session, revents, now))
            server->sessions[kept++] = session;
        else
            es_session_free(session);
    }
    server->count = kept;
}

static size_t fill_polls(struct es_server *server, struct pollfd *fds)
{
    for (size_t i = 0; i < server->count; i++)
        fds[i] = (struct pollfd){.fd = es_session_fd(server->sessions[i]),
                                 .events = es_session_events(server->sessions[i])};
    return server->count;
}

static void clear_wake(const struct es_server *server)
{
    uint64_t count;
    ssize_t n = read(server->wake, &count, sizeof count);
    (void)n; /* EAGAIN: nothing was there */
}

enum es_status es_server_run(struct es_server *server, struct es_control *control, int signals,
                             bool until_idle, int *signal, struct es_error *err)
{
    enum { LISTENER, SIGNALS, WAKE, FIRST };
    struct pollfd fds[FIRST + ES_SERVER_SESSIONS];
    for (;;) {
        if (until_idle && !es_control_busy(control))
            return ES_OK;
        bool active = server->count > 0 || es_control_busy(control) || server->deaf_until != 0;
        fds[LISTENER] =
            (struct pollfd){.fd = server->deaf_until != 0 ? -1 : server->listener, .events = POLLIN};
        fds[SIGNALS] = (struct pollfd){.fd = signals, .events = POLLIN};
        fds[WAKE] = (struct pollfd){.fd = server->wake, .events = POLLIN};
        size_t polled = fill_polls(server, fds + FIRST);
        if (poll(fds, FIRST + polled, active ? TICK_MS : -1) < 0) {
            if (errno == EINTR)
                continue;
            return es_fail_errno(err, errno, "waiting for clients failed");
        }
        es_time now = es_clock_now();
        if (now > server->deaf_until)
            server->deaf_until = 0;
        struct signalfd_siginfo info;
        if ((fds[SIGNALS].revents & POLLIN) != 0 &&
            read(signals, &info, sizeof info) == (ssize_t)sizeof info) {
            *signal = (int)info.ssi_signo;
            if (!until_idle)
                return ES_OK; /* while ending, a further signal changes nothing */
        }
        if ((fds[WAKE].revents & POLLIN) != 0)
            clear_wake(server);
        turn_sessions(server, fds + FIRST, polled, now);
        es_control_tick(control, now);
        if ((fds[LISTENER].revents & POLLIN) != 0)
            accept_one(server, control, now);
    }
}

void es_server_drain(struct es_server *server, double seconds)
{
    es_time end = es_clock_now() + es_from_seconds(seconds);
    struct pollfd fds[ES_SERVER_SESSIONS];
    for (es_time now = es_clock_now(); now < end && server->count > 0; now = es_clock_now()) {
        size_t polled = fill_polls(server, fds);
        if (poll(fds, polled, 50) < 0)
            break;
        turn_sessions(server, fds, polled, es_clock_now());
    }
    for (size_t i = 0; i < server->count; i++)
        es_session_free(server->sessions[i]);
    server->count = 0;
}

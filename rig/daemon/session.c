#include <errno.h>
#include <grp.h>
#include <poll.h>
#include <pwd.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "rig/daemon/session.h"

struct es_session {
    int fd;
    struct es_control *control;
    struct es_caller caller;
    char in[ES_REQUEST_LINE_MAX];
    size_t in_length;
    struct es_text out;
    size_t out_sent;  /* bytes of out that the socket has taken */
    es_time began;    /* of the connection */
    es_time progress; /* last time the peer took something, or had nothing to take */
    bool ending;      /* to be closed once out is empty */
};

static bool in_group(const struct passwd *who, gid_t group)
{
    gid_t groups[256];
    int count = 256;
    if (getgrouplist(who->pw_name, who->pw_gid, groups, &count) < 0)
        count = 256;
    for (int i = 0; i < count; i++)
        if (groups[i] == group)
            return true;
    return false;
}

/* The file's mode keeps strangers out already; this also holds when somebody has changed the mode. */
static enum es_status identify(int fd, gid_t group, struct es_caller *caller, struct es_error *err)
{
    struct ucred peer;
    socklen_t size = sizeof peer;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &size) != 0)
        return es_fail_errno(err, errno, "the peer's user could not be told");
    struct passwd entry, *found = NULL;
    char buffer[4096];
    if (getpwuid_r(peer.uid, &entry, buffer, sizeof buffer, &found) != 0)
        found = NULL;
    bool allowed = peer.uid == geteuid() || peer.uid == 0;
    if (!allowed && group != (gid_t)-1)
        allowed = peer.gid == group || (found != NULL && in_group(found, group));
    if (!allowed)
        return es_fail(err, ES_REFUSED, "user %ld may not talk to this daemon", (long)peer.uid);
    caller->uid = peer.uid;
    if (found != NULL)
        snprintf(caller->user, sizeof caller->user, "%s", found->pw_name);
    else
        snprintf(caller->user, sizeof caller->user, "uid %ld", (long)peer.uid);
    snprintf(caller->person, sizeof caller->person, "%s", caller->user);
    return ES_OK;
}

enum es_status es_session_new(int fd, gid_t group, struct es_control *control, struct es_session **out,
                              struct es_error *err)
{
    struct es_session *s = calloc(1, sizeof *s);
    if (s == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for a connection");
    enum es_status status = identify(fd, group, &s->caller, err);
    if (status != ES_OK) {
        free(s);
        return status;
    }
    s->fd = fd;
    s->control = control;
    s->began = es_clock_now();
    s->progress = s->began;
    *out = s;
    return ES_OK;
}

void es_session_free(struct es_session *s)
{
    if (s == NULL)
        return;
    es_control_leave(s->control, &s->caller);
    es_text_free(&s->out);
    close(s->fd);
    free(s);
}

int es_session_fd(const struct es_session *s)
{
    return s->fd;
}

const char *es_session_user(const struct es_session *s)
{
    return s->caller.user;
}

static size_t waiting(const struct es_session *s)
{
    return s->out.length - s->out_sent;
}

short es_session_events(const struct es_session *s)
{
    short events = 0;
    if (!s->ending && waiting(s) < ES_SESSION_OUT_MAX)
        events |= POLLIN;
    if (waiting(s) > 0)
        events |= POLLOUT;
    return events;
}

static void say_and_end(struct es_session *s, const char *text)
{
    struct es_error err;
    (void)es_fail(&err, ES_BAD_INPUT, "%s", text);
    es_reply_error(&s->out, 0, &err);
    es_text_char(&s->out, '\n');
    s->ending = true;
}

/* Answers the whole lines that have come. */
static void take_lines(struct es_session *s)
{
    size_t from = 0;
    while (!s->ending && waiting(s) < ES_SESSION_OUT_MAX) {
        const char *end = memchr(s->in + from, '\n', s->in_length - from);
        if (end == NULL)
            break;
        size_t length = (size_t)(end - (s->in + from));
        if (!es_control_answer(s->control, &s->caller, s->in + from, length, &s->out))
            s->ending = true;
        es_text_char(&s->out, '\n');
        from += length + 1;
    }
    memmove(s->in, s->in + from, s->in_length - from);
    s->in_length -= from;
    if (s->in_length == sizeof s->in && memchr(s->in, '\n', s->in_length) == NULL)
        say_and_end(s, "the request line is too long");
}

/* False when the peer has closed or the socket failed. */
static bool receive(struct es_session *s)
{
    ssize_t n = recv(s->fd, s->in + s->in_length, sizeof s->in - s->in_length, MSG_DONTWAIT);
    if (n > 0) {
        s->in_length += (size_t)n;
        return true;
    }
    return n < 0 && (errno == EAGAIN || errno == EINTR);
}

static bool transmit(struct es_session *s, es_time now)
{
    if (waiting(s) == 0)
        return true;
    ssize_t n = send(s->fd, s->out.bytes + s->out_sent, waiting(s), MSG_DONTWAIT | MSG_NOSIGNAL);
    if (n < 0)
        return errno == EAGAIN || errno == EINTR;
    s->out_sent += (size_t)n;
    s->progress = now;
    if (waiting(s) == 0) {
        es_text_reset(&s->out);
        s->out_sent = 0;
    }
    return true;
}

static void fetch_news(struct es_session *s)
{
    while (!s->ending && waiting(s) < ES_SESSION_OUT_MARK &&
           es_control_next(s->control, &s->caller, waiting(s) == 0, &s->out))
        es_text_char(&s->out, '\n');
}

bool es_session_turn(struct es_session *s, short revents, es_time now)
{
    if ((revents & POLLNVAL) != 0)
        return false;
    bool full = s->in_length == sizeof s->in;
    if ((revents & (POLLIN | POLLHUP | POLLERR)) != 0 && !s->ending && !full && !receive(s))
        return false;
    take_lines(s);
    fetch_news(s);
    if (s->out.out_of_memory)
        return false;
    if (waiting(s) == 0)
        s->progress = now;
    if (!transmit(s, now))
        return false;
    if (s->ending && (waiting(s) == 0 || (revents & (POLLHUP | POLLERR)) != 0))
        return false;
    if (es_seconds(now - s->progress) > ES_SESSION_STALLED_S)
        return false;
    return s->caller.greeted || es_seconds(now - s->began) <= ES_SESSION_HELLO_S;
}

#include "tests/support/wires/peer.h"

#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <pthread.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#define QUEUE_MAX  512
#define BUFFER_MAX 4096

struct chunk {
    es_time due;
    size_t count;
    uint8_t bytes[320];
};

struct peer {
    enum peer_kind kind;
    peer_received *received;
    void *self;
    pthread_t thread;
    pthread_mutex_t lock;            /* all below */
    int wake, listener, line, slave; /* -1: none */
    int port;
    char path[64];
    bool stop, frozen;
    struct chunk queue[QUEUE_MAX];
    size_t queued;
    es_time latest; /* the longest that bytes left after their time */
    uint8_t buffer[BUFFER_MAX];
    size_t have;
};

static void need(bool good, const char *what)
{
    if (good)
        return;
    perror(what);
    abort();
}

static void open_terminal(struct peer *p)
{
    struct termios t;
    p->line = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
    need(p->line >= 0 && grantpt(p->line) == 0 && unlockpt(p->line) == 0, "posix_openpt");
    need(ptsname_r(p->line, p->path, sizeof p->path) == 0, "ptsname_r");
    p->slave = open(p->path, O_RDWR | O_NOCTTY | O_CLOEXEC); /* held, so that our end never hangs up */
    need(p->slave >= 0 && tcgetattr(p->slave, &t) == 0, "opening the terminal");
    cfmakeraw(&t);
    need(tcsetattr(p->slave, TCSANOW, &t) == 0, "tcsetattr");
}

static void open_listener(struct peer *p)
{
    struct sockaddr_in a = {.sin_family = AF_INET,
                            .sin_port = htons((uint16_t)p->port),
                            .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof a;
    int one = 1;
    p->listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    need(p->listener >= 0 && setsockopt(p->listener, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one) == 0,
         "socket");
    need(bind(p->listener, (struct sockaddr *)&a, sizeof a) == 0, "bind");
    need(listen(p->listener, 8) == 0, "listen");
    need(getsockname(p->listener, (struct sockaddr *)&a, &size) == 0, "getsockname");
    p->port = ntohs(a.sin_port);
}

static void close_line(struct peer *p)
{
    if (p->line >= 0)
        close(p->line);
    if (p->slave >= 0)
        close(p->slave);
    p->line = p->slave = -1;
    p->queued = p->have = 0;
}

static void send_due(struct peer *p)
{
    es_time now;
    while (p->queued && p->queue[0].due <= (now = es_clock_now())) {
        if (now - p->queue[0].due > p->latest)
            p->latest = now - p->queue[0].due;
        if (p->line >= 0) {
            ssize_t n = p->kind == PEER_TCP
                            ? send(p->line, p->queue[0].bytes, p->queue[0].count, MSG_NOSIGNAL)
                            : write(p->line, p->queue[0].bytes, p->queue[0].count);
            (void)n; /* a client that has gone shows at the next read */
        }
        if (p->queued)
            memmove(p->queue, p->queue + 1, --p->queued * sizeof p->queue[0]);
    }
}

static void receive(struct peer *p)
{
    ssize_t n = read(p->line, p->buffer + p->have, sizeof p->buffer - p->have);
    if (n == 0 || (n < 0 && errno != EAGAIN && errno != EINTR && errno != EIO)) {
        close_line(p);
        return;
    }
    if (n < 0)
        return;
    es_time arrived = es_clock_now();
    p->have += (size_t)n;
    size_t used;
    while (p->have && (used = p->received(p->self, p, p->buffer, p->have, arrived)) > 0) {
        if (used == SIZE_MAX) { /* hang up */
            close_line(p);
            if (p->kind == PEER_TERMINAL)
                open_terminal(p);
            return;
        }
        p->have -= used;
        memmove(p->buffer, p->buffer + used, p->have);
    }
    if (p->have == sizeof p->buffer)
        p->have = 0;
}

static void accept_one(struct peer *p)
{
    int fd = accept4(p->listener, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);
    if (fd < 0)
        return;
    int one = 1;
    (void)setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    close_line(p); /* one client at a time: the newest */
    p->line = fd;
}

static void *run(void *self)
{
    struct peer *p = self;
    (void)prctl(PR_SET_TIMERSLACK, 1); /* paced bytes leave at their time */
    pthread_mutex_lock(&p->lock);
    while (!p->stop) {
        struct pollfd f[3] = {{p->wake, POLLIN, 0},
                              {p->frozen ? -1 : p->line, POLLIN, 0},
                              {p->frozen ? -1 : p->listener, POLLIN, 0}};
        es_time left = p->queued && !p->frozen ? p->queue[0].due - es_clock_now() : ES_NS_PER_S;
        struct timespec t = {left > 0 ? left / ES_NS_PER_S : 0, left > 0 ? left % ES_NS_PER_S : 0};
        pthread_mutex_unlock(&p->lock);
        int n = ppoll(f, 3, &t, NULL);
        pthread_mutex_lock(&p->lock);
        uint64_t count;
        if (n > 0 && f[0].revents && read(p->wake, &count, sizeof count) < 0)
            perror("eventfd");
        if (!p->frozen)
            send_due(p);
        if (n > 0 && !p->frozen && f[1].revents && f[1].fd == p->line && p->line >= 0)
            receive(p);
        if (n > 0 && f[2].revents && f[2].fd == p->listener && p->listener >= 0)
            accept_one(p);
    }
    pthread_mutex_unlock(&p->lock);
    return NULL;
}

struct peer *peer_start(enum peer_kind kind, peer_received *received, void *self)
{
    struct peer *p = calloc(1, sizeof *p);
    need(p != NULL, "calloc");
    p->kind = kind;
    p->received = received;
    p->self = self;
    p->listener = p->line = p->slave = -1;
    p->wake = eventfd(0, EFD_CLOEXEC);
    need(p->wake >= 0 && pthread_mutex_init(&p->lock, NULL) == 0, "eventfd");
    if (kind == PEER_TERMINAL)
        open_terminal(p);
    else
        open_listener(p);
    need(pthread_create(&p->thread, NULL, run, p) == 0, "pthread_create");
    return p;
}

static void kick(struct peer *p)
{
    uint64_t one = 1;
    need(write(p->wake, &one, sizeof one) == sizeof one, "eventfd");
}

void peer_stop(struct peer *p)
{
    pthread_mutex_lock(&p->lock);
    p->stop = true;
    kick(p);
    pthread_mutex_unlock(&p->lock);
    pthread_join(p->thread, NULL);
    close_line(p);
    if (p->listener >= 0)
        close(p->listener);
    close(p->wake);
    pthread_mutex_destroy(&p->lock);
    free(p);
}

const char *peer_path(const struct peer *p)
{
    return p->path;
}

int peer_port(const struct peer *p)
{
    return p->port;
}

void peer_send(struct peer *p, const uint8_t *bytes, size_t count, es_time due)
{
    size_t at = p->queued;
    if (p->queued == QUEUE_MAX || count > sizeof p->queue[0].bytes)
        abort();
    while (at > 0 && p->queue[at - 1].due > due)
        at--;
    memmove(p->queue + at + 1, p->queue + at, (p->queued - at) * sizeof p->queue[0]);
    p->queue[at] = (struct chunk){.due = due, .count = count};
    memcpy(p->queue[at].bytes, bytes, count);
    p->queued++;
    send_due(p);
}

es_time peer_send_paced(struct peer *p, const uint8_t *bytes, size_t count, es_time begin, double character)
{
    size_t step = (size_t)(0.002 / character); /* pieces of some 2 ms; the last byte always at its own time */
    if (step < 1)
        step = 1;
    for (size_t at = 0; at < count;) {
        size_t n = count - at < step ? count - at : step;
        at += n;
        peer_send(p, bytes + at - n, n, begin + es_from_seconds((double)at * character));
    }
    return begin + es_from_seconds((double)count * character);
}

void peer_noise(struct peer *p, const uint8_t *bytes, size_t count)
{
    pthread_mutex_lock(&p->lock);
    peer_send(p, bytes, count, es_clock_now());
    pthread_mutex_unlock(&p->lock);
}

void peer_drop(struct peer *p)
{
    pthread_mutex_lock(&p->lock);
    close_line(p);
    if (p->kind == PEER_TERMINAL)
        open_terminal(p);
    kick(p);
    pthread_mutex_unlock(&p->lock);
}

void peer_away(struct peer *p)
{
    pthread_mutex_lock(&p->lock);
    close_line(p);
    if (p->listener >= 0)
        close(p->listener);
    p->listener = -1;
    kick(p);
    pthread_mutex_unlock(&p->lock);
}

void peer_back(struct peer *p)
{
    pthread_mutex_lock(&p->lock);
    if (p->kind == PEER_TERMINAL)
        open_terminal(p);
    else
        open_listener(p);
    kick(p);
    pthread_mutex_unlock(&p->lock);
}

double peer_latest(struct peer *p)
{
    pthread_mutex_lock(&p->lock);
    es_time latest = p->latest;
    pthread_mutex_unlock(&p->lock);
    return es_seconds(latest);
}

void peer_freeze(struct peer *p, bool frozen)
{
    pthread_mutex_lock(&p->lock);
    p->frozen = frozen;
    kick(p);
    pthread_mutex_unlock(&p->lock);
}

void peer_pin(struct peer *p, int core)
{
    cpu_set_t set;
    CPU_ZERO(&set);
    CPU_SET((size_t)core, &set);
    need(pthread_setaffinity_np(p->thread, sizeof set, &set) == 0, "pthread_setaffinity_np");
}

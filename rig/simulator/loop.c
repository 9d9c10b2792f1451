#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <sys/signalfd.h>
#include <time.h>
#include <unistd.h>

#include "rig/simulator/simulator.h"

#define FDS_MAX 512
#define BEAT    (20 * ES_NS_PER_S / 1000) /* the model never falls further behind */

struct watched {
    struct pollfd fds[FDS_MAX];
    struct {
        struct sim_bus *bus;
        struct sim_line *line; /* NULL: the listener */
    } of[FDS_MAX];
    size_t control_count, count;
};

static void watch_bus(struct watched *w, struct sim_bus *bus)
{
    if (bus->listener >= 0 && w->count < FDS_MAX) {
        w->fds[w->count] = (struct pollfd){.fd = bus->listener, .events = POLLIN};
        w->of[w->count].bus = bus;
        w->of[w->count++].line = NULL;
    }
    for (size_t i = 0; i < SIM_LINES_MAX && w->count < FDS_MAX; i++) {
        if (bus->lines[i].fd >= 0) {
            w->fds[w->count] = (struct pollfd){.fd = bus->lines[i].fd, .events = POLLIN};
            w->of[w->count].bus = bus;
            w->of[w->count++].line = &bus->lines[i];
        }
    }
}

static void serve(const struct watched *w, size_t i, es_time now)
{
    if (!w->fds[i].revents) {
        return;
    }
    if (!w->of[i].line) {
        sim_bus_accept(w->of[i].bus);
    } else if (w->of[i].line->fd == w->fds[i].fd) {
        sim_line_readable(w->of[i].bus, w->of[i].line, now);
    }
}

static enum es_status wait_until(struct watched *w, es_time deadline, struct es_error *err)
{
    const es_time now = es_clock_now();
    const es_time wait = deadline > now ? deadline - now : 0;
    const struct timespec timeout = {wait / ES_NS_PER_S, wait % ES_NS_PER_S};
    if (ppoll(w->fds, w->count, &timeout, NULL) < 0) {
        if (errno != EINTR) {
            return es_fail_errno(err, errno, "cannot wait for the lines");
        }
        for (size_t i = 0; i < w->count; i++) {
            w->fds[i].revents = 0;
        }
    }
    return ES_OK;
}

static es_time do_work(struct simulator *sim, struct sim_control *control, struct watched *w)
{
    es_time now = es_clock_now();
    es_time next = sim_control_work(control, w->fds + 1, w->control_count, now);
    for (size_t i = 1 + w->control_count; i < w->count; i++) {
        serve(w, i, now);
    }
    now = es_clock_now();
    sim_advance(sim, now);
    for (size_t i = 0; i < sim->bus_count; i++) {
        const es_time at = sim_bus_work(&sim->buses[i], now);
        next = at < next ? at : next;
    }
    return next < now + BEAT ? next : now + BEAT;
}

static void gather(struct watched *w, int signals, struct simulator *sim, const struct sim_control *control)
{
    w->fds[0] = (struct pollfd){.fd = signals, .events = POLLIN};
    w->control_count = sim_control_poll(control, w->fds + 1, FDS_MAX - 1);
    w->count = 1 + w->control_count;
    for (size_t i = 0; i < sim->bus_count; i++) {
        watch_bus(w, &sim->buses[i]);
    }
}

enum es_status sim_run(struct simulator *sim, struct sim_control *control, struct es_error *err)
{
    static const int ends[] = {SIGINT, SIGTERM, SIGHUP};
    sigset_t set;
    sigemptyset(&set);
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        sigaddset(&set, ends[i]);
    }
    const int signals = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
    if (signals < 0) {
        return es_fail_errno(err, errno, "cannot wait for signals");
    }
    enum es_status s = ES_OK;
    es_time next = 0;
    while (!sim->stop && s == ES_OK) {
        struct watched w;
        gather(&w, signals, sim, control);
        s = wait_until(&w, next, err);
        if (s == ES_OK && w.fds[0].revents) {
            sim->stop = true;
        } else if (s == ES_OK) {
            next = do_work(sim, control, &w);
        }
    }
    (void)close(signals);
    return s;
}

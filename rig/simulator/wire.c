/* Opening the wires of the bench file from the instruments' side. */
#include <errno.h>
#include <fcntl.h>
#include <netdb.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "rig/simulator/simulator.h"

static void host_and_port(const struct sim_bus *bus, const char **host, long *port)
{
    if (bus->wire == SIM_MODBUS_TCP) {
        const struct es_modbus_bus *settings = bus->about->settings;
        *host = settings->host;
        *port = settings->port;
    } else {
        const struct es_line_bus *settings = bus->about->settings;
        *host = settings->host;
        *port = settings->port;
    }
}

static const char *device_of(const struct sim_bus *bus)
{
    if (bus->wire == SIM_MODBUS_RTU) {
        return ((const struct es_modbus_bus *)bus->about->settings)->device;
    }
    return ((const struct es_line_bus *)bus->about->settings)->device;
}

static bool is_tcp(const struct sim_bus *bus)
{
    return bus->wire == SIM_MODBUS_TCP || bus->wire == SIM_TEXT_TCP;
}

static enum es_status listen_at(struct sim_bus *bus, struct es_error *err)
{
    const char *host = NULL;
    long port = 0;
    char service[16];
    struct addrinfo *found = NULL;
    const struct addrinfo hints = {
        .ai_family = AF_UNSPEC, .ai_socktype = SOCK_STREAM, .ai_flags = AI_PASSIVE};
    host_and_port(bus, &host, &port);
    snprintf(service, sizeof service, "%ld", port);
    const int wrong = getaddrinfo(host, service, &hints, &found);
    if (wrong != 0) {
        return es_fail(err, ES_NOT_FOUND, "bus \"%s\": no address for %s: %s", bus->about->name, host,
                       gai_strerror(wrong));
    }
    const int yes = 1;
    int error = EADDRNOTAVAIL;
    for (const struct addrinfo *a = found; a && bus->listener < 0; a = a->ai_next) {
        const int fd = socket(a->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
        if (fd < 0) {
            error = errno;
            continue;
        }
        if (setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) == 0 &&
            bind(fd, a->ai_addr, a->ai_addrlen) == 0 && listen(fd, 16) == 0) {
            bus->listener = fd;
        } else {
            error = errno;
            (void)close(fd);
        }
    }
    freeaddrinfo(found);
    if (bus->listener >= 0) {
        return ES_OK;
    }
    return es_fail_errno(
        err, error, "bus \"%s\" cannot be served at %s port %ld%s", bus->about->name, host, port,
        error == EADDRINUSE ? " (another program, perhaps another endstop-sim, is there)" : "");
}

static enum es_status open_terminal(struct sim_bus *bus, struct es_error *err)
{
    const char *device = device_of(bus);
    if (!device) {
        return es_fail(
            err, ES_USAGE,
            "bus \"%s\" is told by its adapter, not by a device path: a simulator cannot be that adapter",
            bus->about->name);
    }
    const enum es_status s = sim_terminal_open(&bus->terminal, device, err);
    if (s != ES_OK) {
        return es_error_context(err, s, "bus \"%s\"", bus->about->name);
    }
    bus->lines[0].fd = bus->terminal.master;
    return ES_OK;
}

static enum es_status start_library(struct sim_bus *bus, struct es_error *err)
{
    if (bus->wire != SIM_MODBUS_TCP && bus->wire != SIM_MODBUS_RTU) {
        return ES_OK;
    }
    bus->library = bus->wire == SIM_MODBUS_TCP ? modbus_new_tcp("127.0.0.1", 502)
                                               : modbus_new_rtu("none", 9600, 'N', 8, 1);
    if (!bus->library) {
        return es_fail_errno(err, errno, "cannot set up the Modbus library");
    }
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, bus->pair) != 0) {
        return es_fail_errno(err, errno, "cannot make a pair of sockets");
    }
    if (modbus_set_socket(bus->library, bus->pair[0]) != 0 ||
        modbus_set_response_timeout(bus->library, 0, 1) != 0) { /* it sleeps that long before refusing */
        return es_fail_errno(err, errno, "cannot set up the Modbus library");
    }
    return ES_OK;
}

static enum es_status open_wire(struct sim_bus *bus, struct es_error *err)
{
    return is_tcp(bus) ? listen_at(bus, err) : open_terminal(bus, err);
}

enum es_status sim_bus_open(struct sim_bus *bus, bool without_wire, struct es_error *err)
{
    bus->listener = bus->pair[0] = bus->pair[1] = -1;
    bus->terminal = (struct sim_terminal){.master = -1, .slave = -1, .claim = -1};
    for (size_t i = 0; i < SIM_LINES_MAX; i++) {
        bus->lines[i].fd = -1;
    }
    const char *driver = bus->about->driver->name;
    if (strcmp(driver, "modbus") == 0) {
        const struct es_modbus_bus *settings = bus->about->settings;
        bus->wire = settings->mode == ES_MODBUS_TCP ? SIM_MODBUS_TCP : SIM_MODBUS_RTU;
    } else if (strcmp(driver, "line") == 0) {
        const struct es_line_bus *settings = bus->about->settings;
        bus->wire = settings->mode == ES_LINE_TCP ? SIM_TEXT_TCP : SIM_TEXT_SERIAL;
    } else {
        return es_fail(err, ES_USAGE, "bus \"%s\": the simulator does not speak \"%s\"", bus->about->name,
                       driver);
    }
    const enum es_status s = start_library(bus, err);
    return s == ES_OK && !without_wire ? open_wire(bus, err) : s;
}

void sim_line_close(struct sim_line *line)
{
    if (line->fd >= 0) {
        (void)close(line->fd);
    }
    memset(line, 0, sizeof *line);
    line->fd = -1;
}

static void close_wire(struct sim_bus *bus)
{
    if (is_tcp(bus)) {
        for (size_t i = 0; i < SIM_LINES_MAX; i++) {
            sim_line_close(&bus->lines[i]);
        }
        if (bus->listener >= 0) {
            (void)close(bus->listener);
            bus->listener = -1;
        }
        return;
    }
    bus->lines[0].fd = -1; /* the terminal's own */
    sim_line_close(&bus->lines[0]);
    sim_terminal_close(&bus->terminal);
}

void sim_bus_close(struct sim_bus *bus)
{
    close_wire(bus);
    for (int i = 0; i < 2; i++) {
        if (bus->pair[i] >= 0) {
            (void)close(bus->pair[i]);
        }
    }
    if (bus->library) {
        modbus_free(bus->library);
    }
}

enum es_status sim_bus_hang_up(struct sim_bus *bus, struct es_error *err)
{
    close_wire(bus);
    if (es_clock_now() < bus->away_until) {
        return ES_OK; /* opened again later, by sim_bus_work */
    }
    return open_wire(bus, err);
}

void sim_bus_accept(struct sim_bus *bus)
{
    const int yes = 1;
    const int fd = accept4(bus->listener, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);
    if (fd < 0) {
        return; /* gone again, or no descriptor left: the client tries anew */
    }
    for (size_t i = 0; i < SIM_LINES_MAX; i++) {
        if (bus->lines[i].fd < 0) {
            (void)setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
            bus->lines[i].fd = fd;
            return;
        }
    }
    (void)close(fd);
}

void sim_bus_describe(const struct sim_bus *bus, char *out, size_t size)
{
    static const char *const kinds[] = {"Modbus TCP", "Modbus RTU", "text lines over TCP", "text lines"};
    if (!is_tcp(bus)) {
        snprintf(out, size, "bus \"%s\": %s at %s", bus->about->name, kinds[bus->wire], device_of(bus));
        return;
    }
    const char *host = NULL;
    long port = 0;
    host_and_port(bus, &host, &port);
    snprintf(out, size, "bus \"%s\": %s at %s port %ld", bus->about->name, kinds[bus->wire], host, port);
}

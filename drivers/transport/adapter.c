#include "drivers/transport/adapter.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A terminal's device, its interface: the adapter is at most this far up. */
enum { LEVELS = 4 };

/* The first line of a file of the system's; false when it is not there (any more). */
static bool read_attribute(const char *folder, const char *name, char *out, size_t size)
{
    char path[PATH_MAX + 32];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "re");
    if (!f)
        return false;
    bool have = fgets(out, (int)size, f) != NULL; /* an adapter that is going answers ENODEV */
    fclose(f);
    if (have)
        out[strcspn(out, "\n")] = '\0';
    return have;
}

static bool read_hex(const char *folder, const char *name, int *out)
{
    char text[16], *end;
    if (!read_attribute(folder, name, text, sizeof text))
        return false;
    long value = strtol(text, &end, 16);
    if (end == text || value < 0 || value > 0xFFFF)
        return false;
    *out = (int)value;
    return true;
}

/* .../1-2/1-2:1.0/ttyUSB0 or .../1-2/1-2:1.0 */
static void note_location(const char *base, const char *device, struct es_adapter *out)
{
    char real[PATH_MAX];
    memcpy(real, device, strlen(device) + 1);
    char *last = strrchr(real, '/');
    if (last && strcmp(last + 1, base) == 0)
        *last = '\0';
    const char *colon = strrchr(real, ':');
    if (colon)
        snprintf(out->interface, sizeof out->interface, "%.15s", colon);
    size_t length = strlen(real);
    const char *tail = length < sizeof out->location ? real : real + length - sizeof out->location + 1;
    memcpy(out->location, tail, strlen(tail) + 1);
}

/* The adapter's own folder, above its interface's ("1-2:1.0"), in place of `folder`; false for what is not on
 * USB. Not the first folder above with a vendor: that is the hub's when the adapter is just going. */
static bool go_up_to_adapter(char *folder)
{
    for (int i = 0; i < LEVELS; i++) {
        char *last = strrchr(folder, '/');
        if (!last || last == folder)
            return false;
        bool interface = strchr(last, ':') != NULL;
        *last = '\0';
        if (!interface)
            continue;
        char path[PATH_MAX + 16];
        snprintf(path, sizeof path, "%s/idVendor", folder);
        return access(path, F_OK) == 0;
    }
    return false;
}

enum look { GONE, NO_DEVICE, FOUND };

/* `base` is the terminal's name, "ttyUSB0". NO_DEVICE: a terminal without hardware. GONE: it is not there, or
 * went while it was looked at; nothing that was read of it counts then. */
static enum look look_at(const char *terminals, const char *base, struct es_adapter *out)
{
    char link[PATH_MAX], device[PATH_MAX], folder[PATH_MAX], path[PATH_MAX + 16], serial[sizeof out->serial];
    struct es_adapter seen = {0};
    snprintf(link, sizeof link, "%s/%s", terminals, base);
    if (access(link, F_OK) != 0)
        return GONE;
    snprintf(path, sizeof path, "%s/device", link);
    if (!realpath(path, device))
        return errno == ENOENT && access(link, F_OK) == 0 ? NO_DEVICE : GONE;
    memcpy(folder, device, strlen(device) + 1);
    if (go_up_to_adapter(folder)) {
        seen.usb = true;
        note_location(base, device, &seen);
        if (!read_hex(folder, "idVendor", &seen.vendor) || !read_hex(folder, "idProduct", &seen.product))
            return GONE;
        if (read_attribute(folder, "serial", serial, sizeof serial)) /* not every adapter has one */
            memcpy(seen.serial, serial, strlen(serial) + 1);
        char again[16];
        if (!read_attribute(folder, "idVendor", again, sizeof again))
            return GONE; /* the missing serial number may have been the adapter's going */
    }
    if (access(link, F_OK) != 0 || access(device, F_OK) != 0)
        return GONE;
    *out = seen;
    return FOUND;
}

enum es_status es_adapter_of(const char *terminals, const char *port, struct es_adapter *out,
                             struct es_error *err)
{
    const char *base = strrchr(port, '/');
    base = base ? base + 1 : port;
    if (*base == '\0' || look_at(terminals, base, out) != FOUND)
        return es_fail(err, ES_HANGUP, "%s is not there, or is no serial port", port);
    return ES_OK;
}

bool es_adapter_same(const struct es_adapter *a, const struct es_adapter *b)
{
    if (!a->usb || !b->usb || a->vendor != b->vendor || a->product != b->product)
        return false;
    if (strcmp(a->serial, b->serial) != 0 || strcmp(a->interface, b->interface) != 0)
        return false;
    return a->serial[0] || strcmp(a->location, b->location) == 0;
}

/* Calls `visit` with each USB port that is there. */
static enum es_status visit_ports(const char *terminals,
                                  void (*visit)(void *self, const char *base, const struct es_adapter *here),
                                  void *self, struct es_error *err)
{
    DIR *folder = opendir(terminals);
    if (!folder)
        return es_fail(err, errno == ENOMEM ? ES_NO_MEMORY : ES_IO,
                       "the system's serial ports cannot be listed (%s)", strerror(errno));
    for (const struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        struct es_adapter here;
        if (entry->d_name[0] != '.' && look_at(terminals, entry->d_name, &here) == FOUND && here.usb)
            visit(self, entry->d_name, &here);
    }
    closedir(folder);
    return ES_OK;
}

struct search {
    const struct es_adapter *wanted; /* or: */
    const char *serial;
    char found[NAME_MAX + 1];
    char interface[16];
    size_t alike;
    bool in_place;
};

static void match_adapter(void *self, const char *base, const struct es_adapter *here)
{
    struct search *s = self;
    if (!es_adapter_same(s->wanted, here))
        return;
    s->alike++;
    if (!s->in_place)
        snprintf(s->found, sizeof s->found, "%s", base);
    s->in_place |= strcmp(s->wanted->location, here->location) == 0;
}

enum es_status es_adapter_find(const char *terminals, const struct es_adapter *wanted, char *port,
                               size_t size, struct es_error *err)
{
    struct search s = {.wanted = wanted};
    enum es_status status = visit_ports(terminals, match_adapter, &s, err);
    if (status != ES_OK)
        return status;
    if (s.alike == 0)
        return es_fail(err, ES_HANGUP, "the serial adapter (USB %04x:%04x%s%s) is not plugged in",
                       (unsigned)wanted->vendor, (unsigned)wanted->product,
                       wanted->serial[0] ? ", serial number " : "", wanted->serial);
    if (s.alike > 1 && !s.in_place)
        return es_fail(
            err, ES_HANGUP,
            "%zu serial adapters look alike (USB %04x:%04x, same serial number) and none is where the one "
            "that was lost had been: plug it into its old socket",
            s.alike, (unsigned)wanted->vendor, (unsigned)wanted->product);
    snprintf(port, size, "/dev/%s", s.found);
    return ES_OK;
}

static void match_serial(void *self, const char *base, const struct es_adapter *here)
{
    struct search *s = self;
    if (strcmp(here->serial, s->serial) != 0)
        return;
    if (s->alike == 0 || strcmp(here->interface, s->interface) < 0) {
        snprintf(s->found, sizeof s->found, "%s", base);
        memcpy(s->interface, here->interface, sizeof s->interface);
    }
    s->alike++;
}

enum es_status es_adapter_find_serial(const char *terminals, const char *serial, char *port, size_t size,
                                      struct es_error *err)
{
    struct search s = {.serial = serial};
    enum es_status status = visit_ports(terminals, match_serial, &s, err);
    if (status != ES_OK)
        return status;
    if (s.alike == 0)
        return es_fail(err, ES_HANGUP, "no serial adapter with the USB serial number %s is plugged in",
                       serial);
    snprintf(port, size, "/dev/%s", s.found);
    return ES_OK;
}

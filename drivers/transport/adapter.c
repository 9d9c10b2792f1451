#include "drivers/transport/adapter.h"

#include <libserialport.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* /sys/class/tty/ttyUSB0/device -> .../usb1/1-2/1-2:1.0/ttyUSB0 or .../1-2/1-2:1.0 */
static void read_location(const char *port, struct es_adapter *out)
{
    const char *base = strrchr(port, '/');
    base = base ? base + 1 : port;
    char link[PATH_MAX + 64], real[PATH_MAX];
    snprintf(link, sizeof link, "/sys/class/tty/%s/device", base);
    if (!realpath(link, real))
        return; /* stays "": such an adapter is found by its serial number only */
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

static void read_adapter(struct sp_port *port, struct es_adapter *out)
{
    memset(out, 0, sizeof *out);
    if (sp_get_port_transport(port) != SP_TRANSPORT_USB)
        return;
    out->usb = true;
    /* Adapters without these answer with an error: the fields stay empty. */
    (void)sp_get_port_usb_vid_pid(port, &out->vendor, &out->product);
    const char *serial = sp_get_port_usb_serial(port);
    if (serial)
        snprintf(out->serial, sizeof out->serial, "%s", serial);
    read_location(sp_get_port_name(port), out);
}

enum es_status es_adapter_of(const char *port, struct es_adapter *out, struct es_error *err)
{
    struct sp_port *p = NULL;
    enum sp_return rc = sp_get_port_by_name(port, &p);
    if (rc == SP_ERR_MEM)
        return es_fail(err, ES_NO_MEMORY, "out of memory looking at %s", port);
    if (rc != SP_OK)
        return es_fail(err, ES_HANGUP, "%s is not there, or is no serial port", port);
    read_adapter(p, out);
    sp_free_port(p);
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

static enum es_status list_ports(struct sp_port ***out, struct es_error *err)
{
    enum sp_return rc = sp_list_ports(out);
    if (rc == SP_OK)
        return ES_OK;
    return es_fail(err, rc == SP_ERR_MEM ? ES_NO_MEMORY : ES_IO,
                   "the system's serial ports cannot be listed");
}

enum es_status es_adapter_find(const struct es_adapter *wanted, char *port, size_t size, struct es_error *err)
{
    struct sp_port **list = NULL;
    enum es_status status = list_ports(&list, err);
    if (status != ES_OK)
        return status;
    const char *found = NULL;
    size_t alike = 0;
    bool in_place = false;
    for (size_t i = 0; list[i]; i++) {
        struct es_adapter here;
        read_adapter(list[i], &here);
        if (!es_adapter_same(wanted, &here))
            continue;
        alike++;
        if (!in_place)
            found = sp_get_port_name(list[i]);
        in_place |= strcmp(wanted->location, here.location) == 0;
    }
    if (alike == 0)
        status = es_fail(err, ES_HANGUP, "the serial adapter (USB %04x:%04x%s%s) is not plugged in",
                         (unsigned)wanted->vendor, (unsigned)wanted->product,
                         wanted->serial[0] ? ", serial number " : "", wanted->serial);
    else if (alike > 1 && !in_place)
        status = es_fail(
            err, ES_HANGUP,
            "%zu serial adapters look alike (USB %04x:%04x, same serial number) and none is where the one "
            "that was lost had been: plug it into its old socket",
            alike, (unsigned)wanted->vendor, (unsigned)wanted->product);
    else
        snprintf(port, size, "%s", found);
    sp_free_port_list(list);
    return status;
}

enum es_status es_adapter_find_serial(const char *serial, char *port, size_t size, struct es_error *err)
{
    struct sp_port **list = NULL;
    enum es_status status = list_ports(&list, err);
    if (status != ES_OK)
        return status;
    const char *found = NULL;
    char interface[16] = "";
    for (size_t i = 0; list[i]; i++) {
        struct es_adapter here;
        read_adapter(list[i], &here);
        if (!here.usb || strcmp(here.serial, serial) != 0)
            continue;
        if (!found || strcmp(here.interface, interface) < 0) {
            found = sp_get_port_name(list[i]);
            memcpy(interface, here.interface, sizeof interface);
        }
    }
    if (found)
        snprintf(port, size, "%s", found);
    else
        status =
            es_fail(err, ES_HANGUP, "no serial adapter with the USB serial number %s is plugged in", serial);
    sp_free_port_list(list);
    return status;
}

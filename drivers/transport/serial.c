/* Serial ports through libserialport, which finds and sets them. Waiting is done on the port's own
 * descriptor, because libserialport reports a hang-up as silence (see README.md). */
#include <errno.h>
#include <libserialport.h>
#include <limits.h>
#include <linux/serial.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "drivers/transport/adapter.h"
#include "drivers/transport/descriptor.h"
#include "drivers/transport/terminal.h"

/* A driver that forgets to wake its readers at a hang-up is asked this often. */
#define LOOK_AGAIN_NS (ES_NS_PER_S / 5)

struct serial {
    struct es_transport base;
    struct sp_port *port; /* NULL: lost */
    int fd;
    struct es_adapter adapter;
    bool known; /* adapter is filled */
    struct es_serial_settings settings;
    char *device, *serial_number; /* owned; settings points here */
    char name[PATH_MAX];          /* the port as opened last */
    char latency[96];
};

static enum es_status fail_library(enum sp_return rc, const char *name, const char *doing,
                                   struct es_error *err)
{
    if (rc == SP_ERR_MEM)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory %s", name, doing);
    if (rc == SP_ERR_FAIL)
        return es_descriptor_fail(sp_last_error_code(), name, doing, err);
    return es_fail(err, ES_RANGE, "%s: the port cannot do that (%s)", name, doing);
}

static enum es_status configure(struct sp_port *port, const struct es_serial_settings *s, const char *name,
                                struct es_error *err)
{
    static const enum sp_parity parities[] = {SP_PARITY_EVEN, SP_PARITY_ODD, SP_PARITY_NONE};
    static const enum sp_flowcontrol flows[] = {SP_FLOWCONTROL_NONE, SP_FLOWCONTROL_RTSCTS,
                                                SP_FLOWCONTROL_XONXOFF};
    struct sp_port_config *c = NULL;
    enum sp_return rc = sp_new_config(&c);
    if (rc != SP_OK)
        return fail_library(rc, name, "setting it", err);
    /* The setters only fill a struct; sp_set_config is the one that can fail. */
    (void)sp_set_config_baudrate(c, (int)s->baud);
    (void)sp_set_config_bits(c, s->data_bits);
    (void)sp_set_config_parity(c, parities[s->parity]);
    (void)sp_set_config_stopbits(c, s->stop_bits);
    (void)sp_set_config_flowcontrol(c, flows[s->flow]);
    rc = sp_set_config(port, c);
    enum es_status status = ES_OK;
    int baud = 0;
    if (rc != SP_OK)
        status = fail_library(rc, name, "setting baud rate, bits, parity or flow control", err);
    else if (sp_get_config(port, c) == SP_OK && sp_get_config_baudrate(c, &baud) == SP_OK && baud > 0 &&
             labs(baud - s->baud) * 50 > s->baud)
        status = es_fail(err, ES_RANGE, "%s runs at %d baud, not at %ld: choose a rate that the port has",
                         name, baud, s->baud);
    sp_free_config(c);
    return status;
}

/* USB adapters wait for more bytes, often 16 ms, before they deliver. */
static void lower_latency(int fd, const char *name, char *said, size_t size)
{
    struct serial_struct s;
    bool flag = false;
    if (ioctl(fd, TIOCGSERIAL, &s) == 0) {
        s.flags |= (int)ASYNC_LOW_LATENCY;
        flag = ioctl(fd, TIOCSSERIAL, &s) == 0;
    }
    const char *base = strrchr(name, '/');
    char path[PATH_MAX + 64];
    snprintf(path, sizeof path, "/sys/class/tty/%s/device/latency_timer", base ? base + 1 : name);
    long timer = -1;
    char text[16];
    FILE *f = fopen(path, "re");
    if (f) {
        if (fgets(text, sizeof text, f))
            timer = strtol(text, NULL, 10);
        fclose(f);
    }
    if (timer > 2)
        snprintf(said, size, ", adapter's latency timer %ld ms: it slows the line and could not be lowered",
                 timer);
    else if (timer >= 0)
        snprintf(said, size, ", adapter's latency timer %ld ms", timer);
    else
        snprintf(said, size, "%s", flag ? ", low latency" : ", no low-latency setting");
}

static enum es_status find_port(const struct serial *s, char *name, size_t size, struct es_error *err)
{
    if (s->known && s->adapter.usb)
        return es_adapter_find(ES_ADAPTER_TERMINALS, &s->adapter, name, size, err);
    if (s->settings.adapter)
        return es_adapter_find_serial(ES_ADAPTER_TERMINALS, s->settings.adapter, name, size, err);
    char real[PATH_MAX];
    if (!realpath(s->settings.device, real))
        return es_fail(err, ES_HANGUP, "%s is not there (%s)", s->settings.device, strerror(errno));
    snprintf(name, size, "%s", real);
    return ES_OK;
}

static enum es_status open_port(struct serial *s, struct es_error *err)
{
    char name[PATH_MAX];
    struct es_adapter adapter;
    enum es_status status = find_port(s, name, sizeof name, err);
    if (status == ES_OK)
        status = es_adapter_of(ES_ADAPTER_TERMINALS, name, &adapter, err);
    if (status != ES_OK)
        return status;
    struct sp_port *port = NULL;
    enum sp_return rc = sp_get_port_by_name(name, &port);
    if (rc != SP_OK)
        return fail_library(rc, name, "looking for it", err);
    rc = sp_open(port, SP_MODE_READ_WRITE);
    if (rc != SP_OK) {
        status = fail_library(rc, name, "opening", err);
        goto free_port;
    }
    int fd = -1;
    rc = sp_get_port_handle(port, &fd);
    if (rc != SP_OK) {
        status = fail_library(rc, name, "asking for its descriptor", err);
        goto close_port;
    }
    status = es_descriptor_selectable(fd, name, err);
    if (status == ES_OK)
        status = configure(port, &s->settings, name, err);
    if (status != ES_OK)
        goto close_port;
    (void)ioctl(fd, TIOCEXCL); /* keeps others out where the system can */
    lower_latency(fd, name, s->latency, sizeof s->latency);
    s->port = port;
    s->fd = fd;
    s->adapter = adapter;
    s->known = true;
    memcpy(s->name, name, strlen(name) + 1);
    return ES_OK;
close_port:
    sp_close(port);
free_port:
    sp_free_port(port);
    return status;
}

static void drop_port(struct serial *s)
{
    if (s->port) {
        sp_close(s->port);
        sp_free_port(s->port);
    }
    s->port = NULL;
    s->fd = -1;
}

static enum es_status serial_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct serial *s = (struct serial *)t;
    for (;;) {
        es_time look = es_clock_now() + LOOK_AGAIN_NS;
        bool last = look >= deadline;
        enum es_status status = es_descriptor_wait(s->fd, false, last ? deadline : look, s->name, err);
        if (status != ES_TIMEOUT)
            return status;
        if (sp_input_waiting(s->port) < 0)
            return es_fail(err, ES_HANGUP, "%s is gone: the adapter has been unplugged", s->name);
        if (last)
            return ES_TIMEOUT;
    }
}

static enum es_status serial_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                  size_t *got, struct es_error *err)
{
    struct serial *s = (struct serial *)t;
    for (;;) {
        enum es_status status = serial_wait(t, deadline, err);
        if (status != ES_OK)
            return status;
        int n = sp_nonblocking_read(s->port, to, size);
        if (n > 0) {
            *got = (size_t)n;
            return ES_OK;
        }
        if (n < 0)
            return fail_library((enum sp_return)n, s->name, "reading", err);
        if (sp_input_waiting(s->port) <= 0) /* readable, and yet nothing: the port has hung up */
            return es_fail(err, ES_HANGUP, "%s is gone: the adapter has been unplugged", s->name);
    }
}

static enum es_status serial_write(struct es_transport *t, const uint8_t *from, size_t count,
                                   es_time deadline, struct es_error *err)
{
    struct serial *s = (struct serial *)t;
    while (count > 0) {
        enum es_status status = es_descriptor_wait(s->fd, true, deadline, s->name, err);
        if (status != ES_OK)
            return status == ES_TIMEOUT
                       ? es_fail(err, ES_TIMEOUT, "%s does not take bytes (flow control?)", s->name)
                       : status;
        int n = sp_nonblocking_write(s->port, from, count);
        if (n < 0)
            return fail_library((enum sp_return)n, s->name, "writing", err);
        from += n;
        count -= (size_t)n;
    }
    return ES_OK;
}

static enum es_status serial_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct serial *s = (struct serial *)t;
    return es_descriptor_drain(s->fd, TIOCOUTQ, deadline, s->name, err);
}

static enum es_status serial_flush(struct es_transport *t, struct es_error *err)
{
    struct serial *s = (struct serial *)t;
    if (!s->port)
        return es_fail(err, ES_HANGUP, "%s is gone", s->name);
    enum sp_return rc = sp_flush(s->port, SP_BUF_INPUT);
    return rc == SP_OK ? ES_OK : fail_library(rc, s->name, "emptying", err);
}

static enum es_status serial_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct serial *s = (struct serial *)t;
    (void)deadline; /* opening does not wait */
    drop_port(s);   /* first: while it is held, the adapter cannot come back under its old name */
    enum es_status status = open_port(s, err);
    if (status == ES_IO && err)
        err->status =
            ES_HANGUP; /* half plugged in, or not yet released by the system: for the caller still gone */
    return status == ES_IO ? ES_HANGUP : status;
}

static int serial_descriptor(const struct es_transport *t)
{
    return ((const struct serial *)t)->fd;
}

static void serial_describe(const struct es_transport *t, char *out, size_t size)
{
    static const char parities[] = "EON";
    const struct serial *s = (const struct serial *)t;
    const struct es_serial_settings *c = &s->settings;
    if (!s->port) {
        snprintf(out, size, "%s, gone", s->name);
        return;
    }
    snprintf(out, size, "%s, %ld baud %d%c%d%s%s%s", s->name, c->baud, c->data_bits, parities[c->parity],
             c->stop_bits, s->adapter.serial[0] ? ", USB serial number " : "", s->adapter.serial, s->latency);
}

static void serial_close(struct es_transport *t)
{
    struct serial *s = (struct serial *)t;
    drop_port(s);
    free(s->device);
    free(s->serial_number);
    free(s);
}

static const struct es_transport_ops serial_ops = {
    .read = serial_read,
    .write = serial_write,
    .drain = serial_drain,
    .wait = serial_wait,
    .flush = serial_flush,
    .reopen = serial_reopen,
    .descriptor = serial_descriptor,
    .describe = serial_describe,
    .close = serial_close,
};

static bool is_pseudo_terminal(const char *device)
{
    char real[PATH_MAX];
    return device && realpath(device, real) && strncmp(real, "/dev/pts/", 9) == 0;
}

enum es_status es_serial_open(const struct es_serial_settings *settings, struct es_transport **out,
                              struct es_error *err)
{
    if (!settings->device && !settings->adapter)
        return es_fail(err, ES_USAGE, "a serial line needs a device or an adapter's serial number");
    if (is_pseudo_terminal(settings->device))
        return es_terminal_open(settings->device, out, err);
    struct serial *s = calloc(1, sizeof *s);
    if (!s)
        return es_fail(err, ES_NO_MEMORY, "out of memory opening a serial port");
    s->base.ops = &serial_ops;
    s->fd = -1;
    s->settings = *settings;
    s->device = settings->device ? strdup(settings->device) : NULL;
    s->serial_number = settings->adapter ? strdup(settings->adapter) : NULL;
    s->settings.device = s->device;
    s->settings.adapter = s->serial_number;
    enum es_status status;
    if ((settings->device && !s->device) || (settings->adapter && !s->serial_number))
        status = es_fail(err, ES_NO_MEMORY, "out of memory opening a serial port");
    else
        status = open_port(s, err);
    if (status != ES_OK) {
        serial_close(&s->base);
        return status;
    }
    *out = &s->base;
    return ES_OK;
}

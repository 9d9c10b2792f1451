/* The serial transport and the modbus driver on a kernel's real serial drivers (8250 and FTDI). Runs as the
 * only program of a virtual machine; serial_kernel.py plays the other ends of both lines and the hand that
 * pulls the plug.
 *
 * On /dev/ttyS1: lines of text are answered in capitals, and there is a Modbus RTU instrument, unit 1. Orders
 * to the hand: "hand: unplug", "hand: plug". On the USB adapter: the same text and the same instrument; a
 * line "silent" makes it fall silent. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "drivers/modbus/driver_open.h"
#include "drivers/transport/adapter.h"
#include "drivers/transport/transport.h"

static int failures;

static void check(bool good, const char *what, const char *detail)
{
    printf("SERIAL-KERNEL: %s %s%s%s\n", good ? "ok  " : "FAIL", what, *detail ? ": " : "", detail);
    fflush(stdout);
    failures += !good;
}

static es_time in(double s)
{
    return es_clock_now() + es_from_seconds(s);
}

static struct es_transport *open_line(const char *device, long baud, int bits, int parity, int stop)
{
    const struct es_serial_settings s = {device, NULL, baud, bits, parity, stop, ES_FLOW_NONE};
    struct es_transport *t = NULL;
    struct es_error err = {0};
    char text[700];
    enum es_status status = es_serial_open(&s, &t, &err);
    snprintf(text, sizeof text, "%s", err.text);
    if (status == ES_OK)
        es_transport_describe(t, text, sizeof text);
    check(status == ES_OK, "opened", text);
    if (status != ES_OK)
        exit(1);
    return t;
}

/* Sends a line and compares the answer. */
static void talk(struct es_transport *t, const char *line, const char *expected)
{
    struct es_error err = {0};
    char answer[128] = "";
    size_t have = 0, got;
    enum es_status status = es_transport_write(t, (const uint8_t *)line, strlen(line), in(5), &err);
    while (status == ES_OK && have < sizeof answer - 1 && !memchr(answer, '\n', have)) {
        status = es_transport_read(t, (uint8_t *)answer + have, sizeof answer - 1 - have, in(5), &got, &err);
        have += status == ES_OK ? got : 0;
    }
    answer[have] = '\0';
    check(status == ES_OK && strcmp(answer, expected) == 0, "exchange of a text line",
          status == ES_OK ? "" : err.text);
}

static void check_settings(const char *device, long baud, speed_t speed, int bits, int parity, int stop)
{
    struct es_transport *t = open_line(device, baud, bits, parity, stop);
    struct termios c;
    bool good = tcgetattr(es_transport_descriptor(t), &c) == 0;
    good = good && cfgetispeed(&c) == speed && cfgetospeed(&c) == speed;
    good = good && (c.c_cflag & CSIZE) == (tcflag_t)(bits == 7 ? CS7 : CS8);
    good = good && !(c.c_cflag & CSTOPB) == (stop == 1);
    good = good && !(c.c_cflag & PARENB) == (parity == ES_PARITY_NONE);
    good = good && (parity == ES_PARITY_NONE || !(c.c_cflag & PARODD) == (parity == ES_PARITY_EVEN));
    good = good && !(c.c_lflag & (ICANON | ECHO | ISIG)) && !(c.c_oflag & OPOST) &&
           !(c.c_iflag & (IXON | ICRNL));
    check(good, "the kernel has the settings", "");
    es_transport_close(t);
}

static void check_modbus(const char *device, long baud)
{
    const struct es_modbus_bus settings = {.mode = ES_MODBUS_RTU, .device = (char *)device, .baud = baud};
    const struct es_modbus_instrument instrument = {
        .unit = 1, .gap = 4, .max_registers = 125, .max_bits = 2000, .identity_count = 1};
    const struct es_instrument_common common = {
        .name = "instrument", .timeout = 3, .turn_around = 0.2, .settings = &instrument};
    const struct es_modbus_channel channel = {
        .table = ES_MODBUS_HOLDING, .address = 107, .type = ES_MODBUS_INT32, .bit = -1};
    const struct es_point point = {0, &channel, false};
    const struct es_request *requests;
    size_t count;
    struct es_bus *bus;
    struct es_error err = {0};
    struct es_raw raw = {0};
    struct es_stamp stamp;
    enum es_status status = es_modbus_driver.open(&settings, &common, 1, &bus, &err);
    check(status == ES_OK, "modbus opened", err.text);
    if (status != ES_OK)
        return;
    status = es_modbus_driver.plan(bus, &point, 1, &requests, &count, &err);
    for (int i = 0; i < 20 && status == ES_OK; i++)
        status = es_modbus_driver.read(bus, 0, &raw, &stamp, &err);
    check(status == ES_OK && raw.value == 555 * 65536.0, "modbus reads 20 times", err.text);
    es_modbus_driver.close(bus);
}

/* The line must be known to be gone within about a second of it, not when the 10 s of the exchange are over;
 * the bound leaves room for a machine that is busy with other tests, the line printed tells the time taken.
 * `begun` is when the plug was asked to be pulled; the hand waits 0.5 s first. */
static void check_found(enum es_status status, es_time begun, const char *what, const char *text)
{
    char detail[800];
    double taken = es_seconds(es_clock_now() - begun);
    snprintf(detail, sizeof detail, "%s after %.2f s (0.5 s of it before the plug was pulled): %s",
             es_status_word(status), taken, text);
    check(status == ES_HANGUP && taken < 4, what, detail);
}

static void wait_for(const char *path)
{
    for (int i = 0; i < 600 && access(path, F_OK) != 0; i++)
        usleep(100000);
    check(access(path, F_OK) == 0, "the system has", path);
    usleep(200000); /* the driver is still setting it up */
}

static void plug_again(struct es_transport *hand, struct es_transport *usb, const char *name)
{
    struct es_error err = {0};
    char text[256];
    enum es_status status = ES_HANGUP;
    check(es_transport_reopen(usb, in(1), &err) == ES_HANGUP, "not back before it is plugged in", err.text);
    talk(hand, "hand: plug\n", "HAND: PLUG\n");
    wait_for(name);
    for (int i = 0; i < 50 && status != ES_OK; i++) {
        status = es_transport_reopen(usb, in(1), &err);
        usleep(100000);
    }
    es_transport_describe(usb, text, sizeof text);
    check(status == ES_OK && strstr(text, name), "found again by its identity",
          status == ES_OK ? text : err.text);
    talk(usb, "again\n", "AGAIN\n");
}

static void check_unplug_while_reading(struct es_transport *hand)
{
    struct es_transport *usb = open_line("/dev/ttyUSB0", 9600, 8, ES_PARITY_NONE, 1);
    struct es_adapter adapter;
    struct es_error err = {0};
    uint8_t byte;
    size_t got;
    check(es_adapter_of(ES_ADAPTER_TERMINALS, "/dev/ttyUSB0", &adapter, &err) == ES_OK &&
              strcmp(adapter.serial, "ES-1") == 0,
          "the adapter's serial number is read", adapter.serial);
    talk(usb, "over usb\n", "OVER USB\n");
    /* Another program holds the old name, so that the adapter comes back under a new one. */
    int held = open("/dev/ttyUSB0", O_RDWR | O_NOCTTY | O_NONBLOCK);
    check(held >= 0 || getuid() == 0, "held", "");
    talk(hand, "hand: unplug\n", "HAND: UNPLUG\n");
    es_time begun = es_clock_now();
    enum es_status status = es_transport_read(usb, &byte, 1, in(10), &got, &err);
    check_found(status, begun, "unplugging is found while reading", err.text);
    status = es_transport_write(usb, &byte, 1, in(1), &err);
    check(status == ES_HANGUP, "writing says so too", err.text);
    plug_again(hand, usb, held >= 0 ? "/dev/ttyUSB1" : "/dev/ttyUSB0");
    if (held >= 0)
        close(held);
    es_transport_close(usb);
}

/* The same through libmodbus, which waits by itself for an instrument that does not answer; by serial number.
 */
static void check_unplug_under_modbus(struct es_transport *hand, const char *device)
{
    const struct es_modbus_bus settings = {.mode = ES_MODBUS_RTU, .adapter = (char *)"ES-1", .baud = 9600};
    const struct es_modbus_instrument instrument = {
        .unit = 9, .gap = 4, .max_registers = 125, .max_bits = 2000, .identity_count = 1};
    const struct es_instrument_common common = {
        .name = "silent", .timeout = 10, .turn_around = 0.1, .settings = &instrument};
    struct es_bus *bus;
    struct es_error err = {0};
    char text[256];
    (void)device;
    if (es_modbus_driver.open(&settings, &common, 1, &bus, &err) != ES_OK) {
        check(false, "modbus opened by the adapter's serial number", err.text);
        return;
    }
    es_modbus_driver.describe(bus, text, sizeof text);
    check(true, "modbus opened by the adapter's serial number", text);
    talk(hand, "hand: unplug\n", "HAND: UNPLUG\n");
    es_time begun = es_clock_now();
    enum es_status status = es_modbus_driver.probe(bus, 0, text, sizeof text, &err);
    check_found(status, begun, "unplugging is found under libmodbus", err.text);
    es_modbus_driver.close(bus);
}

int main(void)
{
    check_settings("/dev/ttyS1", 19200, B19200, 8, ES_PARITY_EVEN, 1);
    check_settings("/dev/ttyS1", 9600, B9600, 7, ES_PARITY_ODD, 1);
    check_settings("/dev/ttyS1", 115200, B115200, 8, ES_PARITY_NONE, 2);
    check_settings("/dev/ttyUSB0", 57600, B57600, 8, ES_PARITY_NONE, 2);
    check_modbus("/dev/ttyS1", 19200);
    check_modbus("/dev/ttyUSB0", 57600);
    struct es_transport *hand = open_line("/dev/ttyS1", 115200, 8, ES_PARITY_NONE, 1);
    talk(hand, "hello\n", "HELLO\n");
    check_unplug_while_reading(hand);
    check_unplug_under_modbus(hand, "/dev/ttyUSB1");
    es_transport_close(hand);
    printf("SERIAL-KERNEL: %d failures\n", failures);
    return failures != 0;
}

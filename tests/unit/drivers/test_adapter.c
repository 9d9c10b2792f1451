/* The look-up of serial adapters on folders laid out as the system's are, with adapters that come and go. */
#include <criterion/criterion.h>
#include <errno.h>
#include <ftw.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "drivers/transport/adapter.h"

static char root[64], terminals[96];

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    cr_assert(f && fputs(text, f) >= 0 && fclose(f) == 0, "%s", path);
}

static void join(const char *target, const char *path)
{
    cr_assert(symlink(target, path) == 0 || errno == EEXIST, "%s", path);
}

/* devices/<socket>/<socket>:1.<i>/<name>/, as usb-serial lays it out; class/<name> links to the terminal. */
static void plug(const char *name, const char *socket, int interface, const char *serial)
{
    char path[400], target[400];
    snprintf(path, sizeof path, "%s/devices/%s", root, socket);
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/devices/%s/%s:1.%d", root, socket, socket, interface);
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/devices/%s/%s:1.%d/%s", root, socket, socket, interface, name);
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/devices/%s/%s:1.%d/%s/tty", root, socket, socket, interface, name);
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/devices/%s/%s:1.%d/%s/tty/device", root, socket, socket, interface, name);
    join("..", path);
    snprintf(path, sizeof path, "%s/devices/%s/idProduct", root, socket);
    put(path, "6001\n");
    if (serial) {
        snprintf(path, sizeof path, "%s/devices/%s/serial", root, socket);
        put(path, serial);
    }
    snprintf(path, sizeof path, "%s/devices/%s/idVendor", root, socket);
    put(path, "0403\n");
    snprintf(target, sizeof target, "%s/devices/%s/%s:1.%d/%s/tty", root, socket, socket, interface, name);
    snprintf(path, sizeof path, "%s/%s", terminals, name);
    join(target, path);
}

/* In the kernel's order or another: whatever is left half-way must not be taken for an adapter. */
static void pull(const char *name, const char *socket)
{
    char path[400];
    snprintf(path, sizeof path, "%s/devices/%s/serial", root, socket);
    unlink(path);
    snprintf(path, sizeof path, "%s/devices/%s/idVendor", root, socket);
    unlink(path);
    snprintf(path, sizeof path, "%s/%s", terminals, name);
    unlink(path);
}

static void set_up(void)
{
    char path[128];
    strcpy(root, "/tmp/es-adapter-XXXXXX");
    cr_assert_not_null(mkdtemp(root));
    snprintf(terminals, sizeof terminals, "%s/class", root);
    mkdir(terminals, 0755);
    snprintf(path, sizeof path, "%s/devices", root);
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/class/tty0", root); /* a terminal without hardware */
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/class/ttyS0", root); /* a built-in port */
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/class/ttyS0/device", root);
    mkdir(path, 0755);
    snprintf(path, sizeof path, "%s/class/ttyUSB9", root); /* what has just gone */
    join("../devices/nowhere", path);
}

static int remove_one(const char *path, const struct stat *s, int flag, struct FTW *w)
{
    (void)s;
    (void)flag;
    (void)w;
    return remove(path);
}

static void tear_down(void)
{
    nftw(root, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

TestSuite(adapter, .init = set_up, .fini = tear_down);

Test(adapter, identity_is_read)
{
    struct es_adapter a;
    struct es_error err;
    plug("ttyUSB0", "1-2", 1, "ES-1\n");
    cr_assert_eq(es_adapter_of(terminals, "/dev/ttyUSB0", &a, &err), ES_OK, "%s", err.text);
    cr_expect(a.usb && a.vendor == 0x403 && a.product == 0x6001);
    cr_expect_str_eq(a.serial, "ES-1");
    cr_expect_str_eq(a.interface, ":1.1");
    cr_expect_not_null(strstr(a.location, "1-2/1-2:1.1"));
    cr_assert_eq(es_adapter_of(terminals, "/dev/ttyS0", &a, &err), ES_OK, "%s", err.text);
    cr_expect(!a.usb);
    cr_expect_eq(es_adapter_of(terminals, "/dev/ttyUSB9", &a, &err), ES_HANGUP);
    cr_expect_eq(es_adapter_of(terminals, "/dev/tty0", &a, &err), ES_HANGUP, "no hardware behind it");
    cr_expect_eq(es_adapter_of(terminals, "/dev/", &a, &err), ES_HANGUP);
}

Test(adapter, found_under_another_name_and_socket)
{
    struct es_adapter a;
    struct es_error err;
    char port[64];
    plug("ttyUSB0", "1-2", 0, "ES-1\n");
    plug("ttyUSB1", "1-3", 0, "ES-2\n");
    cr_assert_eq(es_adapter_of(terminals, "/dev/ttyUSB0", &a, &err), ES_OK);
    pull("ttyUSB0", "1-2");
    cr_expect_eq(es_adapter_find(terminals, &a, port, sizeof port, &err), ES_HANGUP);
    cr_expect_not_null(strstr(err.text, "ES-1) is not plugged in"), "%s", err.text);
    plug("ttyUSB7", "1-4", 0, "ES-1\n");
    cr_assert_eq(es_adapter_find(terminals, &a, port, sizeof port, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(port, "/dev/ttyUSB7");
    cr_assert_eq(es_adapter_find_serial(terminals, "ES-2", port, sizeof port, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(port, "/dev/ttyUSB1");
    cr_expect_eq(es_adapter_find_serial(terminals, "ES-3", port, sizeof port, &err), ES_HANGUP);
}

Test(adapter, without_serial_number_by_its_socket_alone)
{
    struct es_adapter a;
    struct es_error err;
    char port[64];
    plug("ttyUSB0", "1-2", 0, NULL);
    plug("ttyUSB1", "1-3", 0, NULL);
    cr_assert_eq(es_adapter_of(terminals, "/dev/ttyUSB1", &a, &err), ES_OK);
    cr_expect_str_eq(a.serial, "");
    cr_assert_eq(es_adapter_find(terminals, &a, port, sizeof port, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(port, "/dev/ttyUSB1");
    pull("ttyUSB1", "1-3");
    cr_expect_eq(es_adapter_find(terminals, &a, port, sizeof port, &err), ES_HANGUP);
}

Test(adapter, two_alike_with_one_serial_number_are_told_apart_by_the_socket)
{
    struct es_adapter a;
    struct es_error err;
    char port[64];
    plug("ttyUSB0", "1-2", 0, "SAME\n");
    plug("ttyUSB1", "1-3", 0, "SAME\n");
    cr_assert_eq(es_adapter_of(terminals, "/dev/ttyUSB1", &a, &err), ES_OK);
    cr_assert_eq(es_adapter_find(terminals, &a, port, sizeof port, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(port, "/dev/ttyUSB1");
    pull("ttyUSB1", "1-3");
    plug("ttyUSB2", "1-4", 0, "SAME\n");
    cr_expect_eq(es_adapter_find(terminals, &a, port, sizeof port, &err), ES_HANGUP);
    cr_expect_not_null(strstr(err.text, "look alike"), "%s", err.text);
}

static atomic_bool enough;

static void *come_and_go(void *unused)
{
    (void)unused;
    while (!atomic_load(&enough)) {
        plug("ttyUSB0", "1-2", 0, "ES-1\n");
        plug("ttyUSB5", "1-5", 0, "ES-5\n");
        pull("ttyUSB0", "1-2");
        pull("ttyUSB5", "1-5");
    }
    return NULL;
}

/* What libserialport's list of ports died of. Whatever the moment: found whole, or not plugged in. */
Test(adapter, ports_may_vanish_while_they_are_looked_at)
{
    pthread_t hand;
    struct es_adapter steady = {0}, a;
    struct es_error err;
    char port[64];
    size_t found = 0, gone = 0;
    plug("ttyUSB1", "1-3", 0, "ES-2\n");
    cr_assert_eq(es_adapter_of(terminals, "/dev/ttyUSB1", &steady, &err), ES_OK);
    cr_assert_eq(pthread_create(&hand, NULL, come_and_go, NULL), 0);
    for (int i = 0; i < 20000 && (i < 2000 || !found || !gone); i++) {
        enum es_status status = es_adapter_of(terminals, "/dev/ttyUSB0", &a, &err);
        cr_assert(status == ES_HANGUP || status == ES_OK, "%s", err.text);
        if (status == ES_OK)
            cr_assert(!a.usb || (a.vendor == 0x403 && strcmp(a.interface, ":1.0") == 0));
        found += status == ES_OK && a.usb;
        gone += status == ES_HANGUP;
        cr_assert_eq(es_adapter_find(terminals, &steady, port, sizeof port, &err), ES_OK, "%s", err.text);
        cr_assert_str_eq(port, "/dev/ttyUSB1");
        status = es_adapter_find_serial(terminals, "ES-5", port, sizeof port, &err);
        cr_assert(status == ES_HANGUP || (status == ES_OK && strcmp(port, "/dev/ttyUSB5") == 0));
    }
    atomic_store(&enough, true);
    pthread_join(hand, NULL);
    cr_expect(found > 0 && gone > 0, "%zu times there, %zu times not: nothing was tried", found, gone);
}

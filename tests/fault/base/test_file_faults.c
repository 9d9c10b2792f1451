/* Each system call of a durable write, removal, folder or journal fails in turn, once and from then on:
 * afterwards the final name holds the old bytes or the new, never a mixture; the failure is reported; no file
 * descriptor stays open. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/file.h"

struct faulty {
    const struct es_file_ops *real;
    unsigned calls;
    unsigned fail_at; /* 0: never */
    bool for_ever;
    int errnum;
    bool dribble; /* one byte a write, every other one interrupted */
    int open_files;
    char order[200]; /* one letter a call */
};

static bool fails(struct faulty *f, char letter)
{
    f->calls++;
    if (f->calls < sizeof f->order)
        f->order[f->calls - 1] = letter;
    bool now = f->fail_at != 0 && (f->calls == f->fail_at || (f->for_ever && f->calls > f->fail_at));
    if (now)
        errno = f->errnum;
    return now;
}

static int f_open(void *self, const char *path, int flags, mode_t mode)
{
    struct faulty *f = self;

    if (fails(f, 'o'))
        return -1;
    int fd = f->real->open(NULL, path, flags, mode);
    f->open_files += fd >= 0;
    return fd;
}

static ssize_t f_read(void *self, int fd, void *bytes, size_t size)
{
    struct faulty *f = self;

    if (fails(f, 'r'))
        return -1;
    if (f->dribble && f->calls % 2 == 0) {
        errno = EINTR;
        return -1;
    }
    return f->real->read(NULL, fd, bytes, f->dribble ? 1 : size);
}

static ssize_t f_write(void *self, int fd, const void *bytes, size_t size)
{
    struct faulty *f = self;

    if (fails(f, 'w')) {
        if (size > 1) /* as a full disk does: part of it went through */
            (void)!f->real->write(NULL, fd, bytes, size / 2);
        errno = f->errnum;
        return -1;
    }
    if (f->dribble && f->calls % 2 == 0) {
        errno = EINTR;
        return -1;
    }
    return f->real->write(NULL, fd, bytes, f->dribble ? 1 : size);
}

static int f_sync(void *self, int fd)
{
    struct faulty *f = self;
    return fails(f, 's') ? -1 : f->real->sync(NULL, fd);
}

static int f_truncate(void *self, int fd, off_t size)
{
    struct faulty *f = self;
    return fails(f, 't') ? -1 : f->real->truncate(NULL, fd, size);
}

static off_t f_size(void *self, int fd)
{
    struct faulty *f = self;
    return fails(f, 'z') ? -1 : f->real->size(NULL, fd);
}

static int f_close(void *self, int fd)
{
    struct faulty *f = self;
    bool failed = fails(f, 'c'); /* Linux releases the descriptor even then */

    f->open_files--;
    (void)f->real->close(NULL, fd);
    if (failed)
        errno = f->errnum;
    return failed ? -1 : 0;
}

static int f_rename(void *self, const char *from, const char *to)
{
    struct faulty *f = self;
    return fails(f, 'm') ? -1 : f->real->rename(NULL, from, to);
}

static int f_link(void *self, const char *from, const char *to)
{
    struct faulty *f = self;
    return fails(f, 'l') ? -1 : f->real->link(NULL, from, to);
}

static int f_unlink(void *self, const char *path)
{
    struct faulty *f = self;
    return fails(f, 'u') ? -1 : f->real->unlink(NULL, path);
}

static int f_mkdir(void *self, const char *path, mode_t mode)
{
    struct faulty *f = self;
    return fails(f, 'd') ? -1 : f->real->mkdir(NULL, path, mode);
}

static struct es_file_ops wrap(struct faulty *f)
{
    f->real = es_file_system();
    return (struct es_file_ops){.self = f,
                                .open = f_open,
                                .read = f_read,
                                .write = f_write,
                                .sync = f_sync,
                                .truncate = f_truncate,
                                .size = f_size,
                                .close = f_close,
                                .rename = f_rename,
                                .link = f_link,
                                .unlink = f_unlink,
                                .mkdir = f_mkdir};
}

static char folder[64], path[96];

static void enter(void)
{
    (void)strcpy(folder, "/tmp/endstop-faults-XXXXXX");
    cr_assert_neq(mkdtemp(folder), NULL);
    (void)snprintf(path, sizeof path, "%s/file", folder);
}

static void leave(void)
{
    char command[100];

    (void)snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_assert_eq(system(command), 0);
}

TestSuite(file_faults, .init = enter, .fini = leave);

static size_t entries(void)
{
    DIR *d = opendir(folder);
    size_t n = 0;

    cr_assert_neq(d, NULL);
    for (struct dirent *e = readdir(d); e != NULL; e = readdir(d))
        n += strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0;
    (void)closedir(d);
    return n;
}

/* What the file holds; "" also when there is none. */
static const char *content(void)
{
    static char text[64];
    FILE *from = fopen(path, "r");
    size_t n = 0;

    if (from != NULL) {
        n = fread(text, 1, sizeof text - 1, from);
        (void)fclose(from);
    }
    text[n] = '\0';
    return text;
}

static void put(const char *text)
{
    FILE *to = fopen(path, "w");

    cr_assert_neq(to, NULL);
    cr_assert_geq(fputs(text, to), 0);
    cr_assert_eq(fclose(to), 0);
}

static const int errnums[] = {ENOSPC, EIO, EROFS, EDQUOT};

/* Runs the write with call n failing, n = 1, 2, 3 ... until it completes; returns how many failed. */
static unsigned fail_each_write(enum es_file_write how, int errnum, bool for_ever)
{
    for (unsigned n = 1;; n++) {
        struct faulty f = {.fail_at = n, .errnum = errnum, .for_ever = for_ever};
        struct es_file_ops ops = wrap(&f);
        struct es_error err = {0};
        leave();
        enter();
        if (how == ES_FILE_REPLACE)
            put("the old bytes");
        enum es_status status = es_file_write(&ops, path, how, 0600, "the new bytes", 13, &err);
        const char *now = content();
        const char *old = how == ES_FILE_REPLACE ? "the old bytes" : "";

        cr_assert(strcmp(now, old) == 0 || strcmp(now, "the new bytes") == 0, "call %u of %s left \"%s\"", n,
                  f.order, now);
        cr_assert_eq(f.open_files, 0, "call %u of %s leaks a descriptor", n, f.order);
        if (status == ES_OK)
            cr_assert_str_eq(now, "the new bytes", "call %u of %s: done, but not done", n, f.order);
        else
            cr_assert_gt(strlen(err.text), 10);
        if (!for_ever && f.order[n - 1] != 'u')
            cr_assert_leq(entries(), 1, "call %u of %s leaves a temporary file", n, f.order);
        if (f.calls < n)
            return n - 1;
    }
}

Test(file_faults, a_write_is_all_or_nothing)
{
    for (size_t i = 0; i < sizeof errnums / sizeof errnums[0]; i++) {
        /* open write sync close rename, open sync close of the folder */
        cr_expect_eq(fail_each_write(ES_FILE_REPLACE, errnums[i], false), 8);
        cr_expect_geq(fail_each_write(ES_FILE_REPLACE, errnums[i], true), 8);
        cr_expect_eq(fail_each_write(ES_FILE_NEW, errnums[i], false), 9);
        cr_expect_geq(fail_each_write(ES_FILE_NEW, errnums[i], true), 9);
    }
}

/* A crash between two calls must never show a half file: bytes first, then the name, then the folder. */
Test(file_faults, order_of_a_durable_write)
{
    struct faulty f = {0};
    struct es_file_ops ops = wrap(&f);

    cr_assert_eq(es_file_write(&ops, path, ES_FILE_REPLACE, 0600, "x", 1, NULL), ES_OK);
    cr_expect_str_eq(f.order, "owscmosc");
    struct faulty g = {0};
    ops = wrap(&g);
    cr_assert_eq(es_file_remove(&ops, path, NULL), ES_OK);
    cr_expect_str_eq(g.order, "uosc");
    struct faulty h = {0};
    ops = wrap(&h);
    cr_assert_eq(es_file_write(&ops, path, ES_FILE_NEW, 0600, "x", 1, NULL), ES_OK);
    cr_expect_str_eq(h.order, "owscluosc");
}

Test(file_faults, only_the_last_close_may_fail_unreported)
{
    for (unsigned n = 1; n <= 8; n++) {
        struct faulty f = {.fail_at = n, .errnum = EIO};
        struct es_file_ops ops = wrap(&f);
        enum es_status status = es_file_write(&ops, path, ES_FILE_REPLACE, 0600, "x", 1, NULL);
        cr_expect_eq(status == ES_OK, n == 8, "call %u of %s", n, f.order);
    }
}

Test(file_faults, slow_and_interrupted_calls_are_no_failures)
{
    struct faulty f = {.dribble = true};
    struct es_file_ops ops = wrap(&f);
    char *bytes = NULL;
    size_t length = 0;

    cr_assert_eq(es_file_write(&ops, path, ES_FILE_REPLACE, 0600, "byte by byte", 12, NULL), ES_OK);
    cr_expect_str_eq(content(), "byte by byte");
    cr_assert_eq(es_file_read(&ops, path, 100, &bytes, &length, NULL), ES_OK);
    cr_expect_str_eq(bytes, "byte by byte");
    free(bytes);
    cr_expect_eq(f.open_files, 0);
}

Test(file_faults, reading)
{
    struct es_error err = {0};
    char *bytes = NULL;
    size_t length = 0;

    put("some text");
    for (unsigned n = 1; n <= 3; n++) { /* open, read, read */
        struct faulty f = {.fail_at = n, .errnum = EIO};
        struct es_file_ops ops = wrap(&f);
        cr_expect_eq(es_file_read(&ops, path, 100, &bytes, &length, &err), ES_IO, "call %u", n);
        cr_expect_eq(bytes, NULL);
        cr_expect_eq(f.open_files, 0);
    }
    struct faulty f = {.fail_at = 1, .errnum = EACCES};
    struct es_file_ops ops = wrap(&f);
    cr_expect_eq(es_file_read(&ops, path, 100, &bytes, &length, &err), ES_REFUSED);
}

Test(file_faults, removal_and_folders_report)
{
    struct es_error err = {0};
    char deep[128];

    (void)snprintf(deep, sizeof deep, "%s/a/b", folder);
    for (unsigned n = 1; n <= 3; n++) {
        struct faulty f = {.fail_at = n, .errnum = EIO};
        struct es_file_ops ops = wrap(&f);
        put("x");
        cr_expect_neq(es_file_remove(&ops, path, &err), ES_OK, "call %u", n);
        cr_expect_eq(f.open_files, 0);
    }
    for (unsigned n = 1;; n++) {
        struct faulty f = {.fail_at = n, .errnum = ENOSPC};
        struct es_file_ops ops = wrap(&f);
        enum es_status status = es_folder_make(&ops, deep, 0700, &err);
        cr_expect_eq(f.open_files, 0);
        if (status == ES_OK) {
            cr_expect_eq(access(deep, F_OK), 0);
            cr_expect_gt(n, 1);
            break;
        }
    }
}

/* The journal: after any failure what stands there is a row of whole records. */
static void fail_each_append(int errnum, bool for_ever)
{
    for (unsigned n = 1;; n++) {
        struct faulty f = {.fail_at = n, .errnum = errnum, .for_ever = for_ever};
        struct es_file_ops ops = wrap(&f);
        struct es_appender a = {0};
        struct es_error err = {0};
        bool lost = false;

        (void)unlink(path);
        if (es_appender_open(&ops, path, 0600, &a, &err) == ES_OK) {
            for (int i = 0; i < 3; i++) {
                lost |= es_appender_write(&a, "record;", 7, &err) != ES_OK;
                lost |= es_appender_sync(&a, &err) != ES_OK;
            }
            bool broken = a.broken;
            (void)es_appender_close(&a, &err);
            const char *now = content();
            if (!broken)
                cr_assert_eq(strlen(now) % 7, 0, "call %u of %s left \"%s\"", n, f.order, now);
            if (!lost)
                cr_assert_str_eq(now, "record;record;record;");
        }
        cr_assert_eq(f.open_files, 0, "call %u of %s", n, f.order);
        if (f.calls < n)
            return;
    }
}

Test(file_faults, journal_holds_whole_records)
{
    for (size_t i = 0; i < sizeof errnums / sizeof errnums[0]; i++) {
        fail_each_append(errnums[i], false);
        fail_each_append(errnums[i], true);
    }
}

/* After a failed fsync the kernel may have dropped the pages and report success the next time. */
Test(file_faults, a_failed_sync_is_never_forgotten)
{
    struct faulty f = {.errnum = EIO};
    struct es_file_ops ops = wrap(&f);
    struct es_appender a = {0};
    struct es_error err = {0};

    cr_assert_eq(es_appender_open(&ops, path, 0600, &a, &err), ES_OK);
    cr_assert_eq(es_appender_write(&a, "x", 1, &err), ES_OK);
    f.fail_at = f.calls + 1;
    cr_expect_eq(es_appender_sync(&a, &err), ES_IO);
    cr_expect_eq(es_appender_sync(&a, &err), ES_DISABLED);
    cr_expect_eq(es_appender_write(&a, "x", 1, &err), ES_DISABLED);
    cr_expect_eq(es_appender_close(&a, &err), ES_OK);
}

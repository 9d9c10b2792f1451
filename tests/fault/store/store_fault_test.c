/* Every system call of the store's writing fails in turn, once or for ever; and the process dies before it.
 * After that: what was announced is there, whole, once; what was not is not listed by halves; the next number
 * is the next one. */
#include <criterion/criterion.h>
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/unit/store/store_help.h"

TestSuite(store_fault, .init = help_setup, .fini = help_teardown);

static struct {
    long countdown; /* the call that fails; 0: none */
    bool for_ever;  /* and all after it */
    bool kill;      /* die instead of failing */
    int errnum;
    long calls;
} fault;

static bool strikes(void)
{
    fault.calls++;
    bool now = fault.countdown > 0 &&
               (fault.calls == fault.countdown || (fault.for_ever && fault.calls > fault.countdown));
    if (now && fault.kill) {
        (void)kill(getpid(), SIGKILL);
    }
    if (now) {
        errno = fault.errnum;
    }
    return now;
}

#define SYSTEM es_file_system()

static int f_open(void *self, const char *path, int flags, mode_t mode)
{
    return strikes() ? -1 : SYSTEM->open(self, path, flags, mode);
}
static ssize_t f_read(void *self, int fd, void *bytes, size_t size)
{
    return strikes() ? -1 : SYSTEM->read(self, fd, bytes, size);
}
static ssize_t f_write(void *self, int fd, const void *bytes, size_t size)
{
    if (!strikes()) {
        return SYSTEM->write(self, fd, bytes, size);
    }
    (void)SYSTEM->write(self, fd, bytes, size / 2); /* a full disk takes a part first */
    errno = fault.errnum;
    return -1;
}
static int f_sync(void *self, int fd)
{
    return strikes() ? -1 : SYSTEM->sync(self, fd);
}
static int f_truncate(void *self, int fd, off_t size)
{
    return strikes() ? -1 : SYSTEM->truncate(self, fd, size);
}
static off_t f_size(void *self, int fd)
{
    return strikes() ? -1 : SYSTEM->size(self, fd);
}
static int f_close(void *self, int fd)
{
    bool failed = strikes();
    int result = SYSTEM->close(self, fd);
    errno = fault.errnum;
    return failed ? -1 : result;
}
static int f_rename(void *self, const char *from, const char *to)
{
    return strikes() ? -1 : SYSTEM->rename(self, from, to);
}
static int f_link(void *self, const char *from, const char *to)
{
    return strikes() ? -1 : SYSTEM->link(self, from, to);
}
static int f_unlink(void *self, const char *path)
{
    return strikes() ? -1 : SYSTEM->unlink(self, path);
}
static int f_mkdir(void *self, const char *path, mode_t mode)
{
    return strikes() ? -1 : SYSTEM->mkdir(self, path, mode);
}

static const struct es_file_ops faulty = {.open = f_open,
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

/* A run from begin to end as the runtime does it; says what was announced. */
struct announced {
    bool begun, ended;
    char number[ES_STORE_NUMBER_MAX];
    char digest[65];
};

static void do_run(struct es_store *store, struct announced *a)
{
    struct es_store_run run = {.run = (char *)"r1", .began = (char *)"2026-02-03T10:00:00Z"};
    struct es_store_maker maker = help_maker("certificate", "s", "r1");
    *a = (struct announced){0};
    a->begun = es_store_run_begin(store, &run, NULL) == ES_OK;
    if (!a->begun || es_store_recording(store, "recording", 9, a->digest, NULL) != ES_OK) {
        return;
    }
    if (es_store_issue(store, "EX", &maker, a->number, NULL) != ES_OK) {
        a->number[0] = 0;
        return;
    }
    a->ended = es_store_run_end(store, "r1", "2026-02-03T10:05:00Z", a->number, NULL, NULL) == ES_OK;
}

/* After the fault: does everything that was announced hold? */
static void expect_kept(const struct announced *a, long n)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_runs runs;
    struct es_store_list list;
    cr_assert_eq(es_store_runs(store, &runs, NULL), ES_OK);
    cr_assert_eq(es_store_certificates(store, NULL, &list, NULL), ES_OK);
    cr_expect_leq(list.count, 1, "call %ld", n);
    for (size_t i = 0; i < list.count; i++) {
        cr_expect_null(list.items[i].fault, "call %ld: half a certificate is listed", n);
    }
    if (a->begun) {
        cr_assert_eq(runs.count, 1, "call %ld: the run is lost", n);
    }
    if (a->digest[0]) {
        char *path = NULL;
        cr_expect_eq(es_store_recording_path(store, a->digest, &path, NULL), ES_OK, "call %ld", n);
        free(path);
    }
    if (a->number[0]) {
        cr_expect_eq(list.count, 1, "call %ld: an announced certificate is missing", n);
        cr_expect_eq(runs.items[0].state, ES_RUN_CERTIFIED, "call %ld", n);
        cr_expect_str_eq(runs.items[0].number, a->number);
    }
    /* the next number follows what is there */
    struct es_store_maker maker = help_maker("certificate", "s", "next");
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(es_store_issue(store, "EX", &maker, number, NULL), ES_OK);
    cr_expect_str_eq(number, list.count ? "EX-000002" : "EX-000001", "call %ld", n);
    es_store_list_free(&list);
    es_store_runs_free(&runs);
    es_store_close(store);
}

static void start_over(void)
{
    help_teardown();
    help_setup();
}

static void fail_each_call(bool for_ever, int errnum)
{
    for (long n = 1; n < 200; n++) {
        struct announced a = {0};
        struct es_store *store = NULL;
        fault.calls = 0;
        fault.countdown = n;
        fault.for_ever = for_ever;
        fault.errnum = errnum;
        if (es_store_open_with(&faulty, help_folder, ES_STORE_WRITE, &store, NULL) == ES_OK) {
            do_run(store, &a);
            es_store_close(store);
        }
        bool reached = fault.calls >= n;
        expect_kept(&a, n);
        start_over();
        if (!reached) {
            cr_expect(a.ended, "with no call failing all is announced");
            cr_expect_gt(n, 40, "the run makes more calls than that");
            return;
        }
    }
    cr_assert_fail("the run never completed");
}

Test(store_fault, each_call_fails_once_with_a_full_disk)
{
    fail_each_call(false, ENOSPC);
}

Test(store_fault, each_call_fails_for_ever_with_an_io_error)
{
    fail_each_call(true, EIO);
}

Test(store_fault, failure_then_a_second_try_gives_the_same_number)
{
    for (long n = 1; n < 60; n++) {
        struct es_store *store = NULL;
        struct es_store_maker maker = help_maker("certificate", "s", "r1");
        char number[ES_STORE_NUMBER_MAX];
        fault.countdown = 0;
        fault.for_ever = false;
        fault.errnum = ENOSPC;
        cr_assert_eq(es_store_open_with(&faulty, help_folder, ES_STORE_WRITE, &store, NULL), ES_OK);
        fault.calls = 0;
        fault.countdown = n;
        enum es_status first = es_store_issue(store, "EX", &maker, number, NULL);
        bool reached = fault.calls >= n;
        if (first != ES_OK) {
            cr_assert_eq(es_store_issue(store, "EX", &maker, number, NULL), ES_OK);
        }
        cr_expect_str_eq(number, "EX-000001", "call %ld", n);
        es_store_close(store);
        start_over();
        if (!reached) {
            cr_expect_gt(n, 5);
            return;
        }
    }
    cr_assert_fail("never completed");
}

/* The child tells by a pipe what it announced, the moment it did. */
static void child(int to)
{
    struct es_store *store = NULL;
    struct announced a;
    if (es_store_open_with(&faulty, help_folder, ES_STORE_WRITE, &store, NULL) != ES_OK) {
        _exit(1);
    }
    struct es_store_run run = {.run = (char *)"r1", .began = (char *)"2026-02-03T10:00:00Z"};
    struct es_store_maker maker = help_maker("certificate", "s", "r1");
    a = (struct announced){0};
    a.begun = es_store_run_begin(store, &run, NULL) == ES_OK;
    (void)!write(to, &a, sizeof a);
    (void)!es_store_recording(store, "recording", 9, a.digest, NULL);
    (void)!write(to, &a, sizeof a);
    (void)!es_store_issue(store, "EX", &maker, a.number, NULL);
    (void)!write(to, &a, sizeof a);
    a.ended = es_store_run_end(store, "r1", "2026-02-03T10:05:00Z", a.number, NULL, NULL) == ES_OK;
    (void)!write(to, &a, sizeof a);
    es_store_close(store);
    _exit(0);
}

Test(store_fault, killed_before_each_call)
{
    for (long n = 1; n < 200; n++) {
        int ends[2];
        cr_assert_eq(pipe(ends), 0);
        fault.calls = 0;
        fault.countdown = n;
        fault.for_ever = false;
        fault.kill = true;
        pid_t pid = fork();
        cr_assert_geq(pid, 0);
        if (pid == 0) {
            child(ends[1]);
        }
        (void)close(ends[1]);
        struct announced a = {0};
        struct announced next;
        while (read(ends[0], &next, sizeof next) == (ssize_t)sizeof next) {
            a = next;
        }
        (void)close(ends[0]);
        int status = 0;
        cr_assert_eq(waitpid(pid, &status, 0), pid);
        expect_kept(&a, n);
        start_over();
        if (WIFEXITED(status)) {
            cr_expect_eq(WEXITSTATUS(status), 0);
            cr_expect(a.ended);
            cr_expect_gt(n, 40);
            return;
        }
    }
    cr_assert_fail("the child never got to its end");
}

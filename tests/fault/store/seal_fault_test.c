/* A released certificate on its way into the log: the process dies before each system call, or each one
 * fails. What was announced is sealed; what was not is sealed by the next start; nothing is there twice. */
#include <criterion/criterion.h>
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "results/log/log.h"
#include "results/store/signed.h"
#include "tests/support/archive/visits.h"
#include "tests/support/file/file_fault.h"

static struct visits v;

static void setup(void)
{
    visits_open(&v);
    visits_add(&v, &(struct visit){.serial = "EX-1"});
}

static void teardown(void)
{
    visits_close(&v);
}

TestSuite(seal_fault, .init = setup, .fini = teardown);

static struct es_key *releaser(unsigned char byte)
{
    unsigned char seed[32] = {byte};
    struct es_key *key = NULL;
    cr_assert_eq(es_key_from_seed(seed, &key, NULL), ES_OK);
    return key;
}

/* Release and seal as the client and the daemon do; true: announced. */
static bool release(const struct es_file_ops *ops)
{
    static const struct es_signing signing = {
        .role = ES_ROLE_OF_RELEASE, .when = "2026-02-03T11:00:00Z", .name = "B. Example"};
    struct es_store *store = NULL;
    struct es_key *key = releaser(7);
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = es_store_open_with(ops, v.folder, ES_STORE_WRITE, &store, NULL);
    if (st == ES_OK) {
        st = es_store_sign(store, "EX-000001", key, &signing, &bytes, &length, NULL, NULL);
        free(bytes);
    }
    if (st == ES_OK) {
        st = es_store_seal(store, v.key, "EX-000001", "2026-02-03T11:00:01Z", NULL);
    }
    es_store_close(store);
    es_key_free(key);
    return st == ES_OK;
}

/* How many leaves of the certificate the log has; each file has its proof, and it holds. */
static size_t sealed(struct es_store *store)
{
    char *path = NULL;
    struct es_log *log = NULL;
    cr_assert_eq(es_store_log_path(store, &path, NULL), ES_OK);
    cr_assert_eq(es_log_read(NULL, path, NULL, &log, NULL), ES_OK);
    free(path);
    size_t count = es_log_size(log);
    for (size_t i = 0; i < count; i++) {
        struct es_findings findings = {0};
        struct es_log_proof proof;
        struct es_log_head head;
        struct es_error err = {0};
        char *bytes = NULL, *text = NULL;
        size_t length = 0, size = 0, version = es_log_leaf(log, i)->version;
        cr_assert_eq(es_store_version(store, "EX-000001", version, &bytes, &length, NULL), ES_OK);
        cr_assert_eq(es_store_seal_path(store, "EX-000001", version, &path, NULL), ES_OK);
        cr_assert_eq(es_file_read(NULL, path, 1 << 20, &text, &size, &err), ES_OK, "%s", err.text);
        cr_assert_eq(es_log_proof_read("seal", text, size, &findings, &proof, NULL), ES_OK);
        cr_expect_eq(es_log_proof_check(&proof, bytes, length, &v.trusted, 1, &head, &err), ES_OK, "%s",
                     err.text);
        es_log_proof_clear(&proof);
        es_findings_free(&findings);
        free(text);
        free(path);
        free(bytes);
    }
    es_log_close(log);
    return count;
}

/* The next start: everything that was signed is in the log, once, with its proof. */
static void expect_mended(bool announced, long n)
{
    struct es_error err = {0};
    char *bytes = NULL;
    size_t length = 0, signatures = 0;
    cr_assert_eq(es_store_open(v.folder, ES_STORE_WRITE, &v.store, &err), ES_OK, "%s", err.text);
    if (announced) {
        cr_expect_eq(sealed(v.store), 2, "call %ld: announced and not sealed", n);
    }
    cr_expect_eq(es_store_seal(v.store, v.key, NULL, "2026-02-04T08:00:00Z", &err), ES_OK, "call %ld: %s", n,
                 err.text);
    cr_assert_eq(es_store_latest(v.store, "EX-000001", &bytes, &length, &signatures, &err), ES_OK);
    cr_expect_eq(sealed(v.store), signatures, "call %ld", n);
    cr_expect(!announced || signatures == 2, "call %ld: an announced release is lost", n);
    free(bytes);
}

static void start_over(void)
{
    teardown();
    setup();
    es_store_close(v.store); /* `release` opens its own */
    v.store = NULL;
}

static void each_call(bool for_ever, int errnum)
{
    start_over();
    for (long n = 1; n < 200; n++) {
        struct file_fault fault;
        file_fault_init(&fault, n, for_ever, errnum);
        bool announced = release(&fault.ops);
        expect_mended(announced, n);
        bool reached = fault.calls >= n;
        start_over();
        if (!reached) {
            cr_expect(announced);
            cr_expect_gt(n, 20, "it makes more calls than that");
            return;
        }
    }
    cr_assert_fail("never completed");
}

Test(seal_fault, each_call_fails_once_with_a_full_disk)
{
    each_call(false, ENOSPC);
}

Test(seal_fault, each_call_is_interrupted_once)
{
    each_call(false, EINTR);
}

Test(seal_fault, each_call_fails_for_ever)
{
    each_call(true, EIO);
}

static struct file_fault deadly;
static int (*real_sync)(void *self, int fd);
static int (*real_link)(void *self, const char *from, const char *to);
static int (*real_rename)(void *self, const char *from, const char *to);
static ssize_t (*real_write)(void *self, int fd, const void *bytes, size_t size);
static long steps, last_step;

static void step(void)
{
    if (++steps == last_step) {
        (void)kill(getpid(), SIGKILL);
    }
}

static int k_sync(void *self, int fd)
{
    step();
    return real_sync(self, fd);
}
static int k_link(void *self, const char *from, const char *to)
{
    step();
    return real_link(self, from, to);
}
static int k_rename(void *self, const char *from, const char *to)
{
    step();
    return real_rename(self, from, to);
}
static ssize_t k_write(void *self, int fd, const void *bytes, size_t size)
{
    step();
    return real_write(self, fd, bytes, size);
}

/* The child tells by a pipe that it announced. */
static void child(int to)
{
    bool announced = release(&deadly.ops);
    (void)!write(to, announced ? "y" : "n", 1);
    _exit(0);
}

Test(seal_fault, killed_before_each_step)
{
    file_fault_init(&deadly, 0, false, 0);
    real_sync = deadly.ops.sync;
    real_link = deadly.ops.link;
    real_rename = deadly.ops.rename;
    real_write = deadly.ops.write;
    deadly.ops.sync = k_sync;
    deadly.ops.link = k_link;
    deadly.ops.rename = k_rename;
    deadly.ops.write = k_write;
    start_over();
    for (last_step = 1; last_step < 100; last_step++) {
        int ends[2], status = 0;
        char said = 'n';
        cr_assert_eq(pipe(ends), 0);
        steps = 0;
        pid_t pid = fork();
        cr_assert_geq(pid, 0);
        if (pid == 0) {
            child(ends[1]);
        }
        (void)close(ends[1]);
        bool told = read(ends[0], &said, 1) == 1;
        (void)close(ends[0]);
        cr_assert_eq(waitpid(pid, &status, 0), pid);
        expect_mended(told && said == 'y', last_step);
        start_over();
        if (WIFEXITED(status)) {
            cr_expect_eq(said, 'y');
            cr_expect_gt(last_step, 8, "it takes more steps than that");
            return;
        }
    }
    cr_assert_fail("the child never got to its end");
}

/* A file that is not its predecessor with one signature more is kept out, and the others are not. */
Test(seal_fault, a_foreign_file_among_the_signed_is_not_entered)
{
    size_t length;
    struct es_error err = {0};
    char *bytes = visits_read(&v, "certificates/EX-000001.json", &length);
    es_store_close(v.store); /* `release` opens its own */
    cr_assert(release(NULL));
    cr_assert_eq(es_store_open(v.folder, ES_STORE_WRITE, &v.store, NULL), ES_OK);
    visits_write(&v, "certificates/signed/EX-000001.3.json", bytes, length);
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(visits_issue(&v, &(struct visit){.serial = "EX-2"}, number), ES_OK);
    cr_expect_eq(es_store_seal(v.store, v.key, NULL, "2026-02-04T08:00:00Z", &err), ES_BAD_INPUT);
    cr_expect(strstr(err.text, "EX-000001"), "%s", err.text);
    char *path = NULL;
    cr_assert_eq(es_store_seal_path(v.store, number, 1, &path, NULL), ES_OK);
    cr_expect_eq(access(path, R_OK), 0, "the others are entered all the same");
    free(path);
    free(bytes);
}

/* Two people release the same certificate at the same moment: one of the two files comes to be. */
Test(seal_fault, two_releases_at_once)
{
    for (int round = 0; round < 20; round++) {
        int ready[2];
        pid_t pids[2];
        int done = 0;
        cr_assert_eq(pipe(ready), 0);
        for (int i = 0; i < 2; i++) {
            pids[i] = fork();
            cr_assert_geq(pids[i], 0);
            if (pids[i] == 0) {
                char go;
                const struct es_signing signing = {.role = ES_ROLE_OF_RELEASE,
                                                   .when = "2026-02-03T11:00:00Z",
                                                   .name = i ? "B. Example" : "C. Example"};
                struct es_key *key = releaser((unsigned char)(10 + i));
                struct es_store *store = NULL;
                char *bytes = NULL;
                size_t length = 0;
                if (es_store_open(v.folder, ES_STORE_READ, &store, NULL) != ES_OK ||
                    read(ready[0], &go, 1) != 1) {
                    _exit(9);
                }
                enum es_status st =
                    es_store_sign(store, "EX-000001", key, &signing, &bytes, &length, NULL, NULL);
                _exit(st == ES_OK ? 0 : st == ES_REFUSED ? 1 : 8);
            }
        }
        cr_assert_eq(write(ready[1], "gg", 2), 2);
        for (int i = 0; i < 2; i++) {
            int status = 0;
            cr_assert_eq(waitpid(pids[i], &status, 0), pids[i]);
            cr_assert(WIFEXITED(status) && WEXITSTATUS(status) <= 1, "exit %d", WEXITSTATUS(status));
            done += WEXITSTATUS(status) == 0;
        }
        (void)close(ready[0]);
        (void)close(ready[1]);
        size_t signatures = 0, length = 0;
        char *bytes = NULL;
        cr_assert_eq(es_store_latest(v.store, "EX-000001", &bytes, &length, &signatures, NULL), ES_OK);
        cr_expect_eq((int)signatures, 1 + done, "what was announced is there, and nothing else");
        cr_expect_geq(done, 1);
        free(bytes);
        teardown();
        setup();
    }
}

/* A job's lines, the book of repairs and the log of the books while each file call fails in turn: once, for
 * ever, with a full disk, a bad disk, an interrupted call. Every line that was announced is there; the file
 * is whole; sealing goes on from there. */
#include <criterion/criterion.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/log.h"
#include "results/store/books.h"
#include "results/store/jobs.h"
#include "tests/support/archive/visits.h"
#include "tests/support/file/file_fault.h"

static struct visits v;

static void setup(void)
{
    visits_open(&v);
}

static void teardown(void)
{
    visits_close(&v);
}

TestSuite(books_fault, .init = setup, .fini = teardown);

#define WHEN "2026-02-03T10:00:00Z"

struct announced {
    bool opened, found, sealed;
};

static struct announced session(const struct es_file_ops *ops)
{
    static const struct es_job_unit unit = {.serial = "EX-1", .received = "2026-02-01"};
    static const struct es_job_change found = {
        .what = "found", .who = "A. Example", .when = WHEN, .text = ES_JOB_NO_FAULT};
    struct announced a = {false, false, false};
    struct es_store *store = NULL;
    char number[ES_STORE_NUMBER_MAX];
    if (es_store_open_with(ops, v.folder, ES_STORE_WRITE, &store, NULL) != ES_OK) {
        return a;
    }
    a.opened = es_job_open(store, &unit, "A. Example", WHEN, number, NULL) == ES_OK;
    a.found = a.opened && es_job_add(store, number, &found, NULL) == ES_OK;
    a.sealed = es_store_seal_books(store, v.key, WHEN, NULL) == ES_OK;
    es_store_close(store);
    return a;
}

static void expect_kept(struct announced a, long n)
{
    struct es_error err = {0};
    struct es_job job = {0};
    char *path = NULL;
    struct es_log *log = NULL;
    cr_assert_eq(es_store_open(v.folder, ES_STORE_WRITE, &v.store, &err), ES_OK, "%s", err.text);
    enum es_status st = es_job_read(v.store, "J-000001", &job, &err);
    cr_expect(st == ES_OK || (st == ES_NOT_FOUND && !a.opened), "call %ld: %s", n, err.text);
    cr_expect_geq((int)job.lines.count, a.opened + a.found, "call %ld: an announced line is lost", n);
    cr_expect_eq(es_store_seal_books(v.store, v.key, WHEN, &err), ES_OK, "call %ld: %s", n, err.text);
    cr_assert_eq(es_store_books_log_path(v.store, &path, NULL), ES_OK);
    cr_assert_eq(es_log_read(NULL, path, NULL, &log, &err), ES_OK, "call %ld: %s", n, err.text);
    uint64_t index;
    cr_expect(st != ES_OK || es_log_find(log, "J-000001.jsonl", &index), "call %ld: not sealed", n);
    es_log_close(log);
    free(path);
    es_job_free(&job);
}

static void start_over(void)
{
    teardown();
    setup();
    es_store_close(v.store); /* `session` opens its own */
    v.store = NULL;
}

static void each_call(bool for_ever, int errnum)
{
    start_over();
    for (long n = 1; n < 250; n++) {
        struct file_fault fault;
        file_fault_init(&fault, n, for_ever, errnum);
        struct announced a = session(&fault.ops);
        expect_kept(a, n);
        bool reached = fault.calls >= n;
        start_over();
        if (!reached) {
            cr_expect(a.opened && a.found && a.sealed);
            cr_expect_gt(n, 25, "it makes more calls than that");
            return;
        }
    }
    cr_assert_fail("never completed");
}

Test(books_fault, full_disk_once)
{
    each_call(false, ENOSPC);
}

Test(books_fault, full_disk_for_ever)
{
    each_call(true, ENOSPC);
}

Test(books_fault, bad_disk_once)
{
    each_call(false, EIO);
}

Test(books_fault, interrupted_call)
{
    each_call(false, EINTR);
}

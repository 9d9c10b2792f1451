/* Each file call of opening and appending fails in turn, once and for ever: the log opens afterwards and
 * holds every leaf that was announced, in its place; the writer goes on. */
#include <criterion/criterion.h>
#include <errno.h>

#include "tests/support/file/file_fault.h"
#include "tests/unit/log/log_help.h"

TestSuite(log_fault, .init = log_setup, .fini = log_teardown);

/* Appends up to two leaves; returns how many were announced. An append that failed ends the session. */
static int session(struct file_fault *fault)
{
    struct es_log *log = NULL;
    if (es_log_open(&fault->ops, log_path, &log, NULL) != ES_OK) {
        return 0;
    }
    int announced = (int)es_log_size(log);
    while (announced < 2 && log_add(log, announced, NULL) == ES_OK) {
        announced++;
    }
    if (announced < 2) { /* what is on the disk is not known: it must say so */
        cr_expect_eq(log_add(log, announced, NULL), ES_DISABLED);
    }
    es_log_close(log);
    return announced;
}

static void each_call(bool for_ever, int errnum)
{
    for (long n = 1; n < 100; n++) {
        struct file_fault fault;
        struct es_log *log = NULL;
        struct es_error err = {0};
        file_fault_init(&fault, n, for_ever, errnum);
        int announced = session(&fault);
        enum es_status st = es_log_read(NULL, log_path, NULL, &log, &err);
        if (st == ES_OK) {
            cr_expect_geq((int)es_log_size(log), announced, "call %ld: an announced leaf is lost", n);
            es_log_close(log);
        } else {
            cr_expect(st == ES_NOT_FOUND && announced == 0, "call %ld: %s", n, err.text);
        }
        log = log_fill(3); /* in the same places as ever: log_fill counts on from what is there */
        for (int i = 0; i < 3; i++) {
            struct es_hash hash;
            char number[32], issued[32];
            log_leaf(i, &hash, number, issued);
            cr_expect(es_hash_equal(&hash, &es_log_leaf(log, (uint64_t)i)->hash), "call %ld leaf %d", n, i);
        }
        es_log_close(log);
        bool reached = fault.calls >= n;
        log_teardown();
        log_setup();
        if (!reached) {
            cr_expect_eq(announced, 2);
            cr_expect_gt(n, 12, "it makes more calls than that");
            return;
        }
    }
    cr_assert_fail("never completed");
}

Test(log_fault, each_call_fails_once_with_a_full_disk)
{
    each_call(false, ENOSPC);
}

Test(log_fault, each_call_fails_for_ever)
{
    each_call(true, EIO);
}

/* Jobs, the book of keys, lists of keys, the log with its proofs, further signatures and their sealing, while
 * each allocation is refused in turn: "out of memory", never a crash, a judgement or half a result. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/log.h"
#include "results/store/books.h"
#include "results/store/jobs.h"
#include "results/store/key_register.h"
#include "results/store/replaced.h"
#include "results/store/signed.h"
#include "tests/support/archive/visits.h"
#include "tests/support/memory/refuse.h"

static struct visits v;
static char job[ES_STORE_NUMBER_MAX];

#define WHEN "2026-02-03T10:00:00Z"

static void setup(void)
{
    static const struct es_job_unit unit = {.serial = "EX-1", .received = "2026-02-01"};
    struct es_error err = {0};
    refuse_setup();
    visits_open(&v);
    visits_add(&v, &(struct visit){.serial = "EX-1"});
    visits_add(&v, &(struct visit){.serial = "EX-1", .replaces = "EX-000001"});
    const struct es_key_change made = {.what = "made",
                                       .who = "A. Example",
                                       .when = WHEN,
                                       .key = es_key_public(v.key)->thumbprint,
                                       .name = "bench",
                                       .roles = "bench",
                                       .public = es_key_public(v.key)};
    cr_assert_eq(es_key_register_add(v.store, &made, 1, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_job_open(v.store, &unit, "A. Example", WHEN, job, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_store_seal_books(v.store, v.key, WHEN, &err), ES_OK, "%s", err.text);
}

static void teardown(void)
{
    visits_close(&v);
}

TestSuite(books_memory, .init = setup, .fini = teardown);

static enum es_status read_job(void)
{
    struct es_job read = {0};
    enum es_status st = es_job_read(v.store, job, &read, NULL);
    es_job_free(&read);
    return st;
}

static enum es_status read_keys(void)
{
    struct es_store_trust keys = {0}, back = {0};
    char *text = NULL;
    enum es_status st = es_key_register_read(v.store, &keys, NULL);
    if (st == ES_OK) {
        st = es_key_list_write(&keys, &text, NULL);
    }
    if (st == ES_OK) {
        st = es_key_list_parse("list", text, strlen(text), &back, NULL);
    }
    if (st == ES_OK) {
        st = es_store_key_check(v.store, es_key_public(v.key), "bench", WHEN, NULL);
    }
    free(text);
    es_store_trust_free(&back);
    es_store_trust_free(&keys);
    return st;
}

static enum es_status prove(void)
{
    struct es_log *log = NULL;
    struct es_log_proof proof;
    char *path = NULL, *text = NULL;
    enum es_status st = es_store_log_path(v.store, &path, NULL);
    if (st == ES_OK) {
        st = es_log_read(NULL, path, NULL, &log, NULL);
    }
    if (st == ES_OK) {
        st = es_log_prove(log, 0, &proof, NULL);
    }
    if (st == ES_OK) {
        st = es_log_proof_write(&proof, &text, NULL);
        es_log_proof_clear(&proof);
    }
    es_log_close(log);
    free(text);
    free(path);
    return st;
}

static enum es_status ask_replaced(void)
{
    char by[ES_STORE_NUMBER_MAX] = "";
    enum es_status st = es_store_replaced_by(v.store, "EX-000001", by, NULL);
    cr_assert(st != ES_OK || strcmp(by, "EX-000002") == 0);
    cr_assert(st != ES_NOT_FOUND, "a lack of memory is no answer");
    return st;
}

static enum es_status list_signed(void)
{
    struct es_store_signed *items = NULL;
    struct es_store_books books = {0};
    size_t count = 0;
    enum es_status st = es_store_signed_list(v.store, &items, &count, NULL, NULL);
    free(items);
    if (st == ES_OK) {
        st = es_store_books(v.store, &books, NULL);
        es_store_books_free(&books);
    }
    return st;
}

Test(books_memory, a_job)
{
    refuse_each(read_job, 10, 1, false);
}

Test(books_memory, keys)
{
    refuse_each(read_keys, 20, 1, false);
}

Test(books_memory, a_proof)
{
    refuse_each(prove, 5, 1, false);
}

Test(books_memory, what_replaces_a_certificate)
{
    refuse_each(ask_replaced, 10, 7, false);
}

Test(books_memory, lists)
{
    refuse_each(list_signed, 3, 1, false);
}

static enum es_status seal_books(void)
{
    struct es_store *store = NULL;
    enum es_status st = es_store_open(v.folder, ES_STORE_WRITE, &store, NULL);
    if (st == ES_OK) {
        st = es_store_seal_books(store, v.key, WHEN, NULL);
    }
    es_store_close(store);
    return st;
}

Test(books_memory, sealing_goes_on_after_it)
{
    static const struct es_job_change note = {.what = "note", .who = "A", .when = WHEN, .text = "x"};
    struct es_error err = {0};
    cr_assert_eq(es_job_add(v.store, job, &note, &err), ES_OK, "%s", err.text);
    es_store_close(v.store);
    refuse_each(seal_books, 20, 1, true); /* sweeping up does without */
    cr_assert_eq(es_store_open(v.folder, ES_STORE_WRITE, &v.store, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_store_seal_books(v.store, v.key, WHEN, &err), ES_OK, "%s", err.text);
}

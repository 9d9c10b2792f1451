/* Each allocation of the archive's own, and each of SQLite's, is refused in turn: the answer is "out of
 * memory", nothing is kept by halves, and no check takes it for a fault of a certificate. */
#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>

#include "results/archive/integrity.h"
#include "results/archive/outbox.h"
#include "results/archive/questions.h"
#include "tests/support/archive/visits.h"
#include "tests/support/memory/refuse.h"

static struct visits v;
static struct es_archive *archive;
static char *bytes;
static size_t length;
static sqlite3_mem_methods sqlite_own;
static bool of_sqlite; /* SQLite's allocations are refused, not ours */

static void *sqlite_malloc(int size)
{
    return of_sqlite && refuse_next() ? NULL : sqlite_own.xMalloc(size);
}

static void *sqlite_realloc(void *old, int size)
{
    return of_sqlite && refuse_next() ? NULL : sqlite_own.xRealloc(old, size);
}

static void setup(void)
{
    struct es_outbox_report sent;
    struct es_error err = {0};
    refuse_setup();
    of_sqlite = false;
    (void)sqlite3_config(SQLITE_CONFIG_GETMALLOC, &sqlite_own);
    sqlite3_mem_methods ours = sqlite_own;
    ours.xMalloc = sqlite_malloc;
    ours.xRealloc = sqlite_realloc;
    cr_assert_eq(sqlite3_config(SQLITE_CONFIG_MALLOC, &ours), SQLITE_OK);
    visits_open(&v);
    visits_add(&v, &(struct visit){.serial = "EX-1", .state = "as found", .leak = 5, .U = 0.3});
    visits_add(&v, &(struct visit){.serial = "EX-1", .state = "as left", .leak = 0.5, .U = 0.3});
    cr_assert_eq(es_archive_open(":memory:", ES_ARCHIVE_WRITE, &archive, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_outbox_send(v.store, archive, NULL, NULL, &sent, &err), ES_OK, "%s", err.text);
    bytes = visits_read(&v, "certificates/EX-000002.json", &length);
}

static void teardown(void)
{
    of_sqlite = false;
    free(bytes);
    es_archive_close(archive);
    visits_close(&v);
}

TestSuite(memory, .init = setup, .fini = teardown, .timeout = 60);

static enum es_status do_open(void)
{
    struct es_archive *a = NULL;
    enum es_status st = es_archive_open(":memory:", ES_ARCHIVE_WRITE, &a, NULL);
    cr_assert((st == ES_OK) == (a != NULL));
    es_archive_close(a);
    return st;
}

Test(memory, opening)
{
    refuse_each(do_open, 2, 1, false);
}

/* As from another bench, so that it is new each time; rolled back. */
static enum es_status do_put(void)
{
    const struct es_archive_put put = {.bench = "another", .bytes = bytes, .length = length};
    bool fresh = false;
    enum es_status st = es_database_begin(&archive->db, NULL);
    if (st == ES_OK) {
        st = es_archive_put(archive, &put, &fresh, NULL);
        (void)!es_database_finish(&archive->db, ES_CANCELLED, NULL);
    }
    return st;
}

Test(memory, putting_in)
{
    refuse_each(do_put, 300, 11, false);
}

static enum es_status ask(enum es_question_kind kind)
{
    struct es_answer answer;
    const struct es_question q = {.kind = kind,
                                  .serial = kind == ES_ASK_HISTORY ? "EX-1" : NULL,
                                  .instrument = "flow sensor 1",
                                  .measurand = kind == ES_ASK_FAILURES || kind == ES_ASK_HISTORY
                                                   ? NULL
                                                   : "leak of output 1, reading 1"};
    enum es_status st = es_question_ask(archive, &q, &answer, NULL);
    cr_assert(st != ES_OK || kind == ES_ASK_REPEATABILITY || answer.rows > 0);
    es_answer_free(&answer);
    return st;
}

static enum es_status do_ask(void)
{
    static const enum es_question_kind kinds[] = {ES_ASK_FIND,     ES_ASK_HISTORY,      ES_ASK_PAIRS,
                                                  ES_ASK_NO_FAULT, ES_ASK_FAILURES,     ES_ASK_TOUCHED,
                                                  ES_ASK_CHART,    ES_ASK_REPEATABILITY};
    enum es_status st = ES_OK;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0] && st == ES_OK; i++) {
        st = ask(kinds[i]);
    }
    return st;
}

Test(memory, asking)
{
    refuse_each(do_ask, 100, 5, false);
}

static enum es_status do_audit(void)
{
    struct es_integrity_report r;
    enum es_status st = es_integrity_check_archive(archive, &v.trusted, 1, &r, NULL);
    cr_assert(st != ES_OK || r.count == 0, "a lack of memory is no finding: %s", r.items[0].text);
    es_integrity_free(&r);
    return st;
}

Test(memory, the_audit)
{
    refuse_each(do_audit, 300, 29, false);
}

/* SQLite can do without some of its allocations. */
Test(memory, of_sqlite)
{
    uint64_t certificates = 0, benches = 0;
    of_sqlite = true;
    refuse_each(do_open, 20, 41, true);
    refuse_each(do_put, 5, 7, true);
    refuse_each(do_ask, 5, 7, true);
    of_sqlite = false;
    cr_assert_eq(es_archive_count(archive, &certificates, &benches, NULL), ES_OK);
    cr_expect_eq(certificates, 2);
    cr_expect_eq(do_audit(), ES_OK);
}

/* Two benches share an archive; somebody with nothing but their public keys checks it. Everything that could
 * be done to it is done; each is found and named. */
#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

#include "results/archive/integrity.h"
#include "results/archive/outbox.h"
#include "results/archive/questions.h"
#include "tests/support/archive/visits.h"

static struct visits first, second;
static struct es_trusted_key trusted[2];
static char place[128];

static void send(struct visits *v, uint64_t fresh)
{
    struct es_archive *a = NULL;
    struct es_outbox_report sent;
    struct es_error err = {0};
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_WRITE, &a, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_outbox_send(v->store, a, NULL, NULL, &sent, &err), ES_OK, "%s", err.text);
    cr_assert_eq(sent.fresh, fresh);
    cr_assert_eq(sent.left_out, 0, "%s", sent.fault);
    es_archive_close(a);
}

/* First: 1 released, 2 void, 3 replaced by 4. Second: two more, in numbers that the first has too. */
static void setup(void)
{
    struct es_key *key = NULL;
    visits_open(&first);
    visits_open(&second);
    (void)snprintf(place, sizeof place, "%s/shared.db", first.folder);
    cr_assert_eq(es_key_from_seed(visits_second_seed, &key, NULL), ES_OK);
    trusted[0] = first.trusted;
    trusted[1] = (struct es_trusted_key){.key = *es_key_public(key), .name = "B. Example"};
    es_key_free(key);
    visits_add(&first, &(struct visit){.serial = "EX-1", .issued = "2026-03-01T08:00:00.000Z"});
    visits_add(&first, &(struct visit){.serial = "EX-2", .issued = "2026-03-01T09:00:00.000Z", .leak = 5});
    send(&first, 2);
    visits_sign(&first, "EX-000001", false, "2026-03-02T08:00:00.000Z");
    visits_sign(&first, "EX-000002", true, "2026-03-02T09:00:00.000Z");
    visits_add(&first, &(struct visit){.serial = "EX-3", .issued = "2026-03-03T08:00:00.000Z", .leak = 6});
    visits_add(&first, &(struct visit){
                           .serial = "EX-3", .issued = "2026-03-03T09:00:00.000Z", .replaces = "EX-000003"});
    send(&first, 4);
    visits_add(&second, &(struct visit){.serial = "EX-8", .issued = "2026-03-01T08:00:00.000Z"});
    visits_add(&second, &(struct visit){.serial = "EX-9", .issued = "2026-03-01T09:00:00.000Z"});
    send(&second, 2);
}

static void teardown(void)
{
    visits_close(&first);
    visits_close(&second);
}

TestSuite(shared, .init = setup, .fini = teardown);

static struct es_integrity_report look(size_t keys)
{
    struct es_archive *a = NULL;
    struct es_integrity_report r;
    struct es_error err = {0};
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_integrity_check_archive(a, trusted, keys, &r, &err), ES_OK, "%s", err.text);
    es_archive_close(a);
    return r;
}

#define ID(serial, number)                                                                                   \
    "(SELECT id FROM certificates WHERE serial = '" serial "' AND number = '" number "')"

static void sql(const char *statement)
{
    sqlite3 *db = NULL;
    cr_assert_eq(sqlite3_open(place, &db), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(db, statement, NULL, NULL, NULL), SQLITE_OK, "%s", sqlite3_errmsg(db));
    (void)sqlite3_close(db);
}

/* All rows of a certificate, and nothing of the log. */
static void take_out(const char *serial, const char *number)
{
    static const char *const rows[] = {"lines WHERE certificate", "instruments WHERE certificate",
                                       "certificates WHERE id"};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char statement[200];
        (void)snprintf(statement, sizeof statement,
                       "DELETE FROM %s = (SELECT id FROM certificates WHERE serial = '%s' AND number = '%s')",
                       rows[i], serial, number);
        sql(statement);
    }
}

/* Of this word, about this number, with this in its text; and none about any other number. */
static void expect_found(const char *word, const char *number, const char *part)
{
    struct es_integrity_report r = look(2);
    bool found = false;
    for (size_t i = 0; i < r.count; i++) {
        const struct es_integrity_finding *f = &r.items[i];
        found =
            found || (strcmp(f->word, word) == 0 && strcmp(f->number, number) == 0 && strstr(f->text, part));
        cr_expect(f->number[0] == 0 || number[0] == 0 || strcmp(f->number, number) == 0, "besides: %s %s %s",
                  f->word, f->number, f->text);
    }
    cr_expect(found, "no \"%s\" about %s (%s) among %zu, the first: %s %s %s", word, number, part, r.count,
              r.count ? r.items[0].word : "", r.count ? r.items[0].number : "",
              r.count ? r.items[0].text : "");
    es_integrity_free(&r);
}

Test(shared, all_is_well)
{
    struct es_integrity_report r = look(2);
    cr_expect_eq(r.count, 0, "%s %s", r.count ? r.items[0].word : "", r.count ? r.items[0].text : "");
    cr_expect_eq(r.benches, 2);
    cr_expect_eq(r.leaves, 8);
    cr_expect_eq(r.certificates, 6);
    es_integrity_free(&r);
}

/* What a second signature and a correction make of a certificate shows in the archive. */
Test(shared, released_void_and_replaced)
{
    static const char *const expected[][3] = {{"EX-000001", "2026-03-02T08:00:00.000Z", ""},
                                              {"EX-000002", "", "void"},
                                              {"EX-000003", "", "EX-000004"},
                                              {"EX-000004", "", ""}};
    struct es_archive *a = NULL;
    struct es_answer answer;
    const struct es_question q = {.kind = ES_ASK_FIND};
    size_t seen = 0;
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, NULL), ES_OK);
    cr_assert_eq(es_question_ask(a, &q, &answer, NULL), ES_OK);
    for (size_t r = 0; r < answer.rows; r++) {
        char *const *cells = answer.cells + r * answer.column_count;
        for (size_t k = 0; k < 4; k++) {
            if (strcmp(cells[0], expected[k][0]) == 0 && strcmp(cells[4], "EX-8") != 0 &&
                strcmp(cells[4], "EX-9") != 0) {
                seen++;
                cr_expect_str_eq(cells[10], expected[k][1]);
                cr_expect_str_eq(cells[11], expected[k][1][0] ? "B. Example" : "");
                cr_expect_str_eq(cells[12], expected[k][2]);
            }
        }
    }
    cr_expect_eq(seen, 4);
    es_answer_free(&answer);
    es_archive_close(a);
}

Test(shared, keys_that_are_not_given_are_missed)
{
    struct es_integrity_report r = look(0);
    size_t signatures = 0, heads = 0;
    for (size_t i = 0; i < r.count; i++) {
        signatures += strcmp(r.items[i].word, "signature") == 0;
        heads += strcmp(r.items[i].word, "head") == 0;
    }
    cr_expect_eq(signatures, 6);
    cr_expect_geq(heads, 2);
    es_integrity_free(&r);
}

Test(shared, a_certificate_taken_out)
{
    take_out("EX-8", "EX-000001");
    expect_found("missing", "EX-000001", "not in the archive");
}

Test(shared, a_failure_taken_out_with_its_entry_in_the_log)
{
    take_out("EX-3", "EX-000003");
    sql("DELETE FROM leaves WHERE number = 'EX-000003'; UPDATE leaves SET position = position - 1 WHERE "
        "position > 4");
    expect_found("head", "", "only 5 are there");
}

Test(shared, entries_and_heads_taken_off_the_end)
{
    take_out("EX-3", "EX-000004");
    sql("DELETE FROM leaves WHERE number = 'EX-000004'");
    expect_found("head", "", "only 5 are there");
    sql("DELETE FROM heads WHERE size = 6");
    expect_found("head", "", "under no signed head");
}

Test(shared, bytes_and_columns_altered)
{
    sql("UPDATE certificates SET verdict = 'pass' WHERE id = " ID("EX-3", "EX-000003") "");
    expect_found("archive", "EX-000003", "column");
    sql("UPDATE certificates SET verdict = 'fail', file = CAST(replace(CAST(file AS TEXT), 'as left', "
        "'as best') AS BLOB) WHERE id = " ID("EX-3", "EX-000003") "");
    expect_found("signature", "EX-000003", "");
    expect_found("archive", "EX-000003", "not what its bench logged");
}

/* An unwelcome failure is marked as void, so that the questions leave it out. */
Test(shared, marked_as_out_of_force)
{
    sql("UPDATE certificates SET out_of_force = 'void' WHERE id = " ID("EX-1", "EX-000001") "");
    expect_found("archive", "EX-000001", "in force");
}

Test(shared, a_void_taken_back)
{
    sql("UPDATE certificates SET out_of_force = '' WHERE id = " ID("EX-2", "EX-000002") "");
    expect_found("archive", "EX-000002", "in force");
}

Test(shared, an_entry_of_the_log_altered)
{
    sql("UPDATE leaves SET hash = replace(hash, substr(hash, 1, 8), '01234567') WHERE number = 'EX-000004'");
    expect_found("head", "", "not those over which it was signed");
    expect_found("archive", "EX-000004", "not what its bench logged");
}

Test(shared, a_bench_without_its_log)
{
    sql("DELETE FROM benches WHERE log = (SELECT bench FROM certificates WHERE id = " ID("EX-8",
                                                                                         "EX-000001") ")");
    struct es_integrity_report r = look(2);
    cr_expect_eq(r.count, 2);
    cr_expect(r.count && strstr(r.items[0].text, "no log"));
    es_integrity_free(&r);
}

/* The bench's log is not what it was: nothing more is taken. */
Test(shared, another_entry_in_a_place_that_is_taken)
{
    struct es_archive *a = NULL;
    struct es_error err = {0};
    struct es_archive_leaf leaf = {
        .log = "0123456789abcdef0123456789abcdef", .number = "EX-000001", .version = 1, .hash = "aa"};
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_WRITE, &a, NULL), ES_OK);
    cr_expect_eq(es_archive_put_leaf(a, &leaf, &err), ES_OK);
    cr_expect_eq(es_archive_put_leaf(a, &leaf, &err), ES_OK, "the same again is nothing new");
    leaf.hash = "bb";
    cr_expect_eq(es_archive_put_leaf(a, &leaf, &err), ES_NOT_VALID);
    cr_expect_not_null(strstr(err.text, "changed on the bench"), "%s", err.text);
    es_archive_close(a);
}

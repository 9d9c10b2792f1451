/* Everything that somebody could do to what is kept, done; each is found and named. */
#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/archive/integrity.h"
#include "results/archive/outbox.h"
#include "tests/support/archive/visits.h"

static struct visits v;
static char place[128];
static char *kept;

static void setup(void)
{
    static const char *const issued[] = {"2026-01-05T08:00:00.000Z", "2026-01-06T08:00:00.000Z",
                                         "2026-01-07T08:00:00.000Z", "2026-01-08T08:00:00.000Z"};
    struct es_archive *a = NULL;
    struct es_outbox_report sent;
    struct es_log *log = NULL;
    char *path = NULL;
    visits_open(&v);
    for (size_t i = 0; i < 4; i++) {
        visits_add(&v, &(struct visit){.serial = i % 2 ? "EX-1" : "EX-2",
                                       .issued = issued[i],
                                       .cause = i == 1 ? "relay seat leaks" : NULL});
    }
    (void)snprintf(place, sizeof place, "%s/archive.db", v.folder);
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_WRITE, &a, NULL), ES_OK);
    cr_assert_eq(es_outbox_send(v.store, a, NULL, NULL, &sent, NULL), ES_OK);
    es_archive_close(a);
    cr_assert_eq(es_store_log_path(v.store, &path, NULL), ES_OK);
    cr_assert_eq(es_log_read(NULL, path, NULL, &log, NULL), ES_OK);
    kept = strdup(es_log_head(log));
    es_log_close(log);
    free(path);
}

static void teardown(void)
{
    free(kept);
    visits_close(&v);
}

TestSuite(integrity, .init = setup, .fini = teardown);

enum { WITH_ARCHIVE = 1, WITH_HEAD = 2 };

static struct es_integrity_report look(int with)
{
    struct es_archive *a = NULL;
    struct es_integrity_report r;
    struct es_error err = {0};
    const char *const heads[] = {kept};
    if (with & WITH_ARCHIVE) {
        cr_assert_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, &err), ES_OK, "%s", err.text);
    }
    const struct es_integrity_order order = {.store = v.store,
                                             .trusted = &v.trusted,
                                             .trusted_count = 1,
                                             .archive = a,
                                             .kept = heads,
                                             .kept_count = with & WITH_HEAD ? 1 : 0,
                                             .skip_recordings = true};
    cr_assert_eq(es_integrity_check(&order, &r, &err), ES_OK, "%s", err.text);
    es_archive_close(a);
    return r;
}

/* Is there a finding of this word about this certificate ("" any)? */
static void expect_found(int with, const char *word, const char *number, const char *part)
{
    struct es_integrity_report r = look(with);
    bool found = false;
    for (size_t i = 0; i < r.count; i++) {
        found = found || (strcmp(r.items[i].word, word) == 0 && strstr(r.items[i].number, number) &&
                          strstr(r.items[i].text, part));
    }
    cr_expect(found, "no \"%s\" about %s (%s) among %zu, the first: %s %s %s", word, number, part, r.count,
              r.count ? r.items[0].word : "", r.count ? r.items[0].number : "",
              r.count ? r.items[0].text : "");
    es_integrity_free(&r);
}

/* Puts `to` in place of `from` (as long) in a file. */
static void edit(const char *file, const char *from, const char *to)
{
    size_t length = 0;
    char *bytes = visits_read(&v, file, &length);
    char *at = memmem(bytes, length, from, strlen(from));
    cr_assert_not_null(at);
    memcpy(at, to, strlen(to));
    visits_write(&v, file, bytes, length);
    free(bytes);
}

static void drop(const char *file)
{
    char path[256];
    (void)snprintf(path, sizeof path, "%s/%s", v.folder, file);
    cr_assert_eq(unlink(path), 0);
}

static void sql(const char *statement)
{
    sqlite3 *db = NULL;
    cr_assert_eq(sqlite3_open(place, &db), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(db, statement, NULL, NULL, NULL), SQLITE_OK, "%s", sqlite3_errmsg(db));
    (void)sqlite3_close(db);
}

Test(integrity, all_is_well)
{
    struct es_integrity_report r = look(WITH_ARCHIVE | WITH_HEAD);
    cr_expect_eq(r.count, 0, "%s: %s", r.count ? r.items[0].word : "", r.count ? r.items[0].text : "");
    cr_expect_eq(r.leaves, 4);
    cr_expect_eq(r.certificates, 4);
    cr_expect_eq(r.rows, 4);
    cr_expect_str_eq(r.head, kept);
    es_integrity_free(&r);
}

Test(integrity, a_deleted_certificate)
{
    drop("certificates/EX-000002.json");
    expect_found(0, "missing", "EX-000002", "not there");
}

Test(integrity, an_altered_certificate)
{
    edit("certificates/EX-000003.json", "\"verdict\":\"pass\"", "\"verdict\":\"fail\"");
    expect_found(0, "altered", "EX-000003", "");
}

Test(integrity, a_back_dated_certificate)
{
    edit("certificates/EX-000003.json", "\"issued\":\"2026-01-07", "\"issued\":\"2025-01-07");
    expect_found(0, "back-dated", "EX-000003", "2025-01-07");
}

/* Even by the bench's own key: signed with an earlier date, and logged. */
Test(integrity, a_certificate_issued_with_an_earlier_date)
{
    visits_add(&v, &(struct visit){.serial = "EX-1", .issued = "2026-01-01T00:00:00.000Z"});
    expect_found(0, "back-dated", "EX-000005", "EX-000004");
}

Test(integrity, two_certificates_changed_over)
{
    size_t a_length, b_length;
    char *a = visits_read(&v, "certificates/EX-000001.json", &a_length);
    char *b = visits_read(&v, "certificates/EX-000002.json", &b_length);
    visits_write(&v, "certificates/EX-000001.json", b, b_length);
    visits_write(&v, "certificates/EX-000002.json", a, a_length);
    free(a);
    free(b);
    expect_found(0, "moved", "EX-000001", "logged as EX-000002");
    expect_found(0, "moved", "EX-000002", "logged as EX-000001");
}

Test(integrity, a_certificate_that_was_never_logged)
{
    size_t length;
    char *bytes = visits_read(&v, "certificates/EX-000004.json", &length);
    visits_write(&v, "certificates/DX-000001.json", bytes, length); /* sorts before all logged ones */
    free(bytes);
    expect_found(0, "added", "DX-000001", "never logged");
}

Test(integrity, one_that_is_not_sealed_yet)
{
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(visits_issue(&v, &(struct visit){.issued = "2026-01-09T08:00:00.000Z"}, number), ES_OK);
    expect_found(0, "not sealed", "EX-000005", "");
    visits_restart(&v); /* the next start enters it */
    cr_assert_eq(es_store_seal(v.store, v.key, NULL, "2026-01-09T09:00:00.000Z", NULL), ES_OK);
    struct es_integrity_report r = look(0);
    cr_expect_eq(r.count, 0);
    es_integrity_free(&r);
}

Test(integrity, a_seal_of_another_or_none)
{
    size_t length;
    char *bytes = visits_read(&v, "certificates/EX-000002.seal.json", &length);
    visits_write(&v, "certificates/EX-000001.seal.json", bytes, length);
    free(bytes);
    drop("certificates/EX-000003.seal.json");
    expect_found(0, "seal", "EX-000001", "");
    expect_found(0, "seal", "EX-000003", "");
}

/* Lines of the log: exchanged, one taken out, one altered, its end cut off, all of it gone. */
static void rewrite_log(const int *lines, size_t count)
{
    size_t length;
    char *text = visits_read(&v, "log/certificates.log", &length);
    char *starts[16] = {NULL};
    size_t there = 0;
    for (char *p = text; *p && there < 16; p = strchr(p, '\n') + 1) {
        starts[there++] = p;
    }
    char *out = calloc(1, length * 2);
    size_t size = 0;
    for (size_t i = 0; i < count; i++) {
        size_t n = strcspn(starts[lines[i]], "\n") + 1;
        memcpy(out + size, starts[lines[i]], n);
        size += n;
    }
    visits_write(&v, "log/certificates.log", out, size);
    free(out);
    free(text);
}

Test(integrity, log_lines_exchanged)
{
    const int lines[] = {0, 3, 2, 1, 4, 5, 6, 7, 8};
    rewrite_log(lines, 9);
    expect_found(0, "log", "", "line 2");
}

Test(integrity, an_entry_taken_out_of_the_log)
{
    const int lines[] = {0, 1, 2, 5, 6, 7, 8};
    rewrite_log(lines, 7);
    expect_found(0, "log", "", "line 4");
}

Test(integrity, the_log_and_its_certificates_cut_short)
{
    const int lines[] = {0, 1, 2, 3, 4};
    rewrite_log(lines, 5);
    drop("certificates/EX-000003.json");
    drop("certificates/EX-000003.seal.json");
    drop("certificates/EX-000004.json");
    drop("certificates/EX-000004.seal.json");
    struct es_integrity_report r = look(0);
    cr_expect_eq(r.count, 0, "without a kept head nothing can show it");
    es_integrity_free(&r);
    expect_found(WITH_HEAD, "head", "", "2 were taken away");
    expect_found(WITH_ARCHIVE, "head", "", "2 were taken away");
    expect_found(WITH_ARCHIVE, "archive", "EX-000004", "never logged");
}

Test(integrity, the_whole_log_written_anew_with_the_key)
{
    drop("log/certificates.log");
    drop("certificates/EX-000002.json");
    visits_restart(&v);
    cr_assert_eq(es_store_seal(v.store, v.key, NULL, "2026-01-09T09:00:00.000Z", NULL), ES_OK);
    expect_found(0, "out of order", "EX-000003", "EX-000001");
    expect_found(WITH_HEAD, "head", "", "is of log");
}

Test(integrity, a_head_signed_by_somebody_else)
{
    static const unsigned char seed[32] = {42};
    struct es_key *mine = v.key;
    cr_assert_eq(es_key_from_seed(seed, &v.key, NULL), ES_OK);
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(visits_issue(&v, &(struct visit){.issued = "2026-01-09T08:00:00.000Z"}, number), ES_OK);
    cr_assert_eq(es_store_seal(v.store, v.key, number, "2026-01-09T08:00:00.000Z", NULL), ES_OK);
    es_key_free(v.key);
    v.key = mine;
    expect_found(0, "head", "", "not among those trusted");
    expect_found(0, "signature", "EX-000005", "");
}

Test(integrity, the_archive_altered)
{
    sql("UPDATE certificates SET verdict = 'fail' WHERE number = 'EX-000001'");
    sql("UPDATE certificates SET issued = '2020' || substr(issued, 5) WHERE number = 'EX-000002'");
    sql("UPDATE lines SET value = value * 2 WHERE certificate = 3 AND position = 0");
    sql("DELETE FROM instruments WHERE certificate = 4 AND position = 1");
    expect_found(WITH_ARCHIVE, "archive", "EX-000001", "column");
    expect_found(WITH_ARCHIVE, "archive", "EX-000002", "column");
    expect_found(WITH_ARCHIVE, "archive", "EX-000003", "values");
    expect_found(WITH_ARCHIVE, "archive", "EX-000004", "instruments");
}

Test(integrity, rows_of_the_archive_deleted_added_and_their_bytes_altered)
{
    sql("DELETE FROM lines WHERE certificate = 2; DELETE FROM instruments WHERE certificate = 2; "
        "DELETE FROM causes WHERE certificate = 2; "
        "DELETE FROM certificates WHERE id = 2");
    sql("UPDATE certificates SET file = CAST(replace(CAST(file AS TEXT), 'as left', 'as best') AS BLOB) "
        "WHERE id = 1");
    sql("UPDATE certificates SET number = 'EX-000009' WHERE id = 3");
    expect_found(WITH_ARCHIVE, "archive", "EX-000002", "not there");
    expect_found(WITH_ARCHIVE, "archive", "EX-000001", "bytes");
    expect_found(WITH_ARCHIVE, "archive", "EX-000009", "never logged");
    expect_found(WITH_ARCHIVE, "archive", "EX-000003", "not there");
}

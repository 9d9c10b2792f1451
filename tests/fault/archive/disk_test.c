/* The archive on a disk that is full, broken, read-only, gone in the middle, locked, or holds nonsense:
 * nothing is there by halves, nothing is lost, the message says what it is, and the next send brings what is
 * missing. */
#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity.h"
#include "results/archive/outbox.h"
#include "results/archive/questions.h"
#include "tests/fault/archive/faulty_disk.h"
#include "tests/support/archive/visits.h"

#define BEFORE 2 /* certificates in the archive when the trouble begins */
#define ALL    4

static struct visits v;
static struct faulty_disk disk;
static char place[128], kept[128];

static void copy(const char *from, const char *to)
{
    char command[512];
    (void)snprintf(command, sizeof command, "cp %s %s && rm -f %s-wal %s-shm %s-journal", from, to, to, to,
                   to);
    cr_assert_eq(system(command), 0);
}

static enum es_status send(struct es_outbox_report *report, struct es_error *err)
{
    struct es_archive *a = NULL;
    enum es_status st = es_archive_open(place, ES_ARCHIVE_WRITE, &a, err);
    if (st == ES_OK) {
        st = es_outbox_send(v.store, a, NULL, NULL, report, err);
    }
    es_archive_close(a);
    return st;
}

static void setup(void)
{
    struct es_outbox_report sent;
    visits_open(&v);
    (void)snprintf(place, sizeof place, "%s/archive.db", v.folder);
    (void)snprintf(kept, sizeof kept, "%s/before.db", v.folder);
    disk = (struct faulty_disk){.mode = DISK_SOUND};
    faulty_disk_install(&disk);
    for (int i = 0; i < BEFORE; i++) {
        visits_add(&v, &(struct visit){.serial = "EX-1", .issued = "2026-03-01T08:00:00.000Z"});
    }
    cr_assert_eq(send(&sent, NULL), ES_OK);
    copy(place, kept);
    for (int i = BEFORE; i < ALL; i++) {
        visits_add(&v, &(struct visit){.serial = "EX-1", .issued = "2026-03-01T09:00:00.000Z"});
    }
}

static void teardown(void)
{
    disk = (struct faulty_disk){.mode = DISK_SOUND};
    visits_close(&v);
}

TestSuite(disk, .init = setup, .fini = teardown);

static uint64_t count_there(void)
{
    struct es_archive *a = NULL;
    struct es_error err = {0};
    uint64_t certificates = 0, benches = 0;
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_archive_count(a, &certificates, &benches, NULL), ES_OK);
    es_archive_close(a);
    return certificates;
}

static void expect_sound(void)
{
    struct es_archive *a = NULL;
    struct es_integrity_report r;
    struct es_error err = {0};
    char said[64] = "";
    sqlite3 *db = NULL;
    sqlite3_stmt *s = NULL;
    cr_assert_eq(sqlite3_open(place, &db), SQLITE_OK);
    cr_assert_eq(sqlite3_prepare_v2(db, "PRAGMA integrity_check", -1, &s, NULL), SQLITE_OK);
    cr_assert_eq(sqlite3_step(s), SQLITE_ROW);
    (void)snprintf(said, sizeof said, "%s", (const char *)sqlite3_column_text(s, 0));
    cr_expect_str_eq(said, "ok");
    (void)sqlite3_finalize(s);
    (void)sqlite3_close(db);
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_integrity_check_archive(a, &v.trusted, 1, &r, &err), ES_OK, "%s", err.text);
    cr_expect_eq(r.count, 0, "%s: %s", r.count ? r.items[0].word : "", r.count ? r.items[0].text : "");
    es_integrity_free(&r);
    es_archive_close(a);
}

/* One send with the fault; afterwards all or nothing is there, and the next send brings the rest. */
static bool one_send(enum faulty_disk_mode mode, long at, bool for_ever, enum es_status expected,
                     const char *words)
{
    struct es_outbox_report sent = {0};
    struct es_error err = {0};
    copy(kept, place);
    disk = (struct faulty_disk){.mode = mode, .at = at, .for_ever = for_ever};
    enum es_status st = send(&sent, &err);
    bool reached = disk.calls >= at;
    disk = (struct faulty_disk){.mode = DISK_SOUND};
    uint64_t there = count_there();
    cr_expect(there == BEFORE || there == ALL, "call %ld: %d of %d", at, (int)there, ALL);
    if (st != ES_OK) {
        cr_expect_eq(st, expected, "call %ld: %d %s", at, (int)st, err.text);
        cr_expect_not_null(strstr(err.text, words), "call %ld: %s", at, err.text);
    } else if (mode != DISK_GONE) {
        cr_expect_eq(there, ALL, "call %ld: said to be sent", at);
    }
    cr_assert_eq(send(&sent, &err), ES_OK, "call %ld, the send after: %s", at, err.text);
    cr_expect_eq(count_there(), ALL);
    return reached;
}

static void each_call(enum faulty_disk_mode mode, bool for_ever, enum es_status expected, const char *words)
{
    long at = 1;
    while (one_send(mode, at, for_ever, expected, words)) {
        at += at < 8 ? 1 : 2; /* the later ones write page after page */
    }
    expect_sound();
    cr_expect_gt(at, 5, "calls that change the disk: %ld", at);
}

Test(disk, full_at_each_call)
{
    each_call(DISK_FULL, false, ES_IO, "full");
}

Test(disk, full_from_each_call_on)
{
    each_call(DISK_FULL, true, ES_IO, "full");
}

Test(disk, broken_at_each_call)
{
    each_call(DISK_BROKEN, true, ES_IO, "failed");
}

Test(disk, read_only_from_each_call_on)
{
    each_call(DISK_READ_ONLY, true, ES_REFUSED, "may not be written");
}

Test(disk, power_lost_at_each_call)
{
    each_call(DISK_GONE, true, ES_IO, "");
}

/* Another program holds the write lock for longer than we wait. */
Test(disk, locked_for_long)
{
    struct es_archive *a = NULL;
    struct es_outbox_report sent = {0};
    struct es_error err = {0};
    sqlite3 *other = NULL;
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_WRITE, &a, &err), ES_OK, "%s", err.text);
    es_database_wait(&a->db, 50);
    cr_assert_eq(sqlite3_open(place, &other), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    cr_expect_eq(es_outbox_send(v.store, a, NULL, NULL, &sent, &err), ES_TIMEOUT);
    cr_expect_not_null(strstr(err.text, "locked by another program"), "%s", err.text);
    cr_expect_eq(count_there(), BEFORE, "reading goes on meanwhile");
    cr_assert_eq(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    cr_expect_eq(es_outbox_send(v.store, a, NULL, NULL, &sent, &err), ES_OK, "%s", err.text);
    (void)sqlite3_close(other);
    es_archive_close(a);
    cr_expect_eq(count_there(), ALL);
}

/* Nonsense in each part of the file in turn: never a crash, and never other certificates than before. */
Test(disk, nonsense_in_the_file)
{
    struct es_outbox_report sent = {0};
    size_t length = 0, noticed = 0, parts = 0;
    cr_assert_eq(send(&sent, NULL), ES_OK);
    char *bytes = visits_read(&v, "archive.db", &length);
    for (size_t at = 0; at < length; at += 4096) {
        char *broken = malloc(length);
        size_t n = length - at < 4096 ? length - at : 4096;
        cr_assert_not_null(broken);
        memcpy(broken, bytes, length);
        for (size_t i = 0; i < n; i++) {
            broken[at + i] = (char)(broken[at + i] ^ (char)(0x5a + i % 7));
        }
        visits_write(&v, "archive.db", broken, length);
        free(broken);
        struct es_archive *a = NULL;
        struct es_error err = {0};
        struct es_integrity_report r = {0};
        enum es_status st = es_archive_open(place, ES_ARCHIVE_READ, &a, &err);
        st = st == ES_OK ? es_integrity_check_archive(a, &v.trusted, 1, &r, &err) : st;
        cr_expect(st == ES_OK || st == ES_NOT_VALID || st == ES_DISABLED || st == ES_IO, "page at %zu: %d %s",
                  at, (int)st, err.text);
        noticed += st != ES_OK || r.count > 0;
        parts++;
        es_integrity_free(&r);
        es_archive_close(a);
    }
    free(bytes);
    /* the rest are pages of indexes that this check does not use */
    cr_expect_geq(noticed * 10, parts * 5, "%zu of %zu noticed", noticed, parts);
}

Test(disk, a_damaged_file_says_what_to_do)
{
    struct es_error err = {0};
    struct es_outbox_report sent;
    size_t length = 0;
    char *bytes = visits_read(&v, "archive.db", &length);
    memset(bytes + 100, 0x77, length - 100);
    visits_write(&v, "archive.db", bytes, length);
    free(bytes);
    cr_expect_eq(send(&sent, &err), ES_NOT_VALID);
    cr_expect_not_null(strstr(err.text, "endstop archive fill"), "%s", err.text);
    cr_assert_eq(remove(place), 0);
    cr_expect_eq(send(&sent, &err), ES_OK, "%s", err.text);
    cr_expect_eq(count_there(), ALL);
}

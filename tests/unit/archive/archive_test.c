#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/archive.h"
#include "results/archive/outbox.h"
#include "results/log/log.h"
#include "tests/support/archive/visits.h"

static struct visits v;
static char place[128];

static void setup(void)
{
    visits_open(&v);
    (void)snprintf(place, sizeof place, "%s/archive.db", v.folder);
}

static void teardown(void)
{
    visits_close(&v);
}

TestSuite(archive_unit, .init = setup, .fini = teardown);

static struct es_archive *open_archive(void)
{
    struct es_archive *a = NULL;
    struct es_error err = {0};
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_WRITE, &a, &err), ES_OK, "%s", err.text);
    return a;
}

static uint64_t count(struct es_archive *a)
{
    uint64_t certificates = 0, benches = 0;
    cr_assert_eq(es_archive_count(a, &certificates, &benches, NULL), ES_OK);
    return certificates;
}

static struct es_outbox_report send_all(struct es_archive *a)
{
    struct es_outbox_report report;
    struct es_error err = {0};
    cr_assert_eq(es_outbox_send(v.store, a, NULL, NULL, &report, &err), ES_OK, "%s", err.text);
    return report;
}

static void add(int n)
{
    for (int i = 0; i < n; i++) {
        visits_add(&v, &(struct visit){.serial = i % 2 ? "EX-1" : "EX-2"});
    }
}

Test(archive_unit, everything_is_sent_once)
{
    struct es_archive *a = open_archive();
    cr_expect_eq(send_all(a).sent, 0);
    add(3);
    struct es_outbox_report r = send_all(a);
    cr_expect_eq(r.sent, 3);
    cr_expect_eq(r.fresh, 3);
    cr_expect_eq(count(a), 3);
    r = send_all(a);
    cr_expect_eq(r.sent, 0);
    add(2);
    r = send_all(a);
    cr_expect_eq(r.sent, 2);
    cr_expect_eq(count(a), 5);
    es_archive_close(a);
}

Test(archive_unit, a_lost_archive_is_filled_again)
{
    add(3);
    struct es_archive *a = open_archive();
    (void)send_all(a);
    es_archive_close(a);
    cr_assert_eq(remove(place), 0);
    a = open_archive();
    cr_expect_eq(send_all(a).fresh, 3);
    es_archive_close(a);
}

Test(archive_unit, a_changed_file_is_not_sent)
{
    add(3);
    size_t length = 0;
    char *bytes = visits_read(&v, "certificates/EX-000002.json", &length);
    memcpy(strstr(bytes, "as left"), "as best", 7);
    visits_write(&v, "certificates/EX-000002.json", bytes, length);
    free(bytes);
    struct es_archive *a = open_archive();
    struct es_outbox_report r = send_all(a);
    cr_expect_eq(r.fresh, 2);
    cr_expect_eq(r.left_out, 1);
    cr_expect_not_null(strstr(r.fault, "EX-000002"), "%s", r.fault);
    cr_expect_eq(send_all(a).left_out, 0, "it is told once");
    es_archive_close(a);
}

Test(archive_unit, a_shortened_log_is_noticed)
{
    add(2);
    size_t length = 0;
    char *two = visits_read(&v, "log/certificates.log", &length);
    add(1);
    struct es_archive *a = open_archive();
    (void)send_all(a);
    visits_write(&v, "log/certificates.log", two, length);
    free(two);
    struct es_outbox_report r;
    struct es_error err;
    cr_expect_eq(es_outbox_send(v.store, a, NULL, NULL, &r, &err), ES_NOT_VALID);
    cr_expect_not_null(strstr(err.text, "taken away"), "%s", err.text);
    es_archive_close(a);
}

static bool stop_after_one(void *self)
{
    return (*(int *)self)++ < 1;
}

Test(archive_unit, stops_between_transactions)
{
    add(51);
    struct es_archive *a = open_archive();
    struct es_outbox_report r;
    int asked = 0;
    cr_assert_eq(es_outbox_send(v.store, a, stop_after_one, &asked, &r, NULL), ES_OK);
    cr_expect_eq(r.sent, 50);
    cr_expect_eq(count(a), 50);
    cr_expect_eq(send_all(a).sent, 1);
    es_archive_close(a);
}

/* A fault at every statement of a send, one after the other: nothing is there by halves or twice. */
struct breaking {
    long calls, at;
};

static enum es_status break_at(void *self, enum es_statement statement, struct es_error *err)
{
    struct breaking *b = self;
    (void)statement;
    return ++b->calls == b->at ? es_fail(err, ES_HANGUP, "broken here") : ES_OK;
}

Test(archive_unit, broken_off_at_every_statement)
{
    add(3);
    for (long at = 1; at < 200; at++) {
        struct es_archive *a = open_archive();
        struct breaking b = {.at = at};
        struct es_outbox_report r;
        a->db.before = break_at;
        a->db.before_self = &b;
        enum es_status st = es_outbox_send(v.store, a, NULL, NULL, &r, NULL);
        a->db.before = NULL;
        uint64_t there = count(a);
        cr_expect(there == 0 || there == 3, "statement %ld: %d of 3", at, (int)there);
        (void)send_all(a);
        cr_expect_eq(count(a), 3, "statement %ld", at);
        es_archive_close(a);
        cr_assert_eq(remove(place), 0);
        if (st == ES_OK) {
            cr_expect_gt(at, 20);
            return;
        }
    }
    cr_assert_fail("never completed");
}

Test(archive_unit, two_connections_at_once)
{
    add(2);
    struct es_archive *a = open_archive();
    struct es_archive *b = open_archive();
    cr_expect_eq(send_all(a).fresh, 2);
    cr_expect_eq(send_all(b).fresh, 0);
    cr_expect_eq(count(b), 2);
    es_archive_close(a);
    es_archive_close(b);
}

Test(archive_unit, reading_needs_an_archive)
{
    struct es_archive *a = NULL;
    struct es_error err;
    cr_expect_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, &err), ES_NOT_FOUND, "%s", err.text);
    visits_write(&v, "archive.db", "this is no database, as anyone can see", 38);
    cr_expect_eq(es_archive_open(place, ES_ARCHIVE_READ, &a, &err), ES_NOT_VALID, "%s", err.text);
    cr_expect_eq(
        es_archive_open("postgresql://nobody:secret@/x?host=/nonexistent", ES_ARCHIVE_WRITE, &a, &err),
        ES_HANGUP);
    cr_expect_null(strstr(err.text, "secret"), "%s", err.text);
}

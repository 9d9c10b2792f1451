/* Every file of a state folder deleted, cut, and altered byte by byte: each time the check of integrity finds
 * something, and names what it was done to. Lines of the books taken out, exchanged, put in, back-dated. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/archive/integrity.h"
#include "results/store/books.h"
#include "results/store/jobs.h"
#include "results/store/key_register.h"
#include "results/store/repairs.h"
#include "results/store/signed.h"
#include "tests/support/archive/visits.h"

static struct visits v;

static void need(enum es_status st, const struct es_error *err)
{
    cr_assert_eq(st, ES_OK, "%s", err->text);
}

static void seal_books(const char *when)
{
    struct es_error err = {0};
    need(es_store_seal_books(v.store, v.key, when, &err), &err);
}

static void fill_job(struct es_error *err)
{
    static const struct es_job_unit unit = {.serial = "EX-1", .received = "2026-01-04"};
    char job[ES_STORE_NUMBER_MAX];
    need(es_job_open(v.store, &unit, "A. Example", "2026-01-04T08:00:00Z", job, err), err);
    const struct es_job_change parts = {
        .what = "parts", .who = "A. Example", .when = "2026-01-05T09:00:00Z", .text = "relay"};
    need(es_job_add(v.store, job, &parts, err), err);
    seal_books("2026-01-05T09:30:00Z");
    const struct es_job_change found = {
        .what = "found", .who = "A. Example", .when = "2026-01-05T10:00:00Z", .text = "seat worn"};
    need(es_job_add(v.store, job, &found, err), err);
}

static void setup(void)
{
    static const unsigned char seed[32] = {7};
    static const struct es_signing signing = {
        .role = ES_ROLE_OF_RELEASE, .when = "2026-01-06T11:00:00Z", .name = "B. Example"};
    static const struct es_repair repair = {.number = (char *)(uintptr_t) "EX-000001",
                                            .found = (char *)(uintptr_t) "relay seat leaks",
                                            .person = (char *)(uintptr_t) "A. Example",
                                            .when = (char *)(uintptr_t) "2026-01-06T12:00:00Z"};
    struct es_error err = {0};
    struct es_key *person = NULL;
    char *bytes = NULL;
    size_t length = 0;
    visits_open(&v);
    const struct es_key_change made = {.what = "made",
                                       .who = "A. Example",
                                       .when = "2026-01-01T08:00:00Z",
                                       .key = es_key_public(v.key)->thumbprint,
                                       .name = "bench",
                                       .roles = "bench",
                                       .public = es_key_public(v.key)};
    need(es_key_register_add(v.store, &made, 1, &err), &err);
    visits_add(&v, &(struct visit){.serial = "EX-1", .issued = "2026-01-05T08:00:00.000Z"});
    visits_add(&v, &(struct visit){.serial = "EX-2", .issued = "2026-01-06T08:00:00.000Z"});
    need(es_key_from_seed(seed, &person, &err), &err);
    need(es_store_sign(v.store, "EX-000002", person, &signing, &bytes, &length, NULL, &err), &err);
    need(es_store_seal(v.store, v.key, "EX-000002", "2026-01-06T11:00:01.000Z", &err), &err);
    fill_job(&err);
    need(es_repairs_add(v.store, &repair, &err), &err);
    seal_books("2026-01-06T13:00:00Z");
    es_key_free(person);
    free(bytes);
}

static void teardown(void)
{
    visits_close(&v);
}

TestSuite(tamper, .init = setup, .fini = teardown);

static struct es_integrity_report look(void)
{
    struct es_integrity_report r;
    struct es_error err = {0};
    const struct es_integrity_order order = {
        .store = v.store, .trusted = &v.trusted, .trusted_count = 1, .skip_recordings = true};
    cr_assert_eq(es_integrity_check(&order, &r, &err), ES_OK, "%s", err.text);
    return r;
}

/* Whether anything was found, and one finding names `name` (its number, or in its text). */
static bool named(const char *name)
{
    struct es_integrity_report r = look();
    bool yes = false;
    for (size_t i = 0; i < r.count; i++) {
        yes = yes || strcmp(r.items[i].number, name) == 0 || strstr(r.items[i].text, name);
    }
    es_integrity_free(&r);
    return yes;
}

static const struct {
    const char *file, *name;
} files[] = {
    {"certificates/EX-000001.json", "EX-000001"},
    {"certificates/EX-000001.seal.json", "EX-000001"},
    {"certificates/EX-000002.json", "EX-000002"},
    {"certificates/signed/EX-000002.2.json", "EX-000002"},
    {"certificates/signed/EX-000002.2.seal.json", "EX-000002"},
    {"log/certificates.log", "log"},
    {"log/books.log", "books"},
    {"keys/register.jsonl", "register.jsonl"},
    {"jobs/J-000001.jsonl", "J-000001.jsonl"},
    {"repairs.jsonl", "repairs.jsonl"},
};
#define FILES (sizeof files / sizeof files[0])

Test(tamper, untouched)
{
    struct es_integrity_report r = look();
    cr_expect_eq(r.count, 0, "%s: %s", r.count ? r.items[0].word : "", r.count ? r.items[0].text : "");
    es_integrity_free(&r);
}

/* A log names what its altered line is of; that something is found is enough there. */
static bool found_and_named(size_t i)
{
    struct es_integrity_report r = look();
    bool any = r.count > 0;
    es_integrity_free(&r);
    return named(files[i].name) || (strncmp(files[i].file, "log/", 4) == 0 && any);
}

Test(tamper, each_file_deleted)
{
    for (size_t i = 0; i < FILES; i++) {
        size_t length;
        char path[256];
        char *bytes = visits_read(&v, files[i].file, &length);
        (void)snprintf(path, sizeof path, "%s/%s", v.folder, files[i].file);
        cr_assert_eq(unlink(path), 0);
        cr_expect(found_and_named(i), "%s deleted", files[i].file);
        visits_write(&v, files[i].file, bytes, length);
        free(bytes);
    }
}

Test(tamper, each_file_cut)
{
    static const size_t taken[] = {1, 2, 40, 200};
    for (size_t i = 0; i < FILES; i++) {
        size_t length;
        char *bytes = visits_read(&v, files[i].file, &length);
        for (size_t k = 0; k < sizeof taken / sizeof taken[0]; k++) {
            visits_write(&v, files[i].file, bytes, taken[k] < length ? length - taken[k] : 0);
            cr_expect(found_and_named(i), "%s cut by %zu", files[i].file, taken[k]);
        }
        visits_write(&v, files[i].file, bytes, length);
        free(bytes);
    }
}

Test(tamper, each_file_altered_in_many_places)
{
    for (size_t i = 0; i < FILES; i++) {
        size_t length;
        char *bytes = visits_read(&v, files[i].file, &length);
        size_t stride = length / 60 + 1;
        for (size_t at = 0; at < length; at += stride) {
            bytes[at] ^= 1;
            visits_write(&v, files[i].file, bytes, length);
            cr_expect(found_and_named(i), "%s altered at byte %zu of %zu", files[i].file, at, length);
            bytes[at] ^= 1;
        }
        visits_write(&v, files[i].file, bytes, length);
        free(bytes);
    }
}

/* Lines of a book in another order; -1 ends. */
static void rearrange(const char *file, const int *order, const char *more)
{
    size_t length;
    char *text = visits_read(&v, file, &length);
    char *starts[8] = {NULL};
    size_t count = 0;
    for (char *p = text; *p && count < 8; p = strchr(p, '\n') + 1) {
        starts[count++] = p;
    }
    char *out = calloc(1, length * 2 + 1000);
    for (; *order >= 0; order++) {
        strncat(out, starts[*order], strcspn(starts[*order], "\n") + 1);
    }
    strcat(out, more);
    visits_write(&v, file, out, strlen(out));
    free(out);
    free(text);
}

static void expect_text(const char *says)
{
    cr_expect(named(says), "%s is not told", says);
    teardown();
    setup();
}

Test(tamper, lines_of_a_job_moved_taken_out_put_in)
{
    static const char *const job = "jobs/J-000001.jsonl";
    rearrange(job, (const int[]){0, 2, 1, -1}, "");
    expect_text("J-000001.jsonl: what stands from line 1 to line 2");
    rearrange(job, (const int[]){0, 1, -1}, "");
    expect_text("J-000001.jsonl: what stands from line 3 to line 3");
    rearrange(job, (const int[]){0, 2, -1}, "");
    expect_text("J-000001.jsonl: what stands from line 1 to line 2");
    rearrange(job, (const int[]){0, 1, 1, 2, -1}, "");
    expect_text("J-000001.jsonl: what stands from line 3");
}

/* What is added later is no tampering; what is added with an earlier date is. */
Test(tamper, lines_added_to_a_book)
{
    static const char *const job = "jobs/J-000001.jsonl";
    rearrange(job, (const int[]){0, 1, 2, -1},
              "{\"text\":\"x\",\"what\":\"note\",\"when\":\"2026-01-07T08:00:00Z\",\"who\":\"A\"}\n");
    struct es_integrity_report r = look();
    cr_expect_eq(r.count, 0);
    es_integrity_free(&r);
    rearrange(job, (const int[]){0, 1, 2, -1},
              "{\"text\":\"x\",\"what\":\"note\",\"when\":\"2026-01-03T08:00:00Z\",\"who\":\"A\"}\n");
    expect_text("J-000001.jsonl: line 4 says 2026-01-03");
}

/* A book that was tampered with is not entered again as if it were right. */
Test(tamper, sealing_does_not_cover_it_up)
{
    struct es_error err = {0};
    rearrange("repairs.jsonl", (const int[]){-1}, "");
    cr_expect_eq(es_store_seal_books(v.store, v.key, "2026-01-07T08:00:00Z", &err), ES_NOT_VALID);
    cr_expect(strstr(err.text, "repairs.jsonl"), "%s", err.text);
    cr_expect(named("repairs.jsonl"));
}

Test(tamper, a_file_put_among_the_signed)
{
    size_t length;
    char *bytes = visits_read(&v, "certificates/EX-000001.json", &length);
    visits_write(&v, "certificates/signed/EX-000001.3.json", bytes, length);
    cr_expect(named("EX-000001"));
    visits_write(&v, "certificates/signed/strange.txt", bytes, length);
    cr_expect(named("strange.txt"));
    free(bytes);
}

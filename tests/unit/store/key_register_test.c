/* The book of keys: what it takes, what it gives back, and replacing the bench's key through every crash. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/key_register.h"
#include "tests/unit/store/store_help.h"

static struct es_error err;

static struct es_public_key other_key(unsigned char first)
{
    unsigned char seed[32] = {first};
    struct es_key *key = NULL;
    cr_assert_eq(es_key_from_seed(seed, &key, NULL), ES_OK);
    struct es_public_key public = *es_key_public(key);
    es_key_free(key);
    return public;
}

static struct es_key_change change(const char *what, const struct es_public_key *key)
{
    return (struct es_key_change){
        .what = what, .who = "A. Example", .when = "2026-03-01T08:00:00Z", .key = key->thumbprint};
}

TestSuite(key_register, .init = help_setup, .fini = help_teardown);

Test(key_register, a_releaser_is_trusted_and_revoked)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_public_key key = other_key(1);
    struct es_store_trust trust;
    struct es_key_change trusted = change("trusted", &key), revoked = change("revoked", &key);
    cr_expect_eq(es_key_register_add(store, &revoked, 1, &err), ES_NOT_FOUND);
    trusted.name = "B. Example";
    trusted.roles = "release void";
    trusted.public = &key;
    cr_assert_eq(es_key_register_add(store, &trusted, 1, &err), ES_OK, "%s", err.text);
    cr_expect_eq(es_key_register_add(store, &trusted, 1, &err), ES_REFUSED);
    cr_expect_eq(es_key_register_add(store, &revoked, 1, &err), ES_USAGE, "no reason");
    revoked.reason = "laptop lost";
    revoked.from = "yesterday";
    cr_expect_eq(es_key_register_add(store, &revoked, 1, &err), ES_USAGE);
    revoked.from = "2026-02-20T00:00:00Z";
    cr_assert_eq(es_key_register_add(store, &revoked, 1, &err), ES_OK, "%s", err.text);
    cr_expect_eq(es_key_register_add(store, &revoked, 1, &err), ES_REFUSED);
    cr_assert_eq(es_store_trust(store, &trust, &err), ES_OK, "%s", err.text);
    cr_assert_eq(trust.count, 1);
    cr_expect_str_eq(trust.items[0].name, "B. Example");
    cr_expect_str_eq(trust.items[0].roles, "release void");
    cr_expect_str_eq(trust.items[0].from, "2026-03-01T08:00:00Z");
    cr_expect_str_eq(trust.items[0].revoked, "2026-02-20T00:00:00Z");
    cr_expect_str_eq(trust.items[0].because, "laptop lost");
    char *list = NULL;
    struct es_store_trust again;
    cr_assert_eq(es_key_list_write(&trust, &list, &err), ES_OK);
    cr_assert_eq(es_key_list_parse("list", list, strlen(list), &again, &err), ES_OK, "%s", err.text);
    cr_assert_eq(again.count, 1);
    cr_expect_str_eq(again.items[0].because, "laptop lost");
    cr_expect_str_eq(again.items[0].key.thumbprint, key.thumbprint);
    es_store_trust_free(&again);
    es_store_trust_free(&trust);
    free(list);
    es_store_close(store);
}

Test(key_register, lists_that_are_none_are_refused)
{
    static const char *const bad[] = {"",
                                      "[]",
                                      "{}",
                                      "{\"endstop\":\"keys/1\"}",
                                      "{\"endstop\":\"keys/2\",\"keys\":[]}",
                                      "{\"endstop\":\"keys/1\",\"keys\":[{}]}",
                                      "{\"endstop\":\"keys/1\",\"keys\":[1]}"};
    struct es_store_trust trust;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        cr_expect_eq(es_key_list_parse("list", bad[i], strlen(bad[i]), &trust, &err), ES_BAD_INPUT, "%s",
                     bad[i]);
    }
}

static void write_book(const char *text)
{
    char path[200];
    (void)snprintf(path, sizeof path, "%s/keys/register.jsonl", help_folder);
    cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0600, text, strlen(text), NULL), ES_OK);
}

/* Trust is not guessed: a book that was cut or changed fails the whole, and nothing is added to it. */
Test(key_register, damaged_book_is_told_and_left_alone)
{
    static const char *const bad[] = {"{\"what\":\"made\"",
                                      "{\"what\":\"made\"}\n",
                                      "x\n",
                                      "[]\n",
                                      "{\"key\":\"k\",\"what\":\"revoked\"}\n",
                                      "{\"key\":\"k\",\"what\":\"made\"}\n"};
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_public_key key = other_key(1), made;
    struct es_key_change trusted = change("trusted", &key);
    struct es_store_trust trust;
    trusted.public = &key;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        write_book(bad[i]);
        cr_expect_eq(es_store_trust(store, &trust, &err), ES_BAD_INPUT, "%s", bad[i]);
        cr_expect_eq(es_key_register_add(store, &trusted, 1, &err), ES_BAD_INPUT, "%s", bad[i]);
        cr_expect_eq(es_store_key_create(store, &help_order, &made, &err), ES_BAD_INPUT, "%s", bad[i]);
    }
    es_store_close(store);
}

Test(key_register, replaced_key_stays_known_and_the_new_one_signs)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_public_key first, second;
    struct es_key *key = NULL;
    struct es_store_trust trust;
    struct es_store_key_order order = help_order;
    cr_assert_eq(es_store_key_create(store, &order, &first, &err), ES_OK, "%s", err.text);
    order.when = "2026-04-01T08:00:00Z";
    cr_assert_eq(es_store_key_rotate(store, &order, &second, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_store_key_load(store, &key, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(es_key_public(key)->thumbprint, second.thumbprint);
    es_key_free(key);
    cr_assert_eq(es_store_trust(store, &trust, &err), ES_OK);
    cr_assert_eq(trust.count, 2);
    cr_expect_str_eq(trust.items[0].key.thumbprint, first.thumbprint);
    cr_expect_str_eq(trust.items[0].until, "2026-04-01T08:00:00Z");
    cr_expect_str_eq(trust.items[1].from, "2026-04-01T08:00:00Z");
    cr_expect_null(trust.items[1].until);
    es_store_trust_free(&trust);
    struct es_key_change revoked = change("revoked", &second);
    revoked.reason = "test";
    cr_assert_eq(es_key_register_add(store, &revoked, 1, &err), ES_OK);
    cr_expect_eq(es_store_key_load(store, &key, &err), ES_REFUSED, "a revoked key signs nothing more");
    cr_expect_not_null(strstr(err.text, "endstop key rotate"), "%s", err.text);
    cr_assert_eq(es_store_key_rotate(store, &order, &first, &err), ES_OK, "%s", err.text);
    es_store_close(store);
}

/* The system call number `fails` of the replacing fails; *calls counts them. */
static struct {
    int calls, fails;
} at;

static bool falls(void)
{
    return ++at.calls >= at.fails;
}

static ssize_t failing_write(void *self, int fd, const void *bytes, size_t size)
{
    (void)self;
    return falls() ? -1 : write(fd, bytes, size);
}

static int failing_rename(void *self, const char *from, const char *to)
{
    (void)self;
    return falls() ? -1 : rename(from, to);
}

/* As if the power went at any of the steps: afterwards there is one key that signs, and the book says so. */
Test(key_register, replacing_through_every_crash)
{
    struct es_file_ops ops = *es_file_system();
    ops.write = failing_write;
    ops.rename = failing_rename;
    bool done = false;
    for (int n = 1; !done && n < 40; n++) {
        struct es_store *store = help_open(ES_STORE_WRITE);
        struct es_public_key made;
        struct es_key *key = NULL;
        struct es_store_trust trust;
        enum es_status st = es_store_key_create(store, &help_order, &made, &err);
        cr_assert(st == ES_OK || st == ES_REFUSED, "%s", err.text);
        es_store_close(store);
        at.calls = 0;
        at.fails = n;
        cr_assert_eq(es_store_open_with(&ops, help_folder, ES_STORE_WRITE, &store, &err), ES_OK);
        done = es_store_key_rotate(store, &help_order, &made, &err) == ES_OK;
        es_store_close(store);
        store = help_open(ES_STORE_WRITE);
        cr_assert_eq(es_store_key_load(store, &key, &err), ES_OK, "crash at %d: %s", n, err.text);
        cr_assert_eq(es_store_trust(store, &trust, &err), ES_OK, "crash at %d: %s", n, err.text);
        size_t in_force = 0;
        for (size_t i = 0; i < trust.count; i++) {
            bool is_it = strcmp(trust.items[i].key.thumbprint, es_key_public(key)->thumbprint) == 0;
            in_force += trust.items[i].until == NULL;
            cr_expect(!is_it || trust.items[i].until == NULL, "crash at %d", n);
        }
        cr_expect_eq(in_force, 1, "crash at %d: %zu keys in force", n, in_force);
        es_store_trust_free(&trust);
        es_key_free(key);
        es_store_close(store);
    }
    cr_expect(done, "it goes through in the end");
}

static void expect_check(struct es_store *store, const struct es_public_key *key, const char *role,
                         const char *when, enum es_status expected, const char *says)
{
    err = (struct es_error){0};
    cr_expect_eq(es_store_key_check(store, key, role, when, &err), expected, "%s at %s: %s", role, when,
                 err.text);
    cr_expect(expected == ES_OK || strstr(err.text, says), "%s", err.text);
}

/* At issue and at release the book is asked: role, made, replaced, revoked, each with its date. */
Test(key_register, whether_a_key_may_sign_now)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_key *person = NULL, *stranger = NULL;
    struct es_public_key bench;
    cr_assert_eq(es_store_key_create(store, &help_order, &bench, NULL), ES_OK);
    cr_assert_eq(es_key_create(&person, NULL), ES_OK);
    cr_assert_eq(es_key_create(&stranger, NULL), ES_OK);
    const struct es_public_key *b = es_key_public(person);
    const struct es_key_change trusted = {.what = "trusted",
                                          .who = "A. Example",
                                          .when = "2026-02-03T09:00:00Z",
                                          .key = b->thumbprint,
                                          .name = "B. Example",
                                          .roles = "release void",
                                          .public = b};
    const struct es_key_change revoked = {.what = "revoked",
                                          .who = "A. Example",
                                          .when = "2026-03-05T09:00:00Z",
                                          .from = "2026-03-01T00:00:00Z",
                                          .key = b->thumbprint,
                                          .reason = "laptop lost"};
    cr_assert_eq(es_key_register_add(store, &trusted, 1, NULL), ES_OK);
    expect_check(store, &bench, "bench", "2026-02-03T08:00:00Z", ES_OK, "");
    expect_check(store, &bench, "release", "2026-02-03T08:00:00Z", ES_REFUSED, "\"bench\" only");
    expect_check(store, &bench, "bench", "2026-02-03T07:59:59Z", ES_REFUSED, "made only");
    expect_check(store, b, "release", "2026-04-01T00:00:00Z", ES_OK, "");
    expect_check(store, b, "bench", "2026-04-01T00:00:00Z", ES_REFUSED, "only");
    expect_check(store, es_key_public(stranger), "release", "2026-04-01T00:00:00Z", ES_NOT_FOUND,
                 "book of keys");
    cr_assert_eq(es_key_register_add(store, &revoked, 1, NULL), ES_OK);
    expect_check(store, b, "release", "2026-02-28T23:59:59Z", ES_OK, "");
    expect_check(store, b, "release", "2026-03-01T00:00:00.5Z", ES_REFUSED, "laptop lost");
    expect_check(store, b, "void", "2027-01-01T00:00:00Z", ES_REFUSED, "laptop lost");
    cr_assert_eq(es_store_key_rotate(
                     store, &(struct es_store_key_order){.who = "A. Example", .when = "2026-05-01T00:00:00Z"},
                     &(struct es_public_key){.thumbprint = ""}, NULL),
                 ES_OK);
    expect_check(store, &bench, "bench", "2026-05-01T00:00:01Z", ES_REFUSED, "replaced");
    expect_check(store, &bench, "bench", "2026-04-30T23:59:59Z", ES_OK, "");
    es_key_free(person);
    es_key_free(stranger);
    es_store_close(store);
}

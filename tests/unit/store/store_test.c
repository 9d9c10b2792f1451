#include <criterion/criterion.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rig/base/file.h"
#include "tests/unit/store/store_help.h"

static struct es_error err;

TestSuite(store, .init = help_setup, .fini = help_teardown);

static const char *issue(struct es_store *store, const char *prefix, const char *serial, const char *run)
{
    static char number[ES_STORE_NUMBER_MAX];
    struct es_store_maker maker = help_maker("certificate", serial, run);
    cr_assert_eq(es_store_issue(store, prefix, &maker, number, &err), ES_OK, "%s", err.text);
    return number;
}

static void put(const char *name, const char *text)
{
    char path[200];
    (void)snprintf(path, sizeof path, "%s/%s", help_folder, name);
    cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0600, text, strlen(text), NULL), ES_OK);
}

Test(store, numbers_rise_without_gap_over_restarts)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    cr_expect_str_eq(issue(store, "EX", "a", "r1"), "EX-000001");
    cr_expect_str_eq(issue(store, "EX", "a", "r2"), "EX-000002");
    cr_expect_str_eq(issue(store, "EX-B", "a", "r3"), "EX-B-000001", "each prefix counts for itself");
    cr_expect_str_eq(issue(store, "EX", "a", "r4"), "EX-000003");
    es_store_close(store);
    store = help_open(ES_STORE_WRITE);
    cr_expect_str_eq(issue(store, "EX", "a", "r5"), "EX-000004");
    es_store_close(store);
    put("certificates/EX-999999.json", "{}");
    store = help_open(ES_STORE_WRITE);
    cr_expect_str_eq(issue(store, "EX", "a", "r6"), "EX-1000000");
    es_store_close(store);
}

static enum es_status refuse(void *self, const char *number, char **bytes, size_t *length, struct es_error *e)
{
    (void)self;
    (void)bytes;
    (void)length;
    return es_fail(e, ES_NOT_VALID, "no %s today", number);
}

Test(store, certificate_that_could_not_be_made_uses_no_number)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_maker maker = {.make = refuse};
    char number[ES_STORE_NUMBER_MAX] = "untouched";
    cr_expect_eq(es_store_issue(store, "EX", &maker, number, &err), ES_NOT_VALID);
    cr_expect_str_eq(number, "untouched");
    cr_expect_str_eq(issue(store, "EX", "a", "r"), "EX-000001");
    es_store_close(store);
}

Test(store, prefixes_and_numbers_are_no_paths)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_maker maker = help_maker("certificate", "a", "r");
    char number[ES_STORE_NUMBER_MAX];
    static const char *const bad[] = {"", "../x", "a/b", "a b", "0123456789012345678901234"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        cr_expect_eq(es_store_issue(store, bad[i], &maker, number, &err), ES_USAGE);
    }
    char *bytes = NULL;
    size_t length = 0;
    cr_expect_eq(es_store_certificate(store, "../keys/bench", &bytes, &length, &err), ES_BAD_INPUT);
    cr_expect_eq(es_store_certificate(store, ".hidden", &bytes, &length, &err), ES_BAD_INPUT);
    cr_expect_eq(es_store_certificate(store, "EX-000001", &bytes, &length, &err), ES_NOT_FOUND);
    char *path = NULL;
    cr_expect_eq(es_store_run_folder(store, "../x", &path, &err), ES_BAD_INPUT);
    cr_expect_eq(es_store_recording_path(store, "../x", &path, &err), ES_BAD_INPUT);
    es_store_close(store);
}

Test(store, listed_in_order_and_filtered)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    for (int i = 0; i < 12; i++) {
        (void)issue(store, "EX", i % 2 ? "odd" : "even", "r");
    }
    struct es_store_list list;
    cr_assert_eq(es_store_certificates(store, NULL, &list, &err), ES_OK);
    cr_expect_eq(list.count, 12);
    cr_expect_str_eq(list.items[0].number, "EX-000001");
    cr_expect_str_eq(list.items[11].number, "EX-000012");
    cr_expect_str_eq(list.items[1].serial, "odd");
    cr_expect_str_eq(list.items[1].kind, "certificate");
    cr_expect_str_eq(list.items[1].verdict, "pass");
    cr_expect_str_eq(list.items[1].customer, "");
    cr_expect_eq(strlen(list.items[0].digest), 64);
    es_store_list_free(&list);
    struct es_store_filter filter = {.serial = "odd"};
    cr_assert_eq(es_store_certificates(store, &filter, &list, &err), ES_OK);
    cr_expect_eq(list.count, 6);
    es_store_list_free(&list);
    filter = (struct es_store_filter){.since = "2026-02-04"};
    cr_assert_eq(es_store_certificates(store, &filter, &list, &err), ES_OK);
    cr_expect_eq(list.count, 0);
    es_store_list_free(&list);
    es_store_close(store);
}

Test(store, damaged_certificate_is_listed_with_its_fault)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    (void)issue(store, "EX", "a", "r");
    put("certificates/EX-000002.json", "{\"endstop\":\"certificate/1\",");
    put("certificates/EX-000003.json", "{\"endstop\":\"bench/1\"}");
    put("certificates/EX-000004.json", "{\"endstop\":\"certificate/1\",\"number\":\"EX-000001\"}");
    put("certificates/readme.txt", "not a certificate");
    struct es_store_filter filter = {.serial = "a"};
    struct es_store_list list;
    cr_assert_eq(es_store_certificates(store, &filter, &list, &err), ES_OK);
    cr_assert_eq(list.count, 4);
    cr_expect_null(list.items[0].fault);
    cr_expect(strstr(list.items[1].fault, "EX-000002") != NULL, "%s", list.items[1].fault);
    cr_expect(strstr(list.items[2].fault, "not a certificate") != NULL);
    cr_expect(strstr(list.items[3].fault, "number inside") != NULL);
    es_store_list_free(&list);
    es_store_close(store);
}

Test(store, one_writer_and_many_readers)
{
    struct es_store *writer = help_open(ES_STORE_WRITE);
    struct es_store *second = NULL;
    cr_expect_eq(es_store_open(help_folder, ES_STORE_WRITE, &second, &err), ES_REFUSED);
    cr_expect_null(second);
    struct es_store *reader = help_open(ES_STORE_READ);
    (void)issue(writer, "EX", "a", "r");
    char *bytes = NULL;
    size_t length = 0;
    cr_expect_eq(es_store_certificate(reader, "EX-000001", &bytes, &length, &err), ES_OK);
    cr_expect_eq(strlen(bytes), length);
    free(bytes);
    struct es_store_maker maker = help_maker("certificate", "a", "r");
    char number[ES_STORE_NUMBER_MAX];
    cr_expect_eq(es_store_issue(reader, "EX", &maker, number, &err), ES_DISABLED);
    struct es_store_run run = {.run = (char *)"r", .began = (char *)"t"};
    cr_expect_eq(es_store_run_begin(reader, &run, &err), ES_DISABLED);
    es_store_close(reader);
    es_store_close(writer);
    writer = help_open(ES_STORE_WRITE);
    es_store_close(writer);
    cr_expect_eq(es_store_open("/nonexistent/es", ES_STORE_READ, &reader, &err), ES_NOT_FOUND);
}

static struct es_store_run begun(const char *run, const char *began)
{
    return (struct es_store_run){.run = (char *)(uintptr_t)run,
                                 .began = (char *)(uintptr_t)began,
                                 .plan = (char *)(uintptr_t) "after-relay-swap",
                                 .serial = (char *)(uintptr_t) "EX \"1\""};
}

Test(store, runs_end_once_and_keep_why)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_run a = begun("b-run", "2026-02-03T10:00:00Z");
    struct es_store_run b = begun("a-run", "2026-02-03T11:00:00Z");
    struct es_store_run c = begun("c-run", "2026-02-03T12:00:00Z");
    cr_assert_eq(es_store_run_begin(store, &a, &err), ES_OK, "%s", err.text);
    cr_expect_eq(es_store_run_begin(store, &a, &err), ES_REFUSED);
    cr_assert_eq(es_store_run_begin(store, &b, &err), ES_OK);
    cr_assert_eq(es_store_run_begin(store, &c, &err), ES_OK);
    cr_assert_eq(es_store_run_end(store, "b-run", "e", "EX-000001", NULL, &err), ES_OK);
    cr_expect_eq(es_store_run_end(store, "b-run", "e", NULL, "again", &err), ES_REFUSED);
    cr_assert_eq(es_store_run_end(store, "a-run", "e", NULL, "the guard was opened", &err), ES_OK);
    cr_expect_eq(es_store_run_end(store, "no-run", "e", NULL, "x", &err), ES_NOT_FOUND);
    struct es_store_runs runs;
    cr_assert_eq(es_store_runs(store, &runs, &err), ES_OK);
    cr_assert_eq(runs.count, 3);
    cr_expect_str_eq(runs.items[0].run, "b-run", "oldest first");
    cr_expect_eq(runs.items[0].state, ES_RUN_CERTIFIED);
    cr_expect_str_eq(runs.items[0].number, "EX-000001");
    cr_expect_str_eq(runs.items[0].serial, "EX \"1\"");
    cr_expect_eq(runs.items[1].state, ES_RUN_NOT_COMPLETED);
    cr_expect_str_eq(runs.items[1].why, "the guard was opened");
    cr_expect_eq(runs.items[2].state, ES_RUN_OPEN);
    cr_expect_null(runs.items[2].ended);
    es_store_runs_free(&runs);
    es_store_close(store);
}

Test(store, open_run_whose_certificate_exists_is_not_open)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_run a = begun("r1", "2026-02-03T10:00:00Z");
    struct es_store_run b = begun("r2", "2026-02-03T11:00:00Z");
    cr_assert_eq(es_store_run_begin(store, &a, &err), ES_OK);
    cr_assert_eq(es_store_run_begin(store, &b, &err), ES_OK);
    (void)issue(store, "EX", "s", "r1");
    struct es_store_maker maker = help_maker("record", "s", "r2");
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(es_store_issue(store, "EX", &maker, number, &err), ES_OK);
    struct es_store_runs runs;
    cr_assert_eq(es_store_runs(store, &runs, &err), ES_OK);
    cr_expect_eq(runs.items[0].state, ES_RUN_CERTIFIED);
    cr_expect_str_eq(runs.items[0].number, "EX-000001");
    cr_expect_eq(runs.items[1].state, ES_RUN_NOT_COMPLETED);
    cr_expect_str_eq(runs.items[1].number, "EX-000002");
    es_store_runs_free(&runs);
    cr_expect_eq(es_store_run_end(store, "r1", "e", NULL, "x", &err), ES_REFUSED,
                 "its end was written by now");
    es_store_close(store);
}

Test(store, damaged_run_is_not_completed_and_says_why)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_run a = begun("r1", "2026-02-03T10:00:00Z");
    cr_assert_eq(es_store_run_begin(store, &a, &err), ES_OK);
    put("runs/r1/end.json", "{\"ended\": ");
    cr_assert_eq(mkdir(strcat(strcpy((char[200]){0}, help_folder), "/runs/empty"), 0700), 0);
    struct es_store_runs runs;
    cr_assert_eq(es_store_runs(store, &runs, &err), ES_OK);
    cr_assert_eq(runs.count, 1, "a folder in which nothing was begun is no run");
    cr_expect_eq(runs.items[0].state, ES_RUN_NOT_COMPLETED);
    cr_expect(strstr(runs.items[0].why, "end.json") != NULL, "%s", runs.items[0].why);
    es_store_runs_free(&runs);
    es_store_close(store);
}

Test(store, recordings_are_kept_once_by_digest)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    char digest[65];
    char *path = NULL;
    cr_assert_eq(es_store_recording(store, "abc", 3, digest, &err), ES_OK);
    /* FIPS 180-4, SHA-256 of "abc" */
    cr_expect_str_eq(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    cr_assert_eq(es_store_recording(store, "abc", 3, digest, &err), ES_OK);
    cr_assert_eq(es_store_recording_path(store, digest, &path, &err), ES_OK);
    char *bytes = NULL;
    size_t length = 0;
    cr_assert_eq(es_file_read(NULL, path, 10, &bytes, &length, &err), ES_OK);
    cr_expect_str_eq(bytes, "abc");
    free(bytes);
    free(path);
    digest[0] = '0';
    cr_expect_eq(es_store_recording_path(store, digest, &path, &err), ES_NOT_FOUND);
    es_store_close(store);
}

Test(store, key_is_made_once_and_trusted)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_key *key = NULL;
    struct es_public_key made;
    cr_expect_eq(es_store_key_load(store, &key, &err), ES_NOT_FOUND);
    cr_expect(strstr(err.text, "endstop key") != NULL, "%s", err.text);
    cr_assert_eq(es_store_key_create(store, &help_order, &made, &err), ES_OK, "%s", err.text);
    cr_expect_eq(es_store_key_create(store, &help_order, &made, &err), ES_REFUSED);
    cr_assert_eq(es_store_key_load(store, &key, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(es_key_public(key)->thumbprint, made.thumbprint);
    es_key_free(key);
    char path[200];
    struct stat info;
    (void)snprintf(path, sizeof path, "%s/keys", help_folder);
    cr_assert_eq(stat(path, &info), 0);
    cr_expect_eq(info.st_mode & 077, 0);
    put("keys/trusted/other bench.jwk",
        "{\"kty\":\"OKP\",\"crv\":\"Ed25519\",\"x\":\"11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo\"}");
    struct es_store_trust trust;
    cr_assert_eq(es_store_trust(store, &trust, &err), ES_OK, "%s", err.text);
    cr_assert_eq(trust.count, 2);
    cr_expect_str_eq(trust.items[0].name, "bench");
    cr_expect_str_eq(trust.items[0].key.thumbprint, made.thumbprint);
    cr_expect_str_eq(trust.items[1].name, "other bench");
    cr_expect_str_eq(trust.items[1].key.thumbprint, "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k");
    es_store_trust_free(&trust);
    put("keys/trusted/broken.pem", "nonsense");
    cr_expect_eq(es_store_trust(store, &trust, &err), ES_BAD_INPUT);
    es_store_close(store);
}

Test(store, leftovers_of_a_crash_are_swept_by_the_writer)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    es_store_close(store);
    put("certificates/.EX-000001.json.0011", "half");
    put("keys/.bench.pem.0011", "secret");
    store = help_open(ES_STORE_READ);
    es_store_close(store);
    char path[200];
    (void)snprintf(path, sizeof path, "%s/keys/.bench.pem.0011", help_folder);
    cr_expect_eq(access(path, F_OK), 0, "a reader changes nothing");
    store = help_open(ES_STORE_WRITE);
    cr_expect_neq(access(path, F_OK), 0);
    (void)snprintf(path, sizeof path, "%s/certificates/.EX-000001.json.0011", help_folder);
    cr_expect_neq(access(path, F_OK), 0);
    es_store_close(store);
}

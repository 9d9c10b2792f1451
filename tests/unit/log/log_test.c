#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "tests/unit/log/log_help.h"

TestSuite(log_unit, .init = log_setup, .fini = log_teardown);

Test(log_unit, grows_and_opens_again)
{
    es_log_close(log_fill(3));
    struct es_log *log = log_fill(9);
    uint64_t index = 99;
    cr_expect_eq(es_log_size(log), 9);
    cr_expect_eq(strlen(es_log_id(log)), 32);
    cr_expect(es_log_find(log, "EX-000004", &index));
    cr_expect_eq(index, 3);
    cr_expect_not(es_log_find(log, "EX-000010", &index));
    cr_expect_str_eq(es_log_leaf(log, 8)->issued, "2026-02-03T10:08:00Z");
    es_log_close(log);
}

Test(log_unit, no_log_is_told_apart_from_an_empty_one)
{
    struct es_log *log = NULL;
    cr_expect_eq(es_log_read(NULL, log_path, NULL, &log, NULL), ES_NOT_FOUND);
    es_log_close(log_fill(0));
    cr_assert_eq(es_log_read(NULL, log_path, NULL, &log, NULL), ES_OK);
    cr_expect_eq(es_log_size(log), 0);
    cr_expect_null(es_log_head(log));
    es_log_close(log);
}

/* Every proof of every size, by the reader's own loop (the reference tests have a second implementation). */
Test(log_unit, every_proof_holds_and_no_other)
{
    struct es_trusted_key trusted = log_trust();
    char *heads[8] = {NULL};
    for (int n = 1; n <= 8; n++) {
        struct es_log *log = log_fill(n);
        heads[n - 1] = strdup(es_log_head(log));
        for (int i = 0; i < n; i++) {
            struct es_log_proof proof;
            struct es_log_head head;
            char data[16];
            cr_assert_eq(es_log_prove(log, (uint64_t)i, &proof, NULL), ES_OK);
            for (int other = 0; other < 8; other++) {
                int length = snprintf(data, sizeof data, "leaf %d", other);
                enum es_status st =
                    es_log_proof_check(&proof, data, (size_t)length, &trusted, 1, &head, NULL);
                cr_expect_eq(st, other == i ? ES_OK : ES_NOT_VALID, "%d of %d: %d", i, n, other);
            }
            es_log_proof_clear(&proof);
        }
        for (int m = 1; m <= n; m++) {
            struct es_log_growth growth;
            struct es_log_head from, to;
            cr_assert_eq(es_log_prove_growth(log, heads[m - 1], &growth, NULL), ES_OK);
            cr_expect_eq(es_log_growth_check(&growth, &trusted, 1, &from, &to, NULL), ES_OK);
            cr_expect_eq(from.size, (uint64_t)m);
            es_log_growth_clear(&growth);
        }
        es_log_close(log);
    }
    for (int i = 0; i < 8; i++) {
        free(heads[i]);
    }
}

Test(log_unit, a_kept_head_shows_what_was_taken_away)
{
    struct es_log *log = log_fill(3);
    size_t length = 0;
    char *three = log_text(&length);
    es_log_close(log);
    log = log_fill(5);
    char *kept = strdup(es_log_head(log));
    es_log_close(log);
    log_put(three, length); /* back to three */
    log = log_fill(3);
    struct es_log_growth growth;
    struct es_error err;
    cr_expect_eq(es_log_prove_growth(log, kept, &growth, &err), ES_NOT_VALID);
    cr_expect_not_null(strstr(err.text, "2 were taken away"), "%s", err.text);
    es_log_close(log);
    free(kept);
    free(three);
}

Test(log_unit, a_log_written_anew_is_another_log)
{
    struct es_log *log = log_fill(3);
    char *kept = strdup(es_log_head(log));
    es_log_close(log);
    cr_assert_eq(remove(log_path), 0);
    log = log_fill(5);
    struct es_log_growth growth;
    struct es_error err;
    cr_expect_eq(es_log_prove_growth(log, kept, &growth, &err), ES_NOT_VALID);
    cr_expect_not_null(strstr(err.text, "is of log"), "%s", err.text);
    es_log_close(log);
    free(kept);
}

/* A crash leaves any beginning of the file. It opens, holds every leaf whose append was finished, and goes
 * on. */
Test(log_unit, cut_at_every_byte)
{
    es_log_close(log_fill(4));
    size_t length = 0;
    char *text = log_text(&length);
    for (size_t cut = 0; cut <= length; cut++) {
        struct es_log *log = NULL;
        struct es_error err;
        cr_assert_eq(es_log_parse("cut", text, cut, NULL, &log, &err), ES_OK, "cut at %zu: %s", cut,
                     err.text);
        size_t whole = 0; /* heads that stand there whole */
        for (const char *p = text; (p = strstr(p, "\nhead ")) != NULL; p++) {
            const char *feed = strchr(p + 1, '\n');
            whole += feed != NULL && (size_t)(feed - text) < cut;
        }
        cr_expect_eq(es_log_size(log), whole, "cut at %zu", cut);
        es_log_close(log);
        if (cut % 401 == 0 || cut + 2 > length) {
            log_put(text, cut);
            es_log_close(log_fill(5)); /* the writer goes on */
            cr_assert_eq(es_log_read(NULL, log_path, NULL, &log, &err), ES_OK);
            cr_expect_eq(es_log_size(log), 5);
            cr_expect_eq(es_log_unfinished(log), 0);
            es_log_close(log);
        }
    }
    free(text);
}

static bool texts_differ(const struct es_log *log)
{
    for (uint64_t i = 0; i < es_log_size(log); i++) {
        struct es_hash hash;
        char number[32], issued[32];
        log_leaf((int)i, &hash, number, issued);
        if (strcmp(es_log_leaf(log, i)->number, number) != 0 ||
            strcmp(es_log_leaf(log, i)->issued, issued) != 0) {
            return true;
        }
    }
    return false;
}

/* What stands in a leaf's line beside its hash is held against the certificate by the audit. */
Test(log_unit, every_altered_byte_is_noticed)
{
    es_log_close(log_fill(3));
    size_t length = 0;
    char *text = log_text(&length);
    struct es_trusted_key trusted = log_trust();
    size_t by_form = 0, by_signature = 0, as_unfinished = 0, in_text = 0;
    for (size_t at = 0; at < length; at++) {
        struct es_log *log = NULL;
        struct es_text faults = {0};
        char kept = text[at];
        text[at] = kept == '1' ? '2' : '1';
        cr_assert_eq(es_log_parse("altered", text, length, &faults, &log, NULL), ES_OK);
        if (faults.length > 0) {
            by_form++;
        } else if (es_log_unfinished(log) > 0) {
            as_unfinished++;
            cr_expect_lt(es_log_size(log), 3);
        } else if (texts_differ(log)) {
            in_text++;
        } else {
            cr_assert_eq(es_log_check_heads(text, length, &trusted, 1, &faults, NULL), ES_OK);
            cr_expect_gt(faults.length, 0, "byte %zu ('%c') went unnoticed", at, kept);
            by_signature++;
        }
        text[at] = kept;
        es_log_close(log);
        es_text_free(&faults);
    }
    cr_expect(by_form > 100 && by_signature > 100 && as_unfinished > 100 && in_text > 20, "%zu %zu %zu %zu",
              by_form, by_signature, as_unfinished, in_text);
    free(text);
}

Test(log_unit, a_damaged_log_takes_nothing_more)
{
    es_log_close(log_fill(3));
    size_t length = 0;
    char *text = log_text(&length);
    strstr(text, "EX-000001")[-3] ^= 1; /* the first leaf's hash */
    log_put(text, length);
    struct es_log *log = NULL;
    struct es_error err;
    cr_expect_eq(es_log_open(NULL, log_path, &log, &err), ES_NOT_VALID);
    cr_expect_not_null(strstr(err.text, "damaged"), "%s", err.text);
    free(text);
}

Test(log_unit, heads_never_run_backwards)
{
    struct es_log *log = log_fill(3); /* 10:02 */
    struct es_hash hash;
    char number[32], issued[32];
    struct es_log_proof proof;
    struct es_log_head head;
    log_leaf(3, &hash, number, issued);
    cr_assert_eq(es_log_append(log, &hash, number, issued, log_key(), "2026-01-01T00:00:00Z", &proof, NULL),
                 ES_OK);
    cr_assert_eq(es_log_head_read(proof.head, strlen(proof.head), &head, NULL), ES_OK);
    cr_expect_str_eq(head.time, "2026-02-03T10:02:00Z");
    es_log_proof_clear(&proof);
    es_log_close(log);
}

Test(log_unit, heads_by_keys_that_do_not_count)
{
    struct es_log *log = log_fill(1);
    const char *text = es_log_head(log);
    struct es_log_head head;
    struct es_trusted_key trusted = log_trust();
    const size_t n = strlen(text);
    cr_expect_eq(es_log_head_check(text, n, &trusted, 1, &head, NULL), ES_OK);
    cr_expect_eq(es_log_head_check(text, n, NULL, 0, &head, NULL), ES_NOT_VALID);
    trusted.revoked = "2026-01-01T00:00:00Z";
    cr_expect_eq(es_log_head_check(text, n, &trusted, 1, &head, NULL), ES_NOT_VALID);
    trusted.revoked = "2027-01-01T00:00:00Z";
    cr_expect_eq(es_log_head_check(text, n, &trusted, 1, &head, NULL), ES_OK);
    trusted.roles = "release void";
    cr_expect_eq(es_log_head_check(text, n, &trusted, 1, &head, NULL), ES_NOT_VALID);
    trusted.roles = "release bench";
    cr_expect_eq(es_log_head_check(text, n, &trusted, 1, &head, NULL), ES_OK);
    trusted.from = "2026-12-01T00:00:00Z";
    cr_expect_eq(es_log_head_check(text, n, &trusted, 1, &head, NULL), ES_NOT_VALID);
    es_log_close(log);
}

Test(log_unit, proof_documents_are_read_strictly)
{
    struct es_log *log = log_fill(6);
    struct es_log_proof proof, again;
    char *text = NULL;
    cr_assert_eq(es_log_prove(log, 4, &proof, NULL), ES_OK);
    cr_assert_eq(es_log_proof_write(&proof, &text, NULL), ES_OK);
    struct es_findings findings = {0};
    cr_assert_eq(es_log_proof_read("p", text, strlen(text), &findings, &again, NULL), ES_OK);
    cr_expect_eq(again.index, 4);
    cr_expect_str_eq(again.number, "EX-000005");
    cr_expect_str_eq(again.head, proof.head);
    cr_expect_eq(memcmp(&again.path, &proof.path, sizeof proof.path.items[0] * proof.path.count), 0);
    es_log_proof_clear(&again);
    static const char *const wrong[] = {
        "{}", "[]", "{\"endstop\":\"log-growth/1\",\"from\":\"a\",\"path\":[],\"to\":\"b\"}",
        "{\"endstop\":\"log-proof/"
        "1\",\"head\":\"a\",\"index\":0.5,\"leaf\":\"00\",\"number\":\"a\",\"path\":[1]}",
        "{\"endstop\":\"log-proof/"
        "1\",\"extra\":1,\"head\":\"a\",\"index\":0,\"leaf\":\"00\",\"number\":\"a\","
        "\"path\":[]}"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        cr_expect_eq(es_log_proof_read("p", wrong[i], strlen(wrong[i]), &findings, &again, NULL),
                     ES_BAD_INPUT);
        cr_expect(es_findings_any(&findings), "%zu", i);
        es_findings_free(&findings);
    }
    free(text);
    es_log_proof_clear(&proof);
    es_log_close(log);
}

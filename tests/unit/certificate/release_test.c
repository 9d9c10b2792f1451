/* Further signatures: release, void, keys that are in force for some time and some role, and the log's leaf.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "tests/unit/certificate/sample.h"

#define ISSUED   "2026-02-03T10:05:01.500Z"
#define RELEASED "2026-02-04T08:00:00Z"

static struct es_key *bench, *person;
static struct es_trusted_key keys[2];
static char *file, *released;
static size_t length, released_length;
static struct es_certificate_report report;

static void setup(void)
{
    struct es_outcome outcome;
    unsigned char seed[32] = {7};
    bench = sample_key();
    cr_assert_eq(es_key_from_seed(seed, &person, NULL), ES_OK);
    keys[0] = (struct es_trusted_key){.key = *es_key_public(bench), .name = "Bench 1", .roles = "bench"};
    keys[1] = (struct es_trusted_key){.key = *es_key_public(person), .name = "B", .roles = "release void"};
    sample_outcome(&outcome, 2, 0);
    file = sample_signed(&outcome, bench, &length);
    es_outcome_free(&outcome);
    cr_assert_eq(sample_release(file, length, person, RELEASED, &released, &released_length, NULL), ES_OK);
}

static void teardown(void)
{
    es_key_free(bench);
    es_key_free(person);
    free(file);
    free(released);
}

TestSuite(release, .init = setup, .fini = teardown);

static enum es_certificate_finding check(const char *bytes, size_t size)
{
    cr_assert_eq(es_certificate_verify("c", bytes, size, keys, 2, &report, NULL), ES_OK);
    return report.finding;
}

Test(release, says_who_and_when)
{
    cr_expect_eq(check(released, released_length), ES_CERTIFICATE_VALID, "%s", report.text);
    cr_expect_not_null(strstr(report.text, "released by B. Example on " RELEASED), "%s", report.text);
    cr_expect_str_eq(report.signatures[1].name, "B. Example");
    cr_expect_eq(report.signatures[1].trusted, &keys[1]);
    cr_expect_eq(check(file, length), ES_CERTIFICATE_VALID);
    cr_expect_not_null(strstr(report.text, "; not released."), "%s", report.text);
}

Test(release, leaf_of_the_issued_file_follows_from_the_released_one)
{
    char *leaf = NULL;
    size_t size = 0;
    cr_assert_eq(es_certificate_leaf(released, released_length, 1, &leaf, &size, NULL), ES_OK);
    cr_expect(size == length && memcmp(leaf, file, size) == 0);
    free(leaf);
    cr_assert_eq(es_certificate_leaf(released, released_length, 2, &leaf, &size, NULL), ES_OK);
    cr_expect(size == released_length && memcmp(leaf, released, size) == 0);
    free(leaf);
    cr_expect_eq(es_certificate_leaf(released, released_length, 3, &leaf, &size, NULL), ES_NOT_FOUND);
    cr_expect_eq(es_certificate_leaf(released, released_length, 0, &leaf, &size, NULL), ES_NOT_FOUND);
    cr_expect_eq(es_certificate_leaf("{}", 2, 1, &leaf, &size, NULL), ES_BAD_INPUT);
}

Test(release, a_key_counts_from_when_it_was_made_until_it_was_replaced_or_revoked)
{
    static const struct {
        const char *from, *until, *revoked, *says;
        enum es_certificate_finding finding;
    } rows[] = {{"2026-02-03T10:05:01Z", NULL, NULL, NULL, ES_CERTIFICATE_VALID},
                {"2026-02-03T10:05:02Z", NULL, NULL, "made only on", ES_CERTIFICATE_REVOKED},
                {NULL, "2026-02-03T10:05:02Z", NULL, NULL, ES_CERTIFICATE_VALID},
                {NULL, "2026-02-03T10:05:01Z", NULL, "replaced by another", ES_CERTIFICATE_REVOKED},
                {NULL, NULL, "2026-02-03T10:05:02Z", NULL, ES_CERTIFICATE_VALID},
                {NULL, NULL, "2026-02-03T10:05:01Z", "revoked from", ES_CERTIFICATE_REVOKED}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        keys[0].from = rows[i].from;
        keys[0].until = rows[i].until;
        keys[0].revoked = rows[i].revoked;
        keys[0].because = "the bench's disk was stolen";
        cr_expect_eq(check(file, length), rows[i].finding, "row %zu: %s", i, report.text);
        cr_expect(!rows[i].says || strstr(report.text, rows[i].says), "%s", report.text);
        cr_expect(!rows[i].revoked || !rows[i].says || strstr(report.text, "disk was stolen"), "%s",
                  report.text);
    }
}

Test(release, a_releaser_cannot_issue_and_a_bench_cannot_release)
{
    keys[0].roles = "release void";
    cr_expect_eq(check(file, length), ES_CERTIFICATE_WRONG_ROLE, "%s", report.text);
    keys[0].roles = "bench";
    keys[1].roles = "bench";
    cr_expect_eq(check(released, released_length), ES_CERTIFICATE_VALID);
    cr_expect_null(report.signatures[1].trusted);
    cr_expect_not_null(strstr(report.signatures[1].doubt, "trusted for \"bench\" only"));
    cr_expect_not_null(strstr(report.text, "not released"), "%s", report.text);
    keys[1].roles = "benches releases"; /* whole words only */
    cr_expect_eq(check(released, released_length), ES_CERTIFICATE_VALID);
    cr_expect_null(report.signatures[1].trusted);
}

static void expect_doubt(const char *name, const char *when, const char *says)
{
    const struct es_signing signing = {.role = ES_ROLE_OF_RELEASE, .when = when, .name = name};
    char *out = NULL;
    size_t size = 0;
    cr_assert_eq(es_certificate_sign_as(file, length, person, &signing, &out, &size, NULL), ES_OK);
    cr_expect_eq(check(out, size), ES_CERTIFICATE_VALID);
    cr_expect_null(report.signatures[1].trusted);
    cr_expect_not_null(strstr(report.signatures[1].doubt, says), "%s", report.signatures[1].doubt);
    cr_expect_not_null(strstr(report.text, "not released"));
    free(out);
}

Test(release, not_by_who_ran_it_and_not_before_it_was_issued)
{
    expect_doubt("A. Example", RELEASED, "person who ran the test");
    expect_doubt("B. Example", "2026-02-03T10:05:00Z", "older than the certificate");
}

Test(release, void_takes_it_out_of_force_for_good)
{
    const struct es_signing signing = {
        .role = ES_ROLE_OF_VOID, .when = RELEASED, .name = "B. Example", .reason = "wrong unit on the bench"};
    struct es_signing incomplete = signing;
    char *out = NULL;
    char *more = NULL;
    size_t size = 0;
    incomplete.reason = NULL;
    cr_expect_eq(es_certificate_sign_as(released, released_length, person, &incomplete, &out, &size, NULL),
                 ES_USAGE);
    incomplete = signing;
    incomplete.name = NULL;
    cr_expect_eq(es_certificate_sign_as(released, released_length, person, &incomplete, &out, &size, NULL),
                 ES_USAGE);
    cr_assert_eq(es_certificate_sign_as(released, released_length, person, &signing, &out, &size, NULL),
                 ES_OK);
    cr_expect_eq(check(out, size), ES_CERTIFICATE_VOID);
    cr_expect_not_null(strstr(report.text, "wrong unit on the bench"), "%s", report.text);
    cr_expect_eq(es_certificate_status(&report, NULL), ES_NOT_VALID);
    cr_expect_eq(sample_release(out, size, bench, RELEASED, &more, &size, NULL), ES_REFUSED);
    keys[1].roles = "release"; /* who may not make void does not */
    cr_expect_eq(check(out, size), ES_CERTIFICATE_VALID);
    free(out);
}

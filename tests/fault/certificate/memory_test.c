/* Each allocation is refused in turn, once and from then on, until the operation goes through: the answer
 * must be "out of memory", never a crash, never half a result, and never a judgement about a certificate or a
 * unit. Leaks show under the address sanitizer. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"
#include "tests/support/memory/refuse.h"
#include "tests/unit/certificate/sample.h"
#include "tests/unit/store/store_help.h"

static struct es_key *key;
static struct es_outcome outcome;
static struct es_certificate_meta meta;

static void setup(void)
{
    refuse_setup();
    key = sample_key();
    meta = sample_meta(key);
    sample_outcome(&outcome, 3, 30);
    help_setup();
}

static void teardown(void)
{
    es_outcome_free(&outcome);
    es_key_free(key);
    help_teardown();
}

TestSuite(memory, .init = setup, .fini = teardown);

static enum es_status do_build(void)
{
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = es_certificate_build(&outcome, &meta, &bytes, &length, NULL);
    cr_assert((st == ES_OK) == (bytes != NULL));
    free(bytes);
    return st;
}

Test(memory, building)
{
    refuse_each(do_build, 200, 1, false);
}

static char *payload, *file;
static size_t payload_length, file_length;

static enum es_status do_sign(void)
{
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = es_certificate_sign(payload, payload_length, key, "bench", "2026-02-03T10:00:00Z",
                                            &bytes, &length, NULL);
    cr_assert((st == ES_OK) == (bytes != NULL));
    free(bytes);
    return st;
}

Test(memory, signing)
{
    cr_assert_eq(es_certificate_build(&outcome, &meta, &payload, &payload_length, NULL), ES_OK);
    refuse_each(do_sign, 200, 1, false);
    free(payload);
}

static enum es_status do_verify(void)
{
    struct es_trusted_key trusted = {.key = *es_key_public(key)};
    struct es_certificate_report report;
    enum es_status st = es_certificate_verify("c", file, file_length, &trusted, 1, &report, NULL);
    cr_assert(st != ES_OK || report.finding == ES_CERTIFICATE_VALID, "a lack of memory is no finding: %s",
              report.text);
    return st;
}

Test(memory, verifying)
{
    file = sample_signed(&outcome, key, &file_length);
    refuse_each(do_verify, 5, 1, false);
    free(file);
}

static enum es_status do_judge(void)
{
    struct es_line line;
    enum es_status st =
        es_judge_line("p", "m", &outcome.lines[0].value, &outcome.lines[2].limit, &line, NULL);
    if (st == ES_OK) {
        es_line_clear(&line);
        st = es_judge_not_tested("p", "m", &outcome.lines[2].limit, "why", &line, NULL);
    }
    if (st == ES_OK) {
        es_line_clear(&line);
    }
    return st;
}

Test(memory, judging)
{
    refuse_each(do_judge, 5, 1, false);
}

static enum es_status do_type(void)
{
    struct es_findings findings = {0};
    struct es_type *type = NULL;
    enum es_status st =
        es_type_load(ES_SOURCE_DIR "/procedures/types/part-turn-double-acting.json", &findings, &type, NULL);
    cr_assert((st == ES_OK) == (type != NULL));
    if (st == ES_BAD_INPUT && findings.out_of_memory && findings.count == 0) {
        st = ES_NO_MEMORY; /* findings say so in their own way */
    }
    es_type_free(type);
    es_findings_free(&findings);
    return st;
}

Test(memory, type_sheet)
{
    refuse_each(do_type, 200, 1, false);
}

static enum es_status do_lists(void)
{
    struct es_store *store = NULL;
    struct es_store_list list = {0};
    struct es_store_runs runs = {0};
    struct es_store_trust trust = {0};
    enum es_status st = es_store_open(help_folder, ES_STORE_READ, &store, NULL);
    if (st == ES_OK) {
        st = es_store_certificates(store, NULL, &list, NULL);
    }
    if (st == ES_OK) {
        cr_assert_eq(list.count, 1);
        cr_assert_null(list.items[0].fault, "a lack of memory is no damage: %s", list.items[0].fault);
        st = es_store_runs(store, &runs, NULL);
    }
    if (st == ES_OK) {
        cr_assert_eq(runs.count, 2);
        cr_assert_eq(runs.items[0].state, ES_RUN_CERTIFIED);
        cr_assert_eq(runs.items[1].state, ES_RUN_OPEN);
        st = es_store_trust(store, &trust, NULL);
    }
    es_store_trust_free(&trust);
    es_store_runs_free(&runs);
    es_store_list_free(&list);
    es_store_close(store);
    return st;
}

Test(memory, lists_of_the_store)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_maker maker = help_maker("certificate", "s", "r1");
    struct es_store_run a = {.run = (char *)"r1", .began = (char *)"2026-02-03T10:00:00Z"};
    struct es_store_run b = {.run = (char *)"r2", .began = (char *)"2026-02-03T11:00:00Z"};
    struct es_public_key made;
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(es_store_run_begin(store, &a, NULL), ES_OK);
    cr_assert_eq(es_store_run_begin(store, &b, NULL), ES_OK);
    cr_assert_eq(es_store_issue(store, "EX", &maker, number, NULL), ES_OK);
    cr_assert_eq(es_store_key_create(store, &help_order, &made, NULL), ES_OK);
    es_store_close(store);
    refuse_each(do_lists, 100, 1, false);
}

/* Each allocation is refused in turn, once and from then on, until the operation goes through: the answer
 * must be "out of memory", never a crash, never half a result, and never a judgement about a certificate or a
 * unit. Leaks show under the address sanitizer. */
#include <criterion/criterion.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"
#include "tests/unit/certificate/sample.h"
#include "tests/unit/store/store_help.h"

static unsigned calls, refuse_at;
static bool for_ever, armed;

static bool refused(void)
{
    if (!armed) {
        return false;
    }
    calls++;
    return calls == refuse_at || (for_ever && calls > refuse_at);
}

/* The linker puts these before the library's own (-Wl,--wrap), for the objects of this program. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__real_reallocarray(void *old, size_t count, size_t size);
char *__real_strdup(const char *text);
char *__real_strndup(const char *text, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);
void *__wrap_reallocarray(void *old, size_t count, size_t size);
char *__wrap_strdup(const char *text);
char *__wrap_strndup(const char *text, size_t size);
int __wrap_asprintf(char **out, const char *format, ...) __attribute__((format(printf, 2, 3)));
int __wrap___asprintf_chk(char **out, int flag, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

void *__wrap_malloc(size_t size)
{
    return refused() ? NULL : __real_malloc(size);
}
void *__wrap_calloc(size_t count, size_t size)
{
    return refused() ? NULL : __real_calloc(count, size);
}
void *__wrap_realloc(void *old, size_t size)
{
    return refused() ? NULL : __real_realloc(old, size);
}
void *__wrap_reallocarray(void *old, size_t count, size_t size)
{
    return refused() ? NULL : __real_reallocarray(old, count, size);
}
char *__wrap_strdup(const char *text)
{
    return refused() ? NULL : __real_strdup(text);
}
char *__wrap_strndup(const char *text, size_t size)
{
    return refused() ? NULL : __real_strndup(text, size);
}
int __wrap_asprintf(char **out, const char *format, ...)
{
    if (refused()) {
        return -1;
    }
    va_list args;
    va_start(args, format);
    int n = vasprintf(out, format, args);
    va_end(args);
    return n;
}
int __wrap___asprintf_chk(char **out, int flag, const char *format, ...)
{
    (void)flag;
    if (refused()) {
        return -1;
    }
    va_list args;
    va_start(args, format);
    int n = vasprintf(out, format, args);
    va_end(args);
    return n;
}

static void *cjson_malloc(size_t size)
{
    return __wrap_malloc(size);
}

static struct es_key *key;
static struct es_outcome outcome;
static struct es_certificate_meta meta;

static void setup(void)
{
    cJSON_Hooks hooks = {.malloc_fn = cjson_malloc, .free_fn = free};
    cJSON_InitHooks(&hooks);
    key = sample_key();
    meta = sample_meta(key);
    sample_outcome(&outcome, 3, 30);
    help_setup();
}

static void teardown(void)
{
    armed = false;
    es_outcome_free(&outcome);
    es_key_free(key);
    help_teardown();
}

TestSuite(memory, .init = setup, .fini = teardown);

/* Runs `operation` with each allocation refused in turn; it says its status. */
static void refuse_each(enum es_status (*operation)(void), unsigned least)
{
    for (int ever = 0; ever < 2; ever++) {
        for (unsigned n = 1;; n++) {
            calls = 0;
            refuse_at = n;
            for_ever = ever;
            armed = true;
            enum es_status st = operation();
            armed = false;
            if (calls < n) {
                cr_expect_eq(st, ES_OK, "without refusal it goes through");
                cr_expect_gt(n, least, "it allocates more than that");
                break;
            }
            cr_expect_eq(st, ES_NO_MEMORY, "allocation %u refused%s: status %d", n,
                         ever ? " and all after" : "", (int)st);
        }
    }
}

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
    refuse_each(do_build, 200);
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
    refuse_each(do_sign, 200);
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
    refuse_each(do_verify, 5);
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
    refuse_each(do_judge, 5);
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
    refuse_each(do_type, 200);
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
    refuse_each(do_lists, 100);
}

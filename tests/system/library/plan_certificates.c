/* A certificate of every shipped plan, of a good unit and of one with a fault, signed; plan_certificates.py
 * runs it and looks at them. The folder is in ES_CERTIFICATES: NAME.json and NAME.pub.pem. */
#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/certificate.h"
#include "rig/base/file.h"
#include "tests/system/library/virtual_run.h"

static const struct row {
    const char *plan, *type, *fault;
    double severity;
    enum es_verdict verdict;
} rows[] = {
    {"after-relay-swap", "linear-single-acting", NULL, 0, ES_PASS},
    {"after-relay-swap", "linear-single-acting", "relay seat leaks to output 1", 0.3, ES_FAIL},
    {"incoming-complete-unit", "part-turn-double-acting", NULL, 0, ES_PASS},
    {"incoming-complete-unit", "part-turn-double-acting", "minimum current high", 0.5, ES_FAIL},
    {"incoming-relay-module", "relay-module-double-acting", NULL, 0, ES_PASS},
    {"incoming-relay-module", "relay-module-double-acting", "coil weak", 0.9, ES_FAIL},
    {"returned-unit-audit", "linear-double-acting", NULL, 0, ES_PASS},
    {"returned-unit-audit", "linear-double-acting", "coupling slack", 0.5, ES_FAIL},
    {"bench-self-proof", "self-proof-block", NULL, 0, ES_PASS},
    {"bench-self-proof", "self-proof-block", "fitting leaks on output 2", 0.15, ES_FAIL},
    {"endurance-cycling", "linear-single-acting", NULL, 0, ES_PASS},
    {"endurance-cycling", "linear-single-acting", "relay seat leaks to output 1", 0.3, ES_FAIL},
};
#define ROWS (sizeof rows / sizeof rows[0])

static void put(const char *name, const char *ending, const char *bytes, size_t length)
{
    const char *folder = getenv("ES_CERTIFICATES");
    char path[512];
    struct es_error err;

    cr_assert_not_null(folder, "ES_CERTIFICATES names the folder");
    (void)snprintf(path, sizeof path, "%s/%s%s", folder, name, ending);
    cr_assert_eq(es_file_write(NULL, path, ES_FILE_NEW, 0644, bytes, length, &err), ES_OK, "%s", err.text);
}

static void issue(const struct es_outcome *outcome, const char *name)
{
    struct es_key *key = NULL;
    struct es_error err;
    char pem[ES_PUBLIC_KEY_TEXT_MAX], *payload = NULL, *file = NULL;
    size_t length = 0;

    cr_assert_eq(es_key_create(&key, &err), ES_OK, "%s", err.text);
    const struct es_certificate_meta meta = {.number = "EX-000001",
                                             .issued = "2026-11-25T09:00:00Z",
                                             .software_version = "0.1.0",
                                             .issuer_thumbprint = es_key_public(key)->thumbprint,
                                             .virtual_bench = true};
    cr_assert_eq(es_certificate_build(outcome, &meta, &payload, &length, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_certificate_sign(payload, length, key, ES_ROLE_OF_BENCH, "2026-11-25T09:00:00Z", &file,
                                     &length, &err),
                 ES_OK, "%s", err.text);
    put(name, ".json", file, length);
    es_public_key_pem(es_key_public(key), pem);
    put(name, ".pub.pem", pem, strlen(pem));
    free(payload);
    free(file);
    es_key_free(key);
}

ParameterizedTestParameters(plan, certificate)
{
    static size_t indices[ROWS];
    for (size_t i = 0; i < ROWS; i++)
        indices[i] = i;
    return cr_make_param_array(size_t, indices, ROWS);
}

ParameterizedTest(const size_t *index, plan, certificate)
{
    const struct row *r = &rows[*index];
    struct virtual_run x;
    char path[512], name[96];

    (void)snprintf(path, sizeof path, LIBRARY "%s.plan.json", r->plan);
    (void)snprintf(name, sizeof name, "%s-%s", r->plan, r->fault == NULL ? "good" : "faulty");
    virtual_run_make(&x, &(struct virtual_case){.type = r->type,
                                                .plan = path,
                                                .seed = 3,
                                                .attended = true,
                                                .fault = r->fault,
                                                .severity = r->severity});
    virtual_run(&x, NULL);
    cr_expect_eq(x.outcome.verdict, r->verdict, "%s: %s", name, es_verdict_word(x.outcome.verdict));
    if (x.outcome.verdict != r->verdict)
        virtual_show(&x, false);
    issue(&x.outcome, name);
    virtual_run_free(&x);
}

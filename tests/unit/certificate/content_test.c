/* What the reader gives back is what the builder put in. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/content.h"
#include "tests/unit/certificate/sample.h"

static struct es_certificate_visit visit = {.customer_contact = "c@example.test",
                                            .customer_reference = "PO 12",
                                            .job = "J-0007",
                                            .received = "2026-02-01",
                                            .found = "relay diaphragm torn",
                                            .deviations = "supply 4 bar in place of 6 bar",
                                            .before = {.number = "EX-000000",
                                                       .sha256 = "0123456789abcdef0123456789abcdef"
                                                                 "0123456789abcdef0123456789abcdef",
                                                       .state = "as found",
                                                       .verdict = "fail"}};

static cJSON *make(size_t lines, size_t points)
{
    struct es_outcome outcome;
    struct es_key *key = sample_key();
    struct es_certificate_meta meta = sample_meta(key);
    char *payload = NULL, *file = NULL;
    size_t length = 0;
    meta.visit = &visit;
    meta.replaces = "EX-000009";
    meta.replaces_because = "the customer's name was wrong";
    sample_outcome(&outcome, lines, points);
    cr_assert_eq(es_certificate_build(&outcome, &meta, &payload, &length, NULL), ES_OK);
    cr_assert_eq(
        es_certificate_sign(payload, length, key, "bench", "2026-02-03T10:05:01.500Z", &file, &length, NULL),
        ES_OK);
    cJSON *root = cJSON_Parse(file);
    free(payload);
    free(file);
    es_key_free(key);
    es_outcome_free(&outcome);
    return root;
}

Test(content, reads_what_was_written)
{
    cJSON *root = make(3, 40);
    struct es_content c;
    cr_assert_eq(es_content_read(root, &c, NULL), ES_OK);
    cr_expect_str_eq(c.number, "EX-000001");
    cr_expect_str_eq(c.replaces_because, "the customer's name was wrong");
    cr_expect_str_eq(c.laboratory_address, "1 Example Street, Exampleton");
    cr_expect_str_eq(c.place_of_test, "Example Hall, bay 2");
    cr_expect_str_eq(c.customer_contact, "c@example.test");
    cr_expect_str_eq(c.job, "J-0007");
    cr_expect_str_eq(c.condition, "");
    cr_expect_str_eq(c.before_verdict, "fail");
    cr_expect_str_eq(c.type_sheet.version, "2");
    cr_expect_str_eq(c.person, "A. Example");
    cr_expect_str_eq(c.verdict, "pass");
    cr_expect(!c.record && !c.virtual_bench && c.attended && isnan(c.safe_state_after));
    cr_assert_eq(c.line_count, 3);
    cr_expect(c.lines[0].v.measured && fabs(c.lines[0].v.value - 0.4) < 1e-9 && c.lines[0].v.dof == 17.3);
    cr_expect(c.lines[0].lower == -INFINITY && c.lines[0].upper == 3 && c.lines[0].required);
    cr_expect(!c.lines[2].v.measured && isnan(c.lines[2].v.U) && c.lines[2].reason[0] &&
              !c.lines[2].required);
    cr_expect_str_eq(es_content_procedure_title(&c, c.lines[0].procedure), "Relay leak with no input");
    cr_assert_eq(c.curve_count, 2);
    cr_expect(c.curves[1].count > 3 && c.curves[1].t[0] == 0);
    cr_assert_eq(c.condition_count, 1);
    cr_expect_str_eq(c.conditions[0].name, "Nl/h");
    cr_assert_eq(c.source_count, 1);
    cr_expect_str_eq(c.sources[0].limits[0], "leak of output 1");
    cr_assert_eq(c.not_given_count, 1);
    cr_expect_str_eq(c.not_given[0], "condition on receipt");
    cr_assert_eq(c.signature_count, 1);
    cr_expect_str_eq(c.signatures[0].role, "bench");
    cr_expect(c.statement_count >= 5 && c.instrument_count == 2 && c.confirmation_count == 1);
    es_content_free(&c);
    cJSON_Delete(root);
}

Test(content, foreign_json_is_refused_and_gaps_are_empty)
{
    struct es_content c;
    struct es_error err;
    cJSON *root = cJSON_Parse("[1]");
    cr_expect_eq(es_content_read(root, &c, &err), ES_BAD_INPUT);
    cJSON_Delete(root);
    root =
        cJSON_Parse("{\"endstop\":\"certificate/1\",\"lines\":[{},1],\"curves\":[{\"t_s\":[1,2],\"y\":[1]}],"
                    "\"signatures\":[{\"jws\":\"!\"}]}");
    cr_assert_eq(es_content_read(root, &c, &err), ES_OK);
    cr_expect_eq(c.line_count, 2);
    cr_expect_str_eq(c.lines[1].verdict, "");
    cr_expect_eq(c.curves[0].count, 1);
    cr_expect_str_eq(c.signatures[0].role, "");
    es_content_free(&c);
    cJSON_Delete(root);
}

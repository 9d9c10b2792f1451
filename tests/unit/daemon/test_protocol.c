#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "rig/daemon/protocol.h"

static enum es_status parse(const char *text, struct es_request_line *r, struct es_error *err)
{
    return es_request_parse(text, strlen(text), r, err);
}

Test(protocol, reads_a_run)
{
    struct es_request_line r;
    struct es_error err = {0};
    enum es_status s =
        parse("{\"id\":7,\"do\":\"run\",\"station\":\"1\",\"plan\":\"p\",\"type\":\"t\",\"serial\":\"4711\","
              "\"state\":\"as left\",\"unattended\":true,\"seed\":5}",
              &r, &err);
    cr_assert_eq(s, ES_OK, "%s", err.text);
    cr_assert_eq(r.id, 7);
    cr_assert_eq(r.what, ES_DO_RUN);
    cr_assert_str_eq(r.serial, "4711");
    cr_assert_str_eq(r.state, "as left");
    cr_assert(r.unattended);
    cr_assert_not(r.ignore_gates);
    cr_assert_eq(r.seed, 5);
    cr_assert_null(r.tag);
    es_request_free(&r);
}

/* A bar-code reader may send an end of line, a stranger may send worse: neither becomes a name in a
 * certificate. */
Test(protocol, names_that_nobody_can_see_are_refused)
{
    static const char *const members[] = {
        "serial", "tag", "customer", "lot", "supplier", "customer reference", "job"};
    static const char *const nasty[] = {"4711\\u000d", "47\\u001b[2J11", "47\\u202e11", "4711 "};
    for (size_t m = 0; m < sizeof members / sizeof members[0]; m++) {
        for (size_t i = 0; i < sizeof nasty / sizeof nasty[0]; i++) {
            char text[400];
            struct es_request_line r;
            struct es_error err = {0};
            (void)snprintf(
                text, sizeof text,
                "{\"id\":7,\"do\":\"run\",\"station\":\"1\",\"plan\":\"p\",\"type\":\"t\",%s\"%s\":\"%s\","
                "\"state\":\"as left\"}",
                m == 0 ? "" : "\"serial\":\"4711\",", members[m], nasty[i]);
            cr_expect_eq(parse(text, &r, &err), ES_USAGE, "%s: %s", text, err.text);
            cr_expect(strstr(err.text, "nobody can see (U+") || strstr(err.text, "ends with a blank"), "%s",
                      err.text);
            cr_expect_null(strpbrk(err.text, "\r\x1b"), "the refusal must not steer a terminal either");
            es_request_free(&r);
        }
    }
}

Test(protocol, reads_an_answer)
{
    struct es_request_line r;
    struct es_error err = {0};
    cr_assert_eq(parse("{\"id\":1,\"do\":\"answer\",\"station\":\"1\",\"question\":3,\"answer\":\"number\","
                       "\"number\":\"4 bar\"}",
                       &r, &err),
                 ES_OK, "%s", err.text);
    cr_assert_eq(r.answer, ES_REPLY_NUMBER);
    cr_assert_eq(r.question, 3);
    es_request_free(&r);
}

static void refuses(const char *text, long id)
{
    struct es_request_line r;
    struct es_error err = {0};
    cr_expect_neq(parse(text, &r, &err), ES_OK, "accepted: %s", text);
    cr_expect_eq(r.id, id, "id %ld of %s", r.id, text);
    cr_expect(err.text[0] != '\0');
    es_request_free(&r);
}

Test(protocol, refuses_what_is_not_a_request)
{
    refuses("", 0);
    refuses("[]", 0);
    refuses("7", 0);
    refuses("{", 0);
    refuses("{}", 0);
    refuses("{\"id\":3}", 3);
    refuses("{\"id\":3,\"do\":\"dance\"}", 3);
    refuses("{\"id\":3,\"do\":7}", 3);
    refuses("{\"id\":-1,\"do\":\"bench\"}", 0);
    refuses("{\"id\":1e99,\"do\":\"bench\"}", 0);
    refuses("{\"id\":3,\"id\":4,\"do\":\"bench\"}", 0);
    refuses("{\"do\":\"bench\"}", 0);
    refuses("{\"id\":3,\"do\":\"bench\",\"more\":1}", 3);
    refuses("{\"id\":3,\"do\":\"bench\"} trailing", 0);
    refuses("{\"id\":3,\"do\":\"run\",\"station\":\"1\"}", 3);
    refuses("{\"id\":3,\"do\":\"run\",\"station\":\"1\",\"plan\":\"p\",\"type\":\"t\",\"serial\":\"\","
            "\"state\":\"as left\"}",
            3);
    refuses("{\"id\":3,\"do\":\"run\",\"station\":\"1\",\"plan\":\"p\",\"type\":\"t\",\"serial\":\"1\","
            "\"state\":\"new\"}",
            3);
    refuses("{\"id\":3,\"do\":\"watch\",\"station\":\"1\",\"from\":1.5}", 3);
    refuses("{\"id\":3,\"do\":\"bench\",\"station\":\"\xFF\"}", 0);
}

Test(protocol, names_let_no_path_in)
{
    cr_assert(es_name_is_plain("after-relay-swap"));
    cr_assert(es_name_is_plain("Bench-000017"));
    cr_assert(es_name_is_plain("v1.2_b"));
    const char *const bad[] = {"",
                               ".",
                               "..",
                               ".hidden",
                               "a/b",
                               "../x",
                               "a b",
                               "a\nb",
                               "ä",
                               "a\\b",
                               "0123456789012345678901234567890123456789012345678901234567890123456789"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_not(es_name_is_plain(bad[i]), "took \"%s\"", bad[i]);
}

Test(protocol, an_error_reply_is_one_line)
{
    struct es_error err;
    es_fail(&err, ES_REFUSED, "no \"way\"\nat all");
    struct es_text out = {0};
    es_reply_error(&out, 9, &err);
    cr_assert_null(strchr(out.bytes, '\n'));
    cr_assert_not_null(strstr(out.bytes, "\"ok\":false"));
    cr_assert_not_null(strstr(out.bytes, "\"id\":9"));
    es_text_free(&out);
}

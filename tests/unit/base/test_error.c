#include <criterion/criterion.h>
#include <errno.h>
#include <string.h>

#include "rig/base/error.h"
#include "rig/base/text.h"

Test(error, words_are_there_and_differ)
{
    for (int i = 0; i < ES_STATUS_COUNT; i++) {
        cr_expect_neq(es_status_word((enum es_status)i), NULL);
        for (int j = 0; j < i; j++)
            cr_expect_str_neq(es_status_word((enum es_status)i), es_status_word((enum es_status)j));
    }
    cr_expect_str_eq(es_status_word(ES_STATUS_COUNT), "unknown status");
}

Test(error, fail_fills_and_returns)
{
    struct es_error err = {0};

    cr_expect_eq(es_fail(&err, ES_TIMEOUT, "no answer in %d ms", 300), ES_TIMEOUT);
    cr_expect_eq(err.status, ES_TIMEOUT);
    cr_expect_str_eq(err.text, "no answer in 300 ms");
    cr_expect_eq(es_fail(NULL, ES_RANGE, "ignored"), ES_RANGE);
    es_error_clear(&err);
    cr_expect_eq(err.status, ES_OK);
    cr_expect_str_empty(err.text);
    es_error_clear(NULL);
}

Test(error, fail_may_quote_the_text_it_replaces)
{
    struct es_error err = {0};

    (void)es_fail(&err, ES_IO, "inner");
    (void)es_fail(&err, ES_HANGUP, "outer (%s)", err.text);
    cr_expect_str_eq(err.text, "outer (inner)");
}

Test(error, errno_text_and_status)
{
    struct es_error err = {0};

    cr_expect_eq(es_fail_errno(&err, ENOSPC, "%s", "journal"), ES_IO);
    cr_expect_str_eq(err.text, "journal: No space left on device");
    cr_expect_eq(es_fail_errno(&err, ENOMEM, "journal"), ES_NO_MEMORY);
    cr_expect_eq(es_fail_errno(NULL, ENOMEM, "journal"), ES_NO_MEMORY);
}

Test(error, context_goes_before)
{
    struct es_error err = {0};

    (void)es_fail(&err, ES_GARBLED, "bad CRC");
    cr_expect_eq(es_error_context(&err, ES_GARBLED, "bus %s", "A"), ES_GARBLED);
    cr_expect_str_eq(err.text, "bus A: bad CRC");
    cr_expect_eq(es_error_context(NULL, ES_HANGUP, "bus"), ES_HANGUP);
}

/* A text that is cut stays UTF-8 and shows that it was cut, whatever the character at the edge. */
Test(error, long_text_is_cut_between_characters)
{
    for (size_t shift = 0; shift < 4; shift++) {
        struct es_error err = {0};
        char text[900] = {0};
        memset(text, 'x', shift);
        for (size_t at = shift; at + 3 < sizeof text; at += 3)
            memcpy(text + at, "\xE2\x82\xAC", 3);
        (void)es_fail(&err, ES_IO, "%s", text);
        size_t n = strlen(err.text);
        cr_expect_lt(n, sizeof err.text);
        cr_expect_geq(n, sizeof err.text - 5);
        cr_expect_str_eq(err.text + n - 3, "...");
        for (size_t at = 0; at < n;) {
            size_t step = es_utf8_next(err.text + at, n - at, NULL);
            cr_assert_neq(step, 0, "broken character at %zu with shift %zu", at, shift);
            at += step;
        }
    }
}

Test(error, longest_text_that_fits_is_whole)
{
    struct es_error err = {0};
    char text[sizeof err.text];

    memset(text, 'y', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    (void)es_fail(&err, ES_IO, "%s", text);
    cr_expect_str_eq(err.text, text);
}

Test(error, exit_status_as_the_client_promises)
{
    static const int expected[ES_STATUS_COUNT] = {
        [ES_OK] = 0,        [ES_USAGE] = 2,     [ES_BAD_INPUT] = 2, [ES_RANGE] = 2,
        [ES_NOT_FOUND] = 2, [ES_NO_MEMORY] = 3, [ES_IO] = 3,        [ES_TIMEOUT] = 3,
        [ES_HANGUP] = 3,    [ES_REFUSED] = 3,   [ES_GARBLED] = 3,   [ES_DISABLED] = 3,
        [ES_CANCELLED] = 3, [ES_INTERLOCK] = 3, [ES_NOT_VALID] = 1, [ES_INTERNAL] = 3,
    };
    for (int i = 0; i < ES_STATUS_COUNT; i++)
        cr_expect_eq(es_exit_status((enum es_status)i), expected[i], "%s", es_status_word((enum es_status)i));
}

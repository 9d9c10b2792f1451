#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/outbox.h"
#include "results/archive/questions.h"
#include "tests/support/archive/visits.h"

static struct visits v;
static struct es_archive *archive;

/* Four visits of one unit, one of another; the first instrument was changed in March. */
static void setup(void)
{
    static const struct visit visits[] = {{.serial = "EX-1",
                                           .state = "as found",
                                           .issued = "2026-01-05T08:00:00Z",
                                           .leak = 1.0,
                                           .U = 0.3,
                                           .customer = "A"},
                                          {.serial = "EX-1",
                                           .state = "as left",
                                           .issued = "2026-01-05T09:00:00Z",
                                           .leak = 0.5,
                                           .U = 0.4,
                                           .customer = "A"},
                                          {.serial = "EX-1",
                                           .state = "as found",
                                           .issued = "2026-03-05T08:00:00Z",
                                           .leak = 5.0,
                                           .cause = "relay seat leaks",
                                           .U = 0.3,
                                           .customer = "A",
                                           .instrument = "EXAMPLE,F2"},
                                          {.serial = "EX-1",
                                           .state = "as left",
                                           .issued = "2026-03-05T09:00:00Z",
                                           .leak = 0.5,
                                           .U = 0.4,
                                           .customer = "A",
                                           .instrument = "EXAMPLE,F2"},
                                          {.serial = "EX-2",
                                           .state = "as found",
                                           .issued = "2026-03-06T08:00:00Z",
                                           .leak = 6.0,
                                           .U = 0.3,
                                           .customer = "B",
                                           .instrument = "EXAMPLE,F2"},
                                          {.serial = "EX-2",
                                           .state = "as found",
                                           .issued = "2026-03-07T08:00:00Z",
                                           .leak = 1.0,
                                           .U = 0.3,
                                           .customer = "B",
                                           .replaces = "EX-000005"}};
    struct es_outbox_report sent;
    char place[128];
    visits_open(&v);
    for (size_t i = 0; i < sizeof visits / sizeof visits[0]; i++) {
        visits_add(&v, &visits[i]);
    }
    (void)snprintf(place, sizeof place, "%s/archive.db", v.folder);
    cr_assert_eq(es_archive_open(place, ES_ARCHIVE_WRITE, &archive, NULL), ES_OK);
    cr_assert_eq(es_outbox_send(v.store, archive, NULL, NULL, &sent, NULL), ES_OK);
}

static void teardown(void)
{
    es_archive_close(archive);
    visits_close(&v);
}

TestSuite(questions, .init = setup, .fini = teardown);

static struct es_answer ask(struct es_question q)
{
    struct es_answer a;
    struct es_error err = {0};
    cr_assert_eq(es_question_ask(archive, &q, &a, &err), ES_OK, "%s", err.text);
    return a;
}

static const char *cell(const struct es_answer *a, size_t row, const char *column)
{
    for (size_t c = 0; c < a->column_count; c++) {
        if (strcmp(a->columns[c].name, column) == 0 && row < a->rows) {
            return a->cells[row * a->column_count + c];
        }
    }
    return "(no such cell)";
}

/* E_n by hand: (0.5 - 1) / sqrt(0.3^2 + 0.4^2) = -1; (5 - 0.5) / 0.5 = 9 (ISO 13528:2022 9.7). */
Test(questions, history_with_e_n)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_HISTORY, .serial = "EX-1"});
    cr_assert_eq(a.rows, 8); /* two lines, four visits */
    cr_expect_str_eq(cell(&a, 0, "E_n"), "");
    cr_expect_str_eq(cell(&a, 1, "E_n"), "-1.000");
    cr_expect_str_eq(cell(&a, 2, "E_n"), "9.000");
    cr_expect_str_eq(cell(&a, 2, "line_verdict"), "fail");
    cr_expect_str_eq(cell(&a, 4, "E_n"), "", "another measurand begins");
    es_answer_free(&a);
}

Test(questions, found_beside_left)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_PAIRS});
    cr_assert_eq(a.rows, 3);
    cr_expect_str_eq(cell(&a, 1, "found"), "fail");
    cr_expect_str_eq(cell(&a, 1, "left"), "pass");
    cr_expect_str_eq(cell(&a, 1, "left_number"), "EX-000004");
    cr_expect_str_eq(cell(&a, 2, "serial"), "EX-2");
    cr_expect_str_eq(cell(&a, 2, "left"), "");
    es_answer_free(&a);
}

/* Wilson for 2 of 3: 0.2077, 0.9385 (formula of Wilson 1927, worked by hand). What was replaced does not
 * count. */
Test(questions, no_fault_found)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_NO_FAULT});
    cr_assert_eq(a.rows, 1);
    cr_expect_str_eq(cell(&a, 0, "as_found"), "3");
    cr_expect_str_eq(cell(&a, 0, "no_fault"), "2");
    cr_expect_float_eq(strtod(cell(&a, 0, "low"), NULL), 0.2077, 1e-4);
    cr_expect_float_eq(strtod(cell(&a, 0, "high"), NULL), 0.9385, 1e-4);
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_NO_FAULT, .by = "customer", .since = "2026-03"});
    cr_assert_eq(a.rows, 2);
    cr_expect_str_eq(cell(&a, 0, "no_fault"), "0");
    cr_expect_str_eq(cell(&a, 1, "no_fault"), "1");
    es_answer_free(&a);
}

Test(questions, failures)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_FAILURES});
    cr_assert_eq(a.rows, 1);
    cr_expect_str_eq(cell(&a, 0, "name"), "relay-leak: leak of output 1, reading 1");
    cr_expect_str_eq(cell(&a, 0, "cumulative"), "1");
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_FAILURES, .by = "lot"});
    cr_expect_str_eq(cell(&a, 0, "name"), "(not given)");
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_FAILURES, .by = "cause"});
    cr_assert_eq(a.rows, 1);
    cr_expect_str_eq(cell(&a, 0, "name"), "relay seat leaks");
    es_answer_free(&a);
    struct es_error err;
    cr_expect_eq(
        es_question_ask(archive, &(struct es_question){.kind = ES_ASK_FAILURES, .by = "moon"}, &a, &err),
        ES_USAGE);
    es_answer_free(&a);
}

/* What a wrong gauge touched: replaced ones too, and marked. */
Test(questions, touched_by_an_instrument)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_TOUCHED, .instrument = "EXAMPLE,F2"});
    cr_assert_eq(a.rows, 3);
    cr_expect_str_eq(cell(&a, 2, "out_of_force"), "EX-000006");
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_TOUCHED, .instrument = "flow sensor 1", .since = "2026-03-06"});
    cr_expect_eq(a.rows, 2);
    es_answer_free(&a);
}

Test(questions, chart)
{
    struct es_answer a = ask((struct es_question){
        .kind = ES_ASK_CHART, .measurand = "leak of output 1, reading 1", .serial = "EX-1"});
    cr_assert_eq(a.rows, 4);
    cr_expect_str_eq(cell(&a, 0, "centre"), "1.75"); /* (1 + 0.5 + 5 + 0.5) / 4 */
    es_answer_free(&a);
}

Test(questions, find)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_FIND, .serial = "EX-2"});
    cr_expect_eq(a.rows, 2);
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_FIND, .since = "2026-03-06"});
    cr_expect_eq(a.rows, 2);
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_FIND, .serial = "' OR 1=1 --"});
    cr_expect_eq(a.rows, 0);
    es_answer_free(&a);
}

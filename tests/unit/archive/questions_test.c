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
    a = ask(
        (struct es_question){.kind = ES_ASK_TOUCHED, .instrument = "flow sensor 1", .since = "2026-03-06"});
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

/* The limits of the chart are of exactly the values asked for; the summary says how many carry a signal. */
Test(questions, chart_says_what_it_found)
{
    struct es_answer a = ask((struct es_question){
        .kind = ES_ASK_CHART, .measurand = "leak of output 1, reading 1", .procedure = "relay-leak"});
    cr_expect_eq(a.rows, 5);
    cr_expect_not_null(strstr(a.summary, "Mean 1.6 Nl/h"), "%s", a.summary);
    es_answer_free(&a);
    a = ask((struct es_question){
        .kind = ES_ASK_CHART, .measurand = "leak of output 1, reading 1", .tested = "as left"});
    cr_expect_eq(a.rows, 2);
    es_answer_free(&a);
    a = ask((struct es_question){
        .kind = ES_ASK_CHART, .measurand = "leak of output 1, reading 1", .procedure = "stroke"});
    cr_expect_eq(a.rows, 0);
    cr_expect_str_eq(a.nothing,
                     "No certificate in force has a value of \"leak of output 1, reading 1\" in procedure "
                     "stroke");
    es_answer_free(&a);
}

Test(questions, values_found_beside_left)
{
    struct es_answer a =
        ask((struct es_question){.kind = ES_ASK_PAIRS, .measurand = "leak of output 1, reading 1"});
    cr_assert_eq(a.rows, 3);
    cr_expect_str_eq(cell(&a, 1, "found"), "5");
    cr_expect_str_eq(cell(&a, 1, "left"), "0.5");
    cr_expect_str_eq(cell(&a, 1, "change"), "-4.5");
    cr_expect_str_eq(cell(&a, 1, "E_n"), "-9.000");
    cr_expect_str_eq(cell(&a, 1, "found_verdict"), "fail");
    cr_expect_str_eq(cell(&a, 1, "left_verdict"), "pass");
    cr_expect_str_eq(cell(&a, 2, "serial"), "EX-2");
    cr_expect_str_eq(cell(&a, 2, "left"), "", "it was never tested as left");
    es_answer_free(&a);
    a = ask((struct es_question){
        .kind = ES_ASK_PAIRS, .measurand = "leak of output 1, reading 1", .serial = "EX-1"});
    cr_expect_eq(a.rows, 2);
    es_answer_free(&a);
}

Test(questions, an_answer_that_is_empty_says_what_was_looked_for)
{
    struct es_answer a = ask((struct es_question){.kind = ES_ASK_FIND, .serial = "EX-77", .since = "2026"});
    cr_expect_str_eq(a.nothing, "The archive holds no certificate of serial number EX-77 since 2026");
    es_answer_free(&a);
    a = ask((struct es_question){.kind = ES_ASK_REPEATABILITY, .measurand = "leak of output 1, reading 1"});
    cr_expect_eq(a.rows, 0, "as found and as left of one visit are no repeats");
    es_answer_free(&a);
    struct es_error err;
    const struct es_question wrong[] = {{.kind = ES_ASK_HISTORY},
                                        {.kind = ES_ASK_TOUCHED},
                                        {.kind = ES_ASK_CHART},
                                        {.kind = ES_ASK_REPEATABILITY},
                                        {.kind = ES_ASK_NO_FAULT, .by = "cause"},
                                        {.kind = ES_ASK_REPEATABILITY, .measurand = "x", .by = "lot"}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        cr_expect_eq(es_question_ask(archive, &wrong[i], &a, &err), ES_USAGE, "%zu", i);
        es_answer_free(&a);
    }
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

/* ---- Repeated tests ---- */

static const char repeated[] = "leak of output 1, reading 1";

static void repeat(const char *serial, const char *issued, double leak)
{
    struct es_outbox_report sent;
    visits_add(
        &v, &(struct visit){.serial = serial, .state = "as left", .issued = issued, .leak = leak, .U = 0.1});
    cr_assert_eq(es_outbox_send(v.store, archive, NULL, NULL, &sent, NULL), ES_OK);
}

/* Two units, two days, two tests each: by hand. Within: differences 0.1, 0.3, 0.1, 0.1, so that the sum of
 * squares is (0.01 + 0.09 + 0.01 + 0.01) / 2 = 0.06, 4 degrees of freedom, s = sqrt(0.015). */
Test(questions, repeatability_and_reproducibility)
{
    repeat("R-1", "2026-05-04T08:00:00Z", 1.0);
    repeat("R-1", "2026-05-04T09:00:00Z", 1.1);
    repeat("R-1", "2026-05-05T08:00:00Z", 1.3);
    repeat("R-1", "2026-05-05T09:00:00Z", 1.6);
    repeat("R-2", "2026-05-04T10:00:00Z", 2.0);
    repeat("R-2", "2026-05-04T11:00:00Z", 2.1);
    repeat("R-2", "2026-05-05T10:00:00Z", 2.4);
    repeat("R-2", "2026-05-05T11:00:00Z", 2.5);
    struct es_answer a =
        ask((struct es_question){.kind = ES_ASK_REPEATABILITY, .measurand = repeated, .since = "2026-05"});
    cr_assert_eq(a.rows, 7);
    cr_expect_float_eq(strtod(cell(&a, 0, "value"), NULL), 0.122474487, 1e-8);
    cr_expect_not_null(strstr(cell(&a, 0, "note"), "4 degrees of freedom"), "%s", cell(&a, 0, "note"));
    cr_expect_not_null(strstr(cell(&a, 1, "note"), "2 units, 2 days, 2 repeats"), "%s", cell(&a, 1, "note"));
    cr_expect_float_eq(strtod(cell(&a, 1, "value"), NULL), 1.75, 1e-9);
    cr_expect_float_eq(strtod(cell(&a, 2, "value"), NULL), 0.122474487, 1e-8);
    /* days: means 1.55 and 1.95, SS = 4 (0.2^2 + 0.2^2) = 0.32; interaction: 0 (both units rise by 0.4); so
     * var = (0.32 - 0) / 4 */
    cr_expect_float_eq(strtod(cell(&a, 3, "value"), NULL), 0.282842712, 1e-8);
    es_answer_free(&a);
    a = ask((struct es_question){
        .kind = ES_ASK_REPEATABILITY, .measurand = repeated, .since = "2026-05", .by = "person"});
    cr_assert_eq(a.rows, 2, "one person is no study");
    cr_expect_str_eq(cell(&a, 1, "value"), "");
    es_answer_free(&a);
}

/* A month later it is another visit; what lies between is not the bench's doing. */
Test(questions, visits_far_apart_are_no_repeats)
{
    repeat("R-1", "2026-05-04T08:00:00Z", 1.0);
    repeat("R-1", "2026-06-04T08:00:00Z", 2.0);
    struct es_question q = {
        .kind = ES_ASK_REPEATABILITY, .measurand = repeated, .since = "2026-05", .by = "bench"};
    struct es_answer a = ask(q);
    cr_expect_eq(a.rows, 0);
    es_answer_free(&a);
    q.within = 40;
    a = ask(q);
    cr_expect_eq(a.rows, 2);
    cr_expect_float_eq(strtod(cell(&a, 0, "value"), NULL), 0.707106781, 1e-8);
    es_answer_free(&a);
}

/* The book of what workshops found. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "results/store/repairs.h"
#include "rig/base/file.h"
#include "tests/unit/store/store_help.h"

static struct es_error err;

TestSuite(repairs, .init = help_setup, .fini = help_teardown);

static enum es_status add(struct es_store *store, char *number, char *found, char *person)
{
    char when[] = "2026-03-01T08:00:00Z";
    const struct es_repair r = {number, found, person, when, NULL, NULL};
    return es_repairs_add(store, &r, &err);
}

Test(repairs, last_finding_of_a_certificate_counts)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_store_maker maker = help_maker("certificate", "a", "r1");
    char number[ES_STORE_NUMBER_MAX], worn[] = "spool worn", cut[] = "seal to atmosphere cut",
                                      who[] = "A. Fitter";
    struct es_repairs all = {0};
    cr_assert_eq(es_store_issue(store, "EX", &maker, number, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_repairs_read(store, &all, &err), ES_OK, "%s", err.text);
    cr_expect_eq(all.count, 0);
    cr_assert_eq(add(store, number, worn, who), ES_OK, "%s", err.text);
    cr_assert_eq(add(store, number, cut, who), ES_OK, "%s", err.text);
    cr_assert_eq(es_repairs_read(store, &all, &err), ES_OK, "%s", err.text);
    cr_assert_eq(all.count, 1);
    cr_expect_str_eq(all.items[0].found, "seal to atmosphere cut");
    cr_expect_str_eq(all.items[0].person, "A. Fitter");
    es_repairs_free(&all);
    es_store_close(store);
}

Test(repairs, refuses_what_says_nothing)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    char number[] = "EX-000009", found[] = "spool worn", nobody[] = "", who[] = "A";
    cr_expect_eq(add(store, number, found, who), ES_NOT_FOUND, "there is no such certificate");
    cr_expect_eq(add(store, number, found, nobody), ES_BAD_INPUT);
    cr_expect_eq(add(store, number, nobody, who), ES_BAD_INPUT);
    es_store_close(store);
}

Test(repairs, damaged_book_is_told_with_its_line)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    struct es_repairs all = {0};
    char path[300];
    static const char text[] =
        "{\"number\":\"a\",\"found\":\"b\",\"person\":\"c\",\"when\":\"d\"}\n{\"number\":7}\n";
    (void)snprintf(path, sizeof path, "%s/repairs.jsonl", help_folder);
    cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0600, text, strlen(text), NULL), ES_OK);
    cr_expect_eq(es_repairs_read(store, &all, &err), ES_BAD_INPUT);
    cr_expect(strstr(err.text, "line 2"), "%s", err.text);
    es_store_close(store);
}

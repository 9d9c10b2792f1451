#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/findings.h"

static char *printed(const struct es_findings *f)
{
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);

    cr_assert_neq(to, NULL);
    es_findings_print(f, to);
    (void)fclose(to);
    return text;
}

Test(findings, none)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    char *text = printed(&f);

    cr_expect_not(es_findings_any(&f));
    cr_expect_eq(es_findings_status(&f, &err), ES_OK);
    cr_expect_str_empty(text);
    free(text);
    es_findings_free(&f);
}

Test(findings, printed_in_order_of_file_and_position)
{
    struct es_findings f = {0};

    es_findings_add(&f, "b.json", 2, 9, "x", "y", NULL);
    es_findings_add(&f, "b.json", 2, 3, "12", "a text", "Put it in quotes.");
    es_findings_add(&f, "a.json", 7, 1, "z", NULL, NULL);
    es_findings_add(&f, "b.json", 0, 0, "more than 4 MiB", "a smaller document", NULL);
    es_findings_add(&f, "b.json", 2, 3, "12 again", "", NULL);
    char *text = printed(&f);
    cr_expect_str_eq(text, "a.json:7:1: found z\n"
                           "b.json: found more than 4 MiB; expected a smaller document\n"
                           "b.json:2:3: found 12; expected a text. Put it in quotes.\n"
                           "b.json:2:3: found 12 again\n"
                           "b.json:2:9: found x; expected y\n");
    free(text);
    es_findings_free(&f);
    cr_expect_not(es_findings_any(&f));
}

Test(findings, summary)
{
    struct es_findings f = {0};
    struct es_error err = {0};

    es_findings_add(&f, "b.json", 2, 9, "x", "y", NULL);
    cr_expect_eq(es_findings_status(&f, &err), ES_BAD_INPUT);
    cr_expect_str_eq(err.text, "b.json: 1 fault at 2:9: found x; expected y");
    es_findings_add(&f, "b.json", 1, 4, "p", "q", "Do r.");
    cr_expect_eq(es_findings_status(&f, &err), ES_BAD_INPUT);
    cr_expect_str_eq(err.text, "b.json: 2 faults, the first at 1:4: found p; expected q. Do r.");
    es_findings_free(&f);
}

Test(findings, text_from_files_cannot_act_on_the_terminal)
{
    struct es_findings f = {0};

    es_findings_add(&f, "e\x1Bvil.json", 1, 1, "\x1B]0;title\x07", "a\nb", NULL);
    char *text = printed(&f);
    cr_expect_str_eq(text, "e\\u{001B}vil.json:1:1: found \\u{001B}]0;title\\u{0007}; expected a\\nb\n");
    free(text);
    es_findings_free(&f);
}

Test(findings, lost_ones_are_told)
{
    struct es_findings f = {.out_of_memory = true};
    struct es_error err = {0};
    char *text = printed(&f);

    cr_expect(es_findings_any(&f));
    cr_expect_eq(es_findings_status(&f, &err), ES_NO_MEMORY);
    cr_expect_neq(strstr(text, "Out of memory"), NULL);
    free(text);
}

Test(findings, a_thousand_are_enough)
{
    struct es_findings f = {0};

    for (unsigned i = 0; i < 5000; i++)
        es_findings_add(&f, "x", i + 1, 1, "a", "b", NULL);
    char *text = printed(&f);
    cr_expect_eq(f.count, 1000);
    cr_expect_neq(strstr(text, "More than 1000 faults"), NULL);
    free(text);
    es_findings_free(&f);
}

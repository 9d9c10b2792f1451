#include <criterion/criterion.h>
#include <string.h>

#include "rig/client/measure_order.h"

static enum es_status read_order(const char *measure, const char *column, const char *uncertainty,
                                 const char *set, const char *fact, struct es_measure_order *order,
                                 struct es_error *err)
{
    struct es_option_list columns = {.count = column != NULL}, uncertainties = {.count = uncertainty != NULL};
    struct es_option_list sets = {.count = set != NULL}, facts = {.count = fact != NULL};
    columns.items[0] = column;
    uncertainties.items[0] = uncertainty;
    sets.items[0] = set;
    facts.items[0] = fact;
    struct es_findings findings = {0};
    enum es_status s =
        es_measure_order_read(measure, &columns, &uncertainties, &sets, &facts, order, &findings, err);
    es_findings_free(&findings);
    return s;
}

Test(measure_order, reads_columns_settings_and_facts)
{
    struct es_measure_order o;
    struct es_error err = {0};
    cr_assert_eq(read_order("level", "travel=pos A [mm]", "travel=0.02 mm", "channel=travel",
                            "output 1 volume=0.5 l +- 0.005 l", &o, &err),
                 ES_OK, "%s", err.text);
    cr_assert_eq(o.column_count, 1);
    cr_assert_str_eq(o.columns[0].column, "pos A");
    cr_assert_str_eq(o.columns[0].unit->name, "mm");
    cr_assert_eq(o.columns[0].role, ES_ROLE_TRAVEL);
    cr_assert_float_eq(o.columns[0].u.offset, 2e-5, 1e-12);
    cr_assert_str_eq(o.facts[0].name, "output 1 volume");
    cr_assert_float_eq(o.facts[0].value, 5e-4, 1e-12);
    cr_assert_float_eq(o.facts[0].u, 2.5e-6, 1e-12, "expanded with k = 2");
    es_measure_order_free(&o);
}

static void refuses(const char *words, const char *measure, const char *column, const char *uncertainty,
                    const char *set, const char *fact)
{
    struct es_measure_order o;
    struct es_error err = {0};
    cr_expect_neq(read_order(measure, column, uncertainty, set, fact, &o, &err), ES_OK, "wanted: %s", words);
    cr_expect_not_null(strstr(err.text, words), "\"%s\" does not say \"%s\"", err.text, words);
    es_measure_order_free(&o);
}

Test(measure_order, says_what_is_wrong)
{
    refuses("did you mean \"level\"", "lvel", NULL, NULL, NULL, NULL);
    refuses("did you mean \"travel\"", "level", "travl=1", NULL, NULL, NULL);
    refuses("unknown unit \"furlong\"", "level", "travel=1 [furlong]", NULL, NULL, NULL);
    refuses("unknown unit \"mmm\" (did you mean \"mm\"?)", "level", "travel=1 [mmm]", NULL, NULL, NULL);
    refuses("wanted NAME=VALUE", "level", "travel", NULL, NULL, NULL);
    refuses("wanted NAME=VALUE", "level", "travel=", NULL, NULL, NULL);
    refuses("are gauge", "level", "supply pressure=1 [bara]", NULL, "channel=supply pressure", NULL);
    refuses("must not be negative", "level", NULL, "travel=-1 mm", "channel=travel", NULL);
    refuses("must not be negative", "level", NULL, NULL, "channel=travel", "output 1 volume=0.5 l +- -1 l");
    refuses("does not fit", "level", "travel=1", "travel=1 bar", "channel=travel", NULL);
    refuses("channel", "level", NULL, NULL, "chanel=travel", NULL);
    refuses("bar", "level", NULL, NULL, "channel=travel", "output 1 volume=0.5 l +- 1 bar");
}

/* A channel whose column carries its name needs no --column. */
Test(measure_order, uncertainty_of_a_column_named_like_its_channel)
{
    struct es_measure_order o;
    struct es_error err = {0};
    cr_assert_eq(read_order("level", NULL, "travel=1 mm", "channel=travel", NULL, &o, &err), ES_OK, "%s",
                 err.text);
    cr_assert_eq(o.column_count, 1);
    cr_expect_str_eq(o.columns[0].column, "travel");
    cr_expect_eq(o.columns[0].role, ES_ROLE_TRAVEL);
    cr_expect_float_eq(o.columns[0].u.offset, 1e-3, 1e-15);
    es_measure_order_free(&o);
}

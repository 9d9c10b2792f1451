#include <criterion/criterion.h>
#include <string.h>

#include "procedures/judgement/reason.h"

static void expect(const char *reason, const char *kind)
{
    char out[ES_REASON_KIND];
    es_reason_kind(reason, out);
    cr_expect_str_eq(out, kind);
}

Test(study_reason, numbers_go)
{
    expect("not settled: still moving by 2.5 % of the step in the last 1.2 s",
           "not settled: still moving by # % of the step in the last # s");
    expect("departs by 1.2e-3 Pa, -4 mA", "departs by # Pa, # mA");
    expect("", "");
    expect(NULL, "");
}

Test(study_reason, names_keep_their_digits)
{
    expect("T63 of output 1 is 3 s", "T63 of output 1 is # s");
}

Test(study_reason, which_step_does_not_matter)
{
    expect("step 3 of 8: not at rest", "not at rest");
    expect("in step 3 of 8", "in step # of #");
}

Test(study_reason, long_ones_are_cut_between_characters)
{
    char text[400] = "", out[ES_REASON_KIND];
    for (int i = 0; i < 100; i++) {
        text[2 * i] = (char)0xC3; /* an e with an accent: two bytes, so that the cut falls inside one */
        text[2 * i + 1] = (char)0xA9;
    }
    es_reason_kind(text, out);
    cr_expect_eq(strlen(out) % 2, 0);
    cr_expect_lt(strlen(out), ES_REASON_KIND);
}

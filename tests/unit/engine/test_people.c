/* What is asked of people and what comes of their answers; runs that outlast their proof or are left early.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/engine/ran.h"

Test(people, answers_are_kept)
{
    struct ran r = ran_prepared(
        LINEAR,
        "{\"do\": \"ask\", \"text\": \"Which colour?\", \"options\": [\"red\", \"blue\"], \"at most\": \"60 "
        "s\"},"
        "{\"do\": \"ask\", \"text\": \"What does the gauge say?\", \"unit\": \"bar\", \"at most\": \"60 s\"},"
        "{\"do\": \"ask\", \"text\": \"Close the guard.\", \"at most\": \"60 s\"},"
        "{\"do\": \"confirm\", \"text\": \"Is it closed?\", \"at most\": \"60 s\"}",
        "");
    r.b->choice = 1;
    r.b->number = 4.2e5;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    cr_assert_eq(r.o.confirmation_count, 5);
    cr_expect_str_eq(r.o.confirmations[0].text, "Mind the gap.");
    cr_expect_str_eq(r.o.confirmations[0].answer, "confirmed");
    cr_expect_str_eq(r.o.confirmations[1].answer, "blue");
    cr_expect_str_eq(r.o.confirmations[2].answer, "4.200 bar");
    cr_expect_str_eq(r.o.confirmations[3].answer, "done");
    cr_expect_str_eq(r.o.confirmations[4].answer, "yes");
    cr_expect_str_eq(r.o.confirmations[4].person, "Test Person");
    ran_done(&r);
}

Test(people, a_caution_refused_moves_nothing)
{
    struct ran r =
        ran_prepared(LINEAR, "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}", "");
    r.b->refuse_confirm_number = 1;
    ran_go(&r);
    cr_expect_eq(r.status, ES_CANCELLED);
    cr_expect_eq(r.b->write_count, 0);
    cr_expect_eq(r.b->rests, 0);
    cr_expect(strstr(r.o.ended_because, "Mind the gap.") != NULL);
    cr_expect_str_eq(r.o.confirmations[0].answer, "not confirmed");
    cr_expect_eq(r.b->asked_number[0], 1);
    cr_expect_eq(r.b->asked_of[0], 1);
    cr_expect(strstr(r.b->if_no[0], "nothing has been moved") != NULL);
    ran_done(&r);
}

Test(people, what_is_not_done_ends_the_run)
{
    struct ran r = ran_prepared(LINEAR,
                                "{\"do\": \"ask\", \"text\": \"Close the guard.\", \"at most\": \"60 s\"},"
                                "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}",
                                "");
    r.b->refuse_confirm_number = 2;
    ran_go(&r);
    cr_expect_eq(r.status, ES_CANCELLED);
    cr_expect_eq(r.b->write_count, 0);
    cr_expect(strstr(r.o.ended_because, "Close the guard.") != NULL);
    cr_expect_str_eq(r.o.confirmations[1].answer, "not done");
    cr_expect_eq(r.b->asked_of[1], 0); /* it stands alone */
    cr_expect(r.b->if_no[1][0] != '\0');
    ran_done(&r);
}

Test(people, events_say_which_values_matter)
{
    struct ran r =
        ran_prepared(LINEAR,
                     "{\"do\": \"hold\", \"for\": \"1 s\"},"
                     "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"},"
                     "{\"do\": \"record\", \"name\": \"r\", \"roles\": [\"output 1 pressure\", "
                     "\"travel\"], \"along\": [\"loop current\"], \"rate\": \"10 Hz\", \"for\": \"1 s\"}",
                     "");
    int steps = 0, recordings = 0;

    ran_go(&r);
    cr_assert_eq(r.status, ES_OK, "%s", r.err.text);
    for (size_t i = 0; i < r.b->event_count; i++) {
        const enum es_role first = r.b->event_roles[i];
        if (r.b->event_kinds[i] == ES_EVENT_RECORDING_BEGIN) {
            recordings++;
            cr_expect_eq(first, ES_ROLE_OUTPUT_1_PRESSURE);
            cr_expect_eq(r.b->event_role_counts[i], 2, "what is recorded along is not shown");
        } else if (r.b->event_kinds[i] == ES_EVENT_STEP && steps++ < 2) {
            cr_expect_eq(first, steps == 1 ? ES_ROLE_NONE : ES_ROLE_SUPPLY_VALVE);
        }
    }
    cr_expect_eq(steps, 3);
    cr_expect_eq(recordings, 1);
    ran_done(&r);
}

Test(people, a_confirmation_refused_skips_the_rest)
{
    struct ran r = ran_prepared(LINEAR,
                                "{\"do\": \"confirm\", \"text\": \"Is the guard closed?\", \"at most\": \"60 "
                                "s\", \"reason\": \"guard not closed\"},"
                                "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}",
                                "");
    r.b->refuse_confirm_number = 2;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    cr_expect_eq(r.b->write_count, 0);
    cr_expect_str_eq(r.o.procedures[0].skipped, "guard not closed");
    ran_done(&r);
}

Test(people, unattended_runs_name_who_confirmed)
{
    struct ran r = ran_prepared(LINEAR, "{\"do\": \"hold\", \"for\": \"1 s\"}", "");
    struct es_execute_options options = fake_options(r.b);

    options.unattended = true;
    cr_assert_eq(es_plan_execute(r.plan, r.type, &r.b->port, &options, NULL, &r.o, &r.err), ES_OK);
    cr_expect_eq(r.b->asked_count, 0);
    cr_expect(!r.o.attended);
    cr_expect_str_eq(r.o.confirmations[0].answer, "confirmed beforehand");
    cr_expect_str_eq(r.o.confirmations[0].person, "Test Person");
    ran_done(&r);

    r = ran_prepared(LINEAR, "{\"do\": \"ask\", \"text\": \"Sure?\", \"at most\": \"60 s\"}", "");
    options = fake_options(r.b);
    options.unattended = true;
    cr_expect_eq(es_plan_execute(r.plan, r.type, &r.b->port, &options, NULL, &r.o, &r.err), ES_USAGE);
    cr_expect_eq(r.b->calls, 0);
    ran_done(&r);

    r = ran_prepared(LINEAR, "{\"do\": \"hold\", \"for\": \"1 s\"}", "");
    options = fake_options(r.b);
    options.person = "";
    cr_expect_eq(es_plan_execute(r.plan, r.type, &r.b->port, &options, NULL, &r.o, &r.err), ES_USAGE);
    ran_done(&r);
}

Test(time, a_bench_slower_than_proved_ends_the_run)
{
    struct ran r =
        ran_prepared(LINEAR,
                     "{\"do\": \"repeat\", \"times\": 200, \"steps\": [{\"do\": \"set\", \"role\": "
                     "\"supply valve\", \"to\": \"open\"}]},"
                     "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"shut\"}",
                     "");
    r.b->write_time = 0.3; /* ES_ALLOW_WRITE is 0.25 s */
    struct es_execute_options options = fake_options(r.b);
    options.unattended = true;
    r.status = es_plan_execute(r.plan, r.type, &r.b->port, &options, NULL, &r.o, &r.err);
    cr_expect_eq(r.status, ES_TIMEOUT);
    cr_expect(!r.o.completed);
    cr_expect(strstr(r.o.ended_because, "slower than") != NULL);
    cr_expect_eq(r.b->out[ES_ROLE_SUPPLY_VALVE], 1);
    ran_done(&r);
}

Test(skip, a_recording_left_early_is_kept_raw_but_not_measured)
{
    struct ran r = ran_run(
        LINEAR,
        "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"steps\": ["
        "{\"do\": \"hold\", \"for\": \"1 s\"},"
        "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"10 mm\", \"at most\": \"1 s\"}]}",
        LEVEL("travel", "a", "mean travel", "travel"));
    cr_expect_eq(r.b->recordings_begun, 1);
    cr_expect_eq(r.b->recordings_ended, 1);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    ran_done(&r);
}

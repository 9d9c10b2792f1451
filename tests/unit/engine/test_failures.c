/* The n-th call of the port fails, n = 1, 2, 3 ... until a run completes: the engine always unwinds, keeps
 * what there is, and never writes again. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

static const char steps[] =
    "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"},"
    "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"2 bar\", \"at\": \"10 bar/s\"},"
    "{\"do\": \"wait\", \"role\": \"supply pressure\", \"above\": \"1.8 bar\", \"at most\": \"5 s\"},"
    "{\"do\": \"ask\", \"text\": \"Ready?\", \"at most\": \"60 s\"},"
    "{\"do\": \"confirm\", \"text\": \"Really?\", \"at most\": \"60 s\"},"
    "{\"do\": \"isolate and vent\", \"outputs\": [\"output 1\"], \"below\": \"20 mbar\", \"at most\": \"5 "
    "s\"},"
    "{\"do\": \"turn shaft\", \"to\": \"-10 deg\", \"at\": \"90 deg/s\", \"text\": \"Turn it.\", \"at "
    "most\": \"60 s\"},"
    "{\"do\": \"record\", \"name\": \"outer\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"draw\": "
    "[\"travel\"], \"steps\": ["
    "  {\"do\": \"sweep shaft\", \"from\": \"-10 deg\", \"to\": \"0 deg\", \"at\": \"90 deg/s\", \"times\": "
    "1, \"text\": \"Sweep.\","
    "   \"at most\": \"60 s\"},"
    "  {\"do\": \"record\", \"name\": \"inner\", \"roles\": [\"supply pressure\"], \"rate\": \"20 Hz\", "
    "\"for\": \"1 s\"},"
    "  {\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"8 mA\", \"12 mA\"], \"hold\": \"0.5 "
    "s\"},"
    "  {\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"4 mA\", \"to\": \"8 mA\", \"stairs\": "
    "2, \"and back\": true,"
    "   \"hold\": \"0.2 s\"},"
    "  {\"do\": \"repeat\", \"times\": 2, \"steps\": [{\"do\": \"hold\", \"for\": \"0.1 s\"}]}]},"
    "{\"do\": \"record\", \"name\": \"settled\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
    " \"until settled\": {\"role\": \"travel\", \"within\": \"1 mm\", \"for\": \"0.5 s\", \"at most\": \"5 "
    "s\"}},"
    "{\"do\": \"skip the rest unless\", \"role\": \"supply pressure\", \"below\": \"100 bar\", \"reason\": "
    "\"no\"}";

static const char measurands[] =
    "{\"measure\": \"level\", \"recordings\": {\"recording\": \"inner\"}, \"with\": {\"channel\": \"supply "
    "pressure\"},"
    " \"results\": [{\"name\": \"mean travel\", \"output\": \"value\", \"limit\": \"no such dimension\"}]}";

struct kept {
    size_t traces;
};

static enum es_status keep_trace(void *self, const char *procedure, const struct es_trace *trace,
                                 struct es_error *err)
{
    struct kept *k = self;
    (void)procedure;
    (void)trace;
    (void)err;
    k->traces++;
    return ES_OK;
}

static void every_call_fails(enum es_status with)
{
    struct es_type *type = load_type("linear-single-acting");
    struct es_plan *plan = must_plan(steps, "");
    size_t n = 1;
    bool completed = false;

    (void)measurands;
    for (; n < 2000 && !completed; n++) {
        struct fake_bench *b = fake_bench_new(type);
        struct es_outcome o;
        struct es_error err;
        struct kept kept = {0};
        const struct es_execute_keep keep = {.self = &kept, .trace = keep_trace};
        const struct es_execute_options options = fake_options(b);

        es_outcome_init(&o);
        b->fail_call = n;
        b->fail_with = with;
        const enum es_status s = es_plan_execute(plan, type, &b->port, &options, &keep, &o, &err);
        completed = !b->failed;
        cr_assert_eq(b->writes_after_failure, 0, "call %zu: wrote after the failure", n);
        cr_assert_eq(b->recordings_begun, b->recordings_ended, "call %zu: a recording still runs", n);
        if (completed) {
            cr_assert_eq(s, ES_OK);
            cr_assert(o.completed);
            cr_assert_eq(kept.traces, 3);
        } else {
            cr_assert_eq(s, with, "call %zu: %d", n, s);
            cr_assert(!o.completed && o.ended_because != NULL);
            cr_assert(strstr(o.ended_because, "made to fail") != NULL, "%s", o.ended_because);
            cr_assert_eq(o.verdict, ES_NOT_TESTED);
            /* Nothing but the ends of recordings comes after a failure. */
            cr_assert_leq(b->calls_after_failure, 2);
        }
        es_outcome_free(&o);
        fake_bench_free(b);
    }
    cr_expect(completed);
    cr_expect_gt(n, 100, "%zu calls", n);
    es_plan_free(plan);
    es_type_free(type);
    expect_no_leaks();
}

Test(failures, interlock_at_every_call)
{
    every_call_fails(ES_INTERLOCK);
}

Test(failures, hangup_at_every_call)
{
    every_call_fails(ES_HANGUP);
}

Test(failures, stop_at_every_call)
{
    every_call_fails(ES_CANCELLED);
}

static enum es_status refuse_trace(void *self, const char *procedure, const struct es_trace *trace,
                                   struct es_error *err)
{
    size_t *left = self;
    (void)procedure;
    (void)trace;
    if ((*left)-- == 0)
        return es_fail(err, ES_IO, "the disk is full");
    return ES_OK;
}

Test(failures, a_recording_that_cannot_be_kept_ends_the_run)
{
    struct es_type *type = load_type("linear-single-acting");
    struct es_plan *plan = must_plan(steps, "");

    for (size_t k = 0; k < 3; k++) {
        struct fake_bench *b = fake_bench_new(type);
        struct es_outcome o;
        struct es_error err;
        size_t left = k;
        const struct es_execute_keep keep = {.self = &left, .trace = refuse_trace};
        const struct es_execute_options options = fake_options(b);

        es_outcome_init(&o);
        cr_assert_eq(es_plan_execute(plan, type, &b->port, &options, &keep, &o, &err), ES_IO);
        cr_expect_str_eq(o.ended_because, "the disk is full");
        cr_expect_eq(b->recordings_begun, b->recordings_ended);
        es_outcome_free(&o);
        fake_bench_free(b);
    }
    es_plan_free(plan);
    es_type_free(type);
}

/* ---- What the proof would have refused, run without it, or what no proof can know. ---- */

struct tried {
    struct es_type *type;
    struct fake_bench *b;
    struct es_outcome o;
    struct es_error err;
};

static enum es_status try(struct tried *x, const char *of_steps, const char *of_measurands)
{
    struct es_plan *plan = must_plan(of_steps, of_measurands);
    const struct es_execute_options options = fake_options(x->b);

    es_outcome_init(&x->o);
    es_error_clear(&x->err);
    const enum es_status s = es_plan_execute(plan, x->type, &x->b->port, &options, NULL, &x->o, &x->err);
    es_plan_free(plan);
    return s;
}

static void begin_trying(struct tried *x)
{
    x->type = load_type("linear-single-acting");
    x->b = fake_bench_new(x->type);
}

static void end_trying(struct tried *x)
{
    es_outcome_free(&x->o);
    fake_bench_free(x->b);
    es_type_free(x->type);
}

Test(unproved, a_limit_that_the_type_sheet_lacks_moves_nothing)
{
    struct tried x;
    begin_trying(&x);
    cr_expect_eq(try(&x,
                     "{\"do\": \"record\", \"name\": \"inner\", \"roles\": [\"supply pressure\"], \"rate\": "
                     "\"20 Hz\", "
                     "\"for\": \"1 s\"}",
                     measurands),
                 ES_NOT_FOUND);
    cr_expect(strstr(x.err.text, "has no limit \"no such dimension\"") != NULL, "%s", x.err.text);
    cr_expect_eq(x.b->write_count, 0);
    cr_expect_eq(x.b->rests, 0);
    end_trying(&x);
}

/* A motor is not coupled to a shaft that stands nobody knows where. */
Test(unproved, a_shaft_without_a_good_angle_is_not_coupled)
{
    struct tried x;
    begin_trying(&x);
    x.b->quality[ES_ROLE_SHAFT_ANGLE] = ES_FAILED;
    cr_expect_eq(try(&x,
                     "{\"do\": \"turn shaft\", \"to\": \"-10 deg\", \"at\": \"90 deg/s\", \"text\": \"Turn "
                     "it.\", \"at "
                     "most\": \"60 s\"}",
                     ""),
                 ES_RANGE);
    cr_expect(strstr(x.err.text, "no good reading, so that the motor cannot be coupled") != NULL, "%s",
              x.err.text);
    for (size_t i = 0; i < x.b->write_count; i++)
        cr_expect_neq(x.b->writes[i].role, ES_ROLE_SHAFT_COUPLING);
    end_trying(&x);
}

/* A ramp from nobody knows where would be a jump. */
Test(unproved, an_output_that_stands_nobody_knows_where_is_not_ramped)
{
    struct tried x;
    begin_trying(&x);
    x.b->quality[ES_ROLE_SUPPLY_DEMAND] = ES_FAILED;
    x.b->view.roles[ES_ROLE_SUPPLY_DEMAND].safe_known = false;
    cr_expect_eq(
        try(&x, "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"2 bar\", \"at\": \"10 bar/s\"}",
            ""),
        ES_RANGE);
    cr_expect(strstr(x.err.text, "is not known, so that it cannot be ramped") != NULL, "%s", x.err.text);
    cr_expect_eq(x.b->write_count, 0);
    end_trying(&x);
}

#include "tests/unit/engine/ran.h"

#include <criterion/criterion.h>

struct ran ran_prepared(const char *type, const char *steps, const char *measurands)
{
    struct ran r = {.type = load_type(type), .plan = must_plan(steps, measurands)};

    r.b = fake_bench_new(r.type);
    es_outcome_init(&r.o);
    return r;
}

void ran_go(struct ran *r)
{
    const struct es_execute_options options = fake_options(r->b);

    r->status = es_plan_execute(r->plan, r->type, &r->b->port, &options, NULL, &r->o, &r->err);
}

struct ran ran_run(const char *type, const char *steps, const char *measurands)
{
    struct ran r = ran_prepared(type, steps, measurands);

    ran_go(&r);
    cr_assert_eq(r.status, ES_OK, "%s", r.err.text);
    return r;
}

void ran_done(struct ran *r)
{
    es_outcome_free(&r->o);
    fake_bench_free(r->b);
    es_plan_free(r->plan);
    es_type_free(r->type);
}

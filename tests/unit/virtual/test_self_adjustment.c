/* The unit's self-adjustment: how long, what it finds, what breaks it off. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/unit/virtual/helpers.h"

#define LINEAR    ES_VIRTUAL_LINEAR_SINGLE_ACTING
#define PART_TURN ES_VIRTUAL_PART_TURN_DOUBLE_ACTING

/* Seconds until it has ended; 600 when it has not. */
static double adjust(struct es_virtual *v)
{
    set(v, ES_ROLE_SELF_ADJUSTMENT, 1);
    es_virtual_advance(v, 0.2);
    double t = 0.2;
    while (t < 600 && look(v).adjusting) {
        es_virtual_advance(v, 0.2);
        t += 0.2;
    }
    return t;
}

static void ready(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 6);
}

Test(self_adjustment, ends_within_a_minute_and_changes_little_in_a_good_unit)
{
    static const enum es_virtual_type types[] = {LINEAR, PART_TURN, ES_VIRTUAL_LINEAR_DOUBLE_ACTING,
                                                 ES_VIRTUAL_PART_TURN_SINGLE_ACTING};
    for (int i = 0; i < 4; i++) {
        struct es_virtual *v = start(types[i], 4);
        const double span = i % 2 ? 90 * DEG : 0.030;
        ready(v);
        const double seconds = adjust(v);
        cr_expect(seconds > 15 && seconds < 60, "%s: %g s", es_virtual_type_name(types[i]), seconds);
        demand(v, 8 * MA, 6);
        cr_expect_float_eq(truth(v, ES_ROLE_TRAVEL), 0.25 * span, 0.012 * span);
        es_virtual_free(v);
    }
}

/* A sensor that was turned after adjustment is what self-adjustment is for. */
Test(self_adjustment, takes_a_disturbed_sensor_in)
{
    struct es_virtual *v = start_with(PART_TURN, 3, "sensor disturbed", 0.08);
    ready(v);
    cr_expect(fabs(truth(v, ES_ROLE_TRAVEL) - 45 * DEG) > 3 * DEG, "disturbed by nearly 5 degrees");
    cr_expect(adjust(v) < 60);
    es_virtual_advance(v, 6);
    cr_expect_float_eq(truth(v, ES_ROLE_TRAVEL), 45 * DEG, 1.2 * DEG);
    es_virtual_free(v);
}

Test(self_adjustment, begins_once_for_each_time_it_is_asked_for)
{
    struct es_virtual *v = start(LINEAR, 4);
    ready(v);
    const double seconds = adjust(v);
    es_virtual_advance(v, 30);
    cr_expect(!look(v).adjusting, "still asked for, but done");
    set(v, ES_ROLE_SELF_ADJUSTMENT, 0);
    es_virtual_advance(v, 1);
    cr_expect_float_eq(adjust(v), seconds, 3);
    es_virtual_free(v);
}

static void start_it(struct es_virtual *v)
{
    ready(v);
    set(v, ES_ROLE_SELF_ADJUSTMENT, 1);
    es_virtual_advance(v, 3);
    cr_assert(look(v).adjusting);
}

static void back_to_12_mA(struct es_virtual *v)
{
    demand(v, 12 * MA, 8);
    cr_expect(!look(v).adjusting);
    cr_expect_float_eq(truth(v, ES_ROLE_TRAVEL), 0.015, 0.0005, "keeps its old ends");
    es_virtual_free(v);
}

Test(self_adjustment, can_be_called_off)
{
    struct es_virtual *v = start(LINEAR, 4);
    start_it(v);
    set(v, ES_ROLE_SELF_ADJUSTMENT, 0);
    back_to_12_mA(v);
}

Test(self_adjustment, is_broken_off_by_a_loss_of_current)
{
    struct es_virtual *v = start(LINEAR, 4);
    start_it(v);
    demand(v, 0, 1);
    cr_expect(!look(v).adjusting);
    back_to_12_mA(v);
}

Test(self_adjustment, without_air_it_gives_up_and_keeps_its_ends)
{
    struct es_virtual *v = start(LINEAR, 4);
    demand(v, 12 * MA, 2);
    cr_expect(adjust(v) < 20);
    connect_actuator(v, 4 * BAR);
    back_to_12_mA(v);
}

Test(self_adjustment, lasts_longer_the_less_it_trusts)
{
    static const double severities[] = {0.3, 0.75, 1};
    double last = 0;
    for (int i = 0; i < 3; i++) {
        struct es_virtual *v = start_with(PART_TURN, 5, "self-adjustment never ends", severities[i]);
        ready(v);
        const double seconds = adjust(v);
        cr_expect(seconds > last + 10, "%g: %g s", severities[i], seconds);
        cr_expect((seconds > 240) == (i > 0), "%g: %g s", severities[i], seconds);
        cr_expect((seconds >= 600) == (i == 2), "%g: %g s", severities[i], seconds);
        last = seconds;
        es_virtual_free(v);
    }
}

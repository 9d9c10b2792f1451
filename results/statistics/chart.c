#include <math.h>

#include "results/statistics/statistics.h"

const char *es_run_rule_text(enum es_run_rule rule)
{
    switch (rule) {
    case ES_RUN_BEYOND_3:
        return "one point beyond 3 sigma";
    case ES_RUN_2_OF_3:
        return "two of three beyond 2 sigma on one side";
    case ES_RUN_4_OF_5:
        return "four of five beyond 1 sigma on one side";
    case ES_RUN_8_SAME_SIDE:
        return "eight in a row on one side of the centre";
    case ES_RUN_6_TREND:
        return "six in a row rising or falling";
    case ES_RUN_14_ALTERNATE:
        return "fourteen in a row alternating up and down";
    case ES_RUN_RANGE:
        return "the step from the point before is larger than its limit";
    case ES_RUN_RULES_ALL:
        break;
    }
    return "no rule";
}

/* Whether point i itself lies beyond `sigmas` on its side and at least `need` of the last `of` do. */
static bool some_beyond(const struct es_control_chart *chart, const double *values, size_t i, size_t need,
                        size_t of, double sigmas)
{
    for (int side = -1; side <= 1; side += 2) {
        size_t beyond = 0;
        if (side * (values[i] - chart->centre) <= sigmas * chart->sigma)
            continue;
        for (size_t k = 0; k < of && k <= i; k++)
            beyond += side * (values[i - k] - chart->centre) > sigmas * chart->sigma;
        if (beyond >= need)
            return true;
    }
    return false;
}

/* The `steps` differences that end at point i all have the sign that the last one has, turned round from one
 * to the next when `alternating`. */
static bool run_of_steps(const double *values, size_t i, size_t steps, bool alternating)
{
    if (i < steps)
        return false;
    double sign = values[i] > values[i - 1] ? 1 : -1;
    for (size_t k = 0; k < steps; k++) {
        if (!(sign * (values[i - k] - values[i - k - 1]) > 0))
            return false;
        if (alternating)
            sign = -sign;
    }
    return true;
}

static uint32_t rules_at(const struct es_control_chart *chart, const double *values, size_t i)
{
    uint32_t found = 0;
    if (some_beyond(chart, values, i, 1, 1, 3))
        found |= ES_RUN_BEYOND_3;
    if (some_beyond(chart, values, i, 2, 3, 2))
        found |= ES_RUN_2_OF_3;
    if (some_beyond(chart, values, i, 4, 5, 1))
        found |= ES_RUN_4_OF_5;
    if (some_beyond(chart, values, i, 8, 8, 0))
        found |= ES_RUN_8_SAME_SIDE;
    if (run_of_steps(values, i, 5, false))
        found |= ES_RUN_6_TREND;
    if (run_of_steps(values, i, 13, true))
        found |= ES_RUN_14_ALTERNATE;
    if (i > 0 && fabs(values[i] - values[i - 1]) > chart->range_upper)
        found |= ES_RUN_RANGE;
    return found;
}

static void lines_of_chart(const double *values, size_t base, struct es_control_chart *chart)
{
    /* deviations from the first value: a large common offset costs no digits */
    double sum = 0, ranges = 0;
    for (size_t i = 0; i < base; i++) {
        sum += values[i] - values[0];
        ranges += i > 0 ? fabs(values[i] - values[i - 1]) : 0;
    }
    chart->base = base;
    chart->centre = values[0] + sum / (double)base;
    chart->range_mean = ranges / (double)(base - 1);
    chart->range_upper = ES_CHART_D4 * chart->range_mean;
    chart->sigma = chart->range_mean / ES_CHART_D2;
    chart->upper = chart->centre + 3 * chart->sigma;
    chart->lower = chart->centre - 3 * chart->sigma;
}

enum es_status es_control_chart(const double *values, size_t count, size_t base, unsigned rules,
                                uint32_t *signals, struct es_control_chart *chart, struct es_error *err)
{
    struct es_control_chart out = {0};
    if (base == 0)
        base = count;
    if (base < 2 || base > count)
        return es_fail(err, ES_RANGE,
                       "a control chart needs at least two values to take its limits from, not %zu of %zu",
                       base, count);
    for (size_t i = 0; i < count; i++)
        if (!isfinite(values[i]))
            return es_fail(err, ES_BAD_INPUT, "value %zu of the control chart is no number", i + 1);
    lines_of_chart(values, base, &out);
    for (size_t i = 0; i < count; i++) {
        uint32_t found = rules_at(&out, values, i) & rules;
        out.signals += found != 0;
        if (signals != NULL)
            signals[i] = found;
    }
    *chart = out;
    return ES_OK;
}

#include <math.h>

#include "results/statistics/statistics.h"

/* The table of values, and its means less the first value (a common offset costs no digits). */
struct study {
    const double *values;
    size_t units, conditions, repeats;
};

static double at(const struct study *s, size_t unit, size_t condition, size_t repeat)
{
    return s->values[(unit * s->conditions + condition) * s->repeats + repeat] - s->values[0];
}

static double cell_mean(const struct study *s, size_t unit, size_t condition)
{
    double sum = 0;
    for (size_t r = 0; r < s->repeats; r++)
        sum += at(s, unit, condition, r);
    return sum / (double)s->repeats;
}

static double unit_mean(const struct study *s, size_t unit)
{
    double sum = 0;
    for (size_t c = 0; c < s->conditions; c++)
        sum += cell_mean(s, unit, c);
    return sum / (double)s->conditions;
}

static double condition_mean(const struct study *s, size_t condition)
{
    double sum = 0;
    for (size_t u = 0; u < s->units; u++)
        sum += cell_mean(s, u, condition);
    return sum / (double)s->units;
}

static double square(double x)
{
    return x * x;
}

static void sums_of_squares(const struct study *s, struct es_repeatability *out)
{
    double mean = 0, p = (double)s->units, o = (double)s->conditions, n = (double)s->repeats;
    for (size_t u = 0; u < s->units; u++)
        mean += unit_mean(s, u) / p;
    out->mean = s->values[0] + mean;
    for (size_t c = 0; c < s->conditions; c++)
        out->ss_conditions += p * n * square(condition_mean(s, c) - mean);
    for (size_t u = 0; u < s->units; u++) {
        double of_unit = unit_mean(s, u);
        out->ss_units += o * n * square(of_unit - mean);
        for (size_t c = 0; c < s->conditions; c++) {
            double cell = cell_mean(s, u, c);
            out->ss_interaction += n * square(cell - of_unit - condition_mean(s, c) + mean);
            for (size_t r = 0; r < s->repeats; r++)
                out->ss_error += square(at(s, u, c, r) - cell);
        }
    }
    out->ms_units = out->ss_units / (p - 1);
    out->ms_conditions = out->ss_conditions / (o - 1);
    out->ms_interaction = out->ss_interaction / ((p - 1) * (o - 1));
    out->ms_error = out->ss_error / (p * o * (n - 1));
}

/* From the expected mean squares of the two-way random model with interaction. */
static void components(struct es_repeatability *out)
{
    double p = (double)out->units, o = (double)out->conditions, n = (double)out->repeats;
    out->var_error = out->ms_error;
    out->var_interaction = fmax(0, (out->ms_interaction - out->ms_error) / n);
    out->var_conditions = fmax(0, (out->ms_conditions - out->ms_interaction) / (p * n));
    out->var_units = fmax(0, (out->ms_units - out->ms_interaction) / (o * n));
    double bench = out->var_error + out->var_interaction + out->var_conditions;
    out->repeatability = sqrt(out->var_error);
    out->reproducibility = sqrt(out->var_conditions + out->var_interaction);
    out->both = sqrt(bench);
    out->between_units = sqrt(out->var_units);
    out->share = bench + out->var_units > 0 ? bench / (bench + out->var_units) : NAN;
}

enum es_status es_repeatability_crossed(const double *values, size_t units, size_t conditions, size_t repeats,
                                        struct es_repeatability *out, struct es_error *err)
{
    struct study study = {values, units, conditions, repeats};
    struct es_repeatability result = {.units = units, .conditions = conditions, .repeats = repeats};
    if (units < 2 || conditions < 2 || repeats < 2)
        return es_fail(
            err, ES_RANGE,
            "a crossed study needs at least 2 units, 2 conditions and 2 repeats, not %zu, %zu and %zu", units,
            conditions, repeats);
    for (size_t i = 0; i < units * conditions * repeats; i++)
        if (!isfinite(values[i]))
            return es_fail(err, ES_BAD_INPUT, "value %zu of the study is no number", i + 1);
    sums_of_squares(&study, &result);
    components(&result);
    *out = result;
    return ES_OK;
}

double es_repeatability_pooled(const double *values, const size_t *counts, size_t units, size_t *dof)
{
    double squares = 0;
    *dof = 0;
    for (size_t u = 0; u < units; values += counts[u], u++) {
        double mean = 0;
        if (counts[u] < 2)
            continue;
        for (size_t i = 0; i < counts[u]; i++)
            mean += (values[i] - values[0]) / (double)counts[u];
        for (size_t i = 0; i < counts[u]; i++)
            squares += square(values[i] - values[0] - mean);
        *dof += counts[u] - 1;
    }
    return *dof > 0 ? sqrt(squares / (double)*dof) : NAN;
}

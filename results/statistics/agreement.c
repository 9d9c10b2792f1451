#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/statistics/statistics.h"

double es_en_number(double value, double U, double reference, double U_reference)
{
    if (!isfinite(value) || !isfinite(reference) || !isfinite(U) || !isfinite(U_reference) || U < 0 ||
        U_reference < 0)
        return NAN;
    double difference = value - reference, both = hypot(U, U_reference);
    if (both > 0)
        return difference / both;
    return difference == 0 ? 0 : copysign(INFINITY, difference);
}

struct es_capability es_capability(double mean, double s, double lower, double upper)
{
    struct es_capability out = {.cp = NAN, .cpk = NAN};
    if (!isfinite(mean) || !(s > 0) || !isfinite(s) || (!isfinite(lower) && !isfinite(upper)))
        return out;
    if (isfinite(lower) && isfinite(upper))
        out.cp = (upper - lower) / (6 * s);
    out.cpk = fmin(isfinite(upper) ? (upper - mean) / (3 * s) : INFINITY,
                   isfinite(lower) ? (mean - lower) / (3 * s) : INFINITY);
    return out;
}

static int larger_first(const void *a, const void *b)
{
    const struct es_pareto_row *x = a, *y = b;
    if (x->count != y->count)
        return x->count < y->count ? 1 : -1;
    return strcmp(x->name != NULL ? x->name : "", y->name != NULL ? y->name : "");
}

void es_pareto(struct es_pareto_row *rows, size_t count)
{
    double all = 0, so_far = 0;
    for (size_t i = 0; i < count; i++)
        all += (double)rows[i].count;
    if (count > 1)
        qsort(rows, count, sizeof *rows, larger_first);
    for (size_t i = 0; i < count; i++) {
        so_far += (double)rows[i].count;
        rows[i].share = all > 0 ? (double)rows[i].count / all : 0;
        rows[i].cumulative = all > 0 ? so_far / all : 0;
    }
}

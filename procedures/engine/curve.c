/* Small versions of long recordings, for drawing. */
#include <math.h>
#include <stdlib.h>

#include "procedures/engine/execution.h"

static size_t good_samples(const struct es_series *s, size_t *index)
{
    size_t n = 0;

    for (size_t i = 0; i < s->count; i++)
        if (s->quality[i] == ES_GOOD && isfinite(s->y[i]))
            index[n++] = i;
    return n;
}

static void put(const struct es_series *s, size_t i, double *t, double *y, size_t *count)
{
    t[*count] = s->t[i];
    y[(*count)++] = s->y[i];
}

/* The least and the greatest of the samples index[from .. to), in order of time. */
static void put_extremes(const struct es_series *s, const size_t *index, size_t from, size_t to, double *t,
                         double *y, size_t *count)
{
    size_t least = from, greatest = from;

    if (from >= to)
        return;
    for (size_t i = from + 1; i < to; i++) {
        if (s->y[index[i]] < s->y[index[least]])
            least = i;
        if (s->y[index[i]] > s->y[index[greatest]])
            greatest = i;
    }
    const size_t first = least < greatest ? least : greatest;
    const size_t second = least < greatest ? greatest : least;
    put(s, index[first], t, y, count);
    if (second != first)
        put(s, index[second], t, y, count);
}

enum es_status es_curve_reduce(const struct es_series *series, size_t most, double **t, double **y,
                               size_t *count, struct es_error *err)
{
    size_t *index = calloc(series->count + 1, sizeof *index);
    double *tt = malloc((most + 1) * sizeof *tt), *yy = malloc((most + 1) * sizeof *yy);

    if (index == NULL || tt == NULL || yy == NULL) {
        free(index);
        free(tt);
        free(yy);
        return es_fail(err, ES_NO_MEMORY, "no memory for a curve");
    }
    const size_t n = good_samples(series, index);
    size_t kept = 0;
    if (n <= most) {
        for (size_t i = 0; i < n; i++)
            put(series, index[i], tt, yy, &kept);
    } else { /* first and last stay; between them, two points a stretch */
        const size_t stretches = (most - 2) / 2;
        put(series, index[0], tt, yy, &kept);
        for (size_t k = 0; k < stretches; k++)
            put_extremes(series, index, 1 + (n - 2) * k / stretches, 1 + (n - 2) * (k + 1) / stretches, tt,
                         yy, &kept);
        put(series, index[n - 1], tt, yy, &kept);
    }
    free(index);
    *t = tt;
    *y = yy;
    *count = kept;
    return ES_OK;
}

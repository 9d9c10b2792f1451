#include "procedures/measures/sweep_track.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/summary.h"

#define BINS       160
#define LEAST_FLAT 3   /* bins: 2 % of the sweep */
#define LEAST_NEAR 4   /* readings of a direction in a bin */
#define FLAT       0.2 /* of the usual slope */
#define LINE       6   /* bins beside the flat stretch that show where it begins */

struct course {
    double mean[BINS]; /* both directions weigh the same; NAN where one is missing */
    double usual;      /* change from bin to bin where the sensor follows, signed */
};

static double bin_median(const struct es_sweep *s, double low, double width, int direction, size_t bin,
                         double *work)
{
    size_t n = 0;
    double from = low + (double)bin * width, to = nextafter(from + width, from);
    for (size_t k = 0; k < s->leg_count; k++)
        if (s->legs[k].direction == direction)
            n += es_sweep_gather(s, &s->legs[k], from, to, true, NULL, work + n);
    return n >= LEAST_NEAR ? es_median(work, n) : NAN;
}

static int by_size(const void *a, const void *b)
{
    double x = fabs(*(const double *)a), y = fabs(*(const double *)b);
    return (x > y) - (x < y);
}

/* The usual change: so that four in five are less. Few of them are dropouts, and a track of which more than
 * four fifths are missing does not follow at all. */
static void find_course(const struct es_sweep *s, struct course *c, double *work)
{
    double width = (s->high - s->low) / BINS, steps[BINS] = {0};
    size_t n = 0;
    for (size_t j = 0; j < BINS; j++)
        c->mean[j] =
            0.5 * (bin_median(s, s->low, width, 1, j, work) + bin_median(s, s->low, width, -1, j, work));
    for (size_t j = 1; j < BINS; j++)
        if (isfinite(c->mean[j] - c->mean[j - 1]))
            steps[n++] = c->mean[j] - c->mean[j - 1];
    qsort(steps, n, sizeof steps[0], by_size);
    c->usual = n > BINS / 2 ? steps[4 * n / 5] : 0;
}

/* Bins from one end (`step` +1 from the low one) over which the reading keeps to that of the end. */
static size_t flat_bins(const struct course *c, int step)
{
    size_t n = 0;
    int j = step > 0 ? 0 : BINS - 1;
    double first = c->mean[j];
    while (n + 1 < BINS && isfinite(c->mean[j]) &&
           fabs(c->mean[j + step] - c->mean[j]) < FLAT * fabs(c->usual) &&
           fabs(c->mean[j + step] - first) < fabs(c->usual)) {
        n++;
        j += step;
    }
    return n;
}

/* Where the line beside the flat stretch meets its level, in bins from that end; NAN when it does not. */
static double meeting(const struct course *c, int step, size_t flat)
{
    int end = step > 0 ? 0 : BINS - 1;
    double level = c->mean[end + step * (int)(flat / 2)], sum = 0;
    size_t n = 0;
    for (size_t k = flat + 2; k < flat + 2 + LINE && k < BINS; k++) {
        double v = c->mean[end + step * (int)k];
        if (!isfinite(v))
            continue;
        sum += (double)k + 0.5 - (v - level) / (step * c->usual);
        n++;
    }
    return n ? sum / (double)n : NAN;
}

enum es_status es_sweep_track_of(const struct es_sweep *s, struct es_sweep_track *out, struct es_error *err)
{
    struct course *c = calloc(1, sizeof *c);
    double *work = malloc((s->n + 1) * sizeof *work);
    *out = (struct es_sweep_track){.low = s->low, .high = s->high};
    if (!c || !work) {
        free(c);
        free(work);
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
    }
    find_course(s, c, work);
    double width = (s->high - s->low) / BINS;
    for (int e = 0; e < 2 && c->usual != 0; e++) {
        size_t flat = flat_bins(c, e ? -1 : 1);
        if (flat < LEAST_FLAT || flat > 4 * BINS / 5)
            continue;
        double at = meeting(c, e ? -1 : 1, flat);
        if (!isfinite(at) || at < 1)
            continue;
        out->u = width / 2;
        if (e) {
            out->high = s->high - at * width;
            out->ends_high = true;
        } else {
            out->low = s->low + at * width;
            out->ends_low = true;
        }
    }
    free(c);
    free(work);
    return ES_OK;
}

/* The usable part of a series: good samples within a span of time, as plain arrays. */
#ifndef ES_MEASURES_SAMPLES_H
#define ES_MEASURES_SAMPLES_H

#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/trace.h"
#include "rig/base/error.h"

struct es_samples {
    const double *t, *y;
    size_t n;        /* good ones */
    size_t missing;  /* not good, or absent where the usual interval would have them */
    double interval; /* s: median of the intervals; 0 when n < 2 */
    double gap;      /* s: longest time without a good sample inside the span, its ends included */
    const struct es_series *series; /* that they are from; borrowed */
    size_t at_end;                  /* of the good ones: at an end of the instrument's range (es_at_end) */
    double end_value;               /* the first of these */

    bool even;                /* the times, to their rounding */
    bool summed;              /* by es_samples_take_level, where all are good: */
    struct es_line_sums sums; /* of all of them */

    size_t first;  /* of the series; see es_samples_index */
    size_t *index; /* in the series, where some were left out; else NULL, and t and y are the series' own */
    double *copy;  /* where t and y were copied to; NULL when they are the series' own */
};

/* Good samples with from <= t <= to. Values that are not finite count as not good. n may come out 0. The
 * series shall live as long as the samples: where all are good, nothing is copied. */
enum es_status es_samples_take(const struct es_series *series, double from, double to, struct es_samples *out,
                               struct es_error *err) ES_MUST_CHECK;

/* The same of a whole series, whose scan (es_scan_of) is known. */
enum es_status es_samples_take_scanned(const struct es_series *series, const struct es_scan *scan,
                                       struct es_samples *out, struct es_error *err) ES_MUST_CHECK;

/* The same, with what es_plateau_of_samples sums up in the same pass: for who only wants a level. */
enum es_status es_samples_take_level(const struct es_series *series, double from, double to,
                                     struct es_samples *out, struct es_error *err) ES_MUST_CHECK;

/* The same from later on, to the same `to`, of samples that were taken and live as long: even ones that are
 * all good are not looked at again. */
enum es_status es_samples_take_later(const struct es_samples *all, double from, double to,
                                     struct es_samples *out, struct es_error *err) ES_MUST_CHECK;
void es_samples_free(struct es_samples *s); /* leaves it empty */

/* Index in the series of sample i, i < n. */
size_t es_samples_index(const struct es_samples *s, size_t i);

/* Means of `count` stretches of equal length in place of the samples, for figures that depend on nothing
 * finer; no indices then. count <= s->n. */
enum es_status es_samples_thin(const struct es_samples *s, size_t count, struct es_samples *out,
                               struct es_error *err) ES_MUST_CHECK;

/* Of the same means only those of stretches with samples of begin <= t <= end. */
enum es_status es_samples_thin_between(const struct es_samples *s, size_t count, double begin, double end,
                                       struct es_samples *out, struct es_error *err) ES_MUST_CHECK;

/* First sample with t >= limit (n when none). */
size_t es_samples_at(const struct es_samples *s, double limit);

/* Why these samples cannot carry a value: fewer than `least`, more than a tenth missing, or one of them at an
 * end of the instrument's range, where what it would have shown is not known. NULL when they can. `text`
 * holds the sentence. */
const char *es_samples_unfit(const struct es_samples *s, size_t least, char text[static 160]);

/* As the last of these alone, for who takes values from the series itself: good samples of from <= t <= to.
 */
const char *es_samples_clipped(const struct es_series *series, double from, double to, char text[static 160]);

#endif

/* Sampling of incoming lots: ISO 2859-1 single plans and what any plan does. Pure, thread-safe. */
#ifndef ES_STATISTICS_SAMPLING_H
#define ES_STATISTICS_SAMPLING_H

#include <stddef.h>

#include "rig/base/error.h"

/* Take n of the lot; accept it when at most `accept` of them do not pass. */
struct es_sampling_plan {
    char letter; /* sample size code letter of ISO 2859-1; 0: a plan of one's own */
    size_t n;
    size_t accept;  /* Ac; Re = Ac + 1 */
    bool whole_lot; /* the plan's sample is at least the lot: test every unit */
};

enum es_inspection_level { ES_LEVEL_I, ES_LEVEL_II, ES_LEVEL_III };

/* ISO 2859-1:1999 Tables 1 and 2-A: single sampling, normal inspection. `lot` >= 2. `aql` in per cent
 * nonconforming, one of the standard's 0.010, 0.015, 0.025, 0.040, 0.065, 0.10 ... 6.5, 10. Arrows of the
 * table are followed: the plan's letter may differ from the lot's. The tables are those of MIL-STD-105E (I,
 * II-A), read in a public transcription; of ISO's own, the letters and the plan J at AQL 1.0 were read.
 * ES_RANGE: lot too small or no such AQL (err names them). */
enum es_status es_sampling_iso2859(size_t lot, enum es_inspection_level level, double aql,
                                   struct es_sampling_plan *plan, struct es_error *err) ES_MUST_CHECK;

/* Operating characteristic: probability that a lot is accepted when each unit is bad with probability p
 * (0..1): binomial, for lots much larger than the sample. NAN when p is outside. */
double es_sampling_accepts(const struct es_sampling_plan *plan, double p);

/* The same for a lot of `lot` units of which exactly `bad` are bad: hypergeometric. NAN when bad > lot or
 * n > lot. */
double es_sampling_accepts_lot(const struct es_sampling_plan *plan, size_t lot, size_t bad);

/* The share of bad units (0..1) at which the lot is accepted with probability `accepted` (0..1, exclusive).
 */
double es_sampling_quality(const struct es_sampling_plan *plan, double accepted);

/* The smallest plan of one's own that accepts a share `good` of bad units with at least 1 - producer_risk
 * and a share `bad` with at most consumer_risk. 0 <= good < bad < 1; risks in (0, 1). ES_RANGE when that
 * takes more than 100000 units. */
enum es_status es_sampling_find(double good, double producer_risk, double bad, double consumer_risk,
                                struct es_sampling_plan *plan, struct es_error *err) ES_MUST_CHECK;

#endif

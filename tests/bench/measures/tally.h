/* Counts how far estimates lie from a known truth and how often their intervals cover it. For the measuring
 * programs of the estimators. */
#ifndef ES_TESTS_BENCH_TALLY_H
#define ES_TESTS_BENCH_TALLY_H

#include "procedures/measures/measure.h"

struct tally {
    long valid, all, covered;
    double sum, squares, widths;
};

void tally_count(struct tally *t, const struct es_measured *m, double truth);
/* One line; figures in `unit`. */
void tally_print(const char *cell, const char *output, const struct tally *t, double unit);

#endif

/* Counts how far estimates lie from a known truth and how often their intervals cover it, and prints it as
 * rows of a Markdown table. For the measuring programs of the estimators. */
#ifndef ES_TESTS_BENCH_TALLY_H
#define ES_TESTS_BENCH_TALLY_H

#include "procedures/measures/measure.h"

struct tally {
    long valid, all, covered;
    double sum, squares, widths;
};

void tally_count(struct tally *t, const struct es_measured *m, double truth);

/* Head of a table: the first column, then one for each output. */
void tally_head(const char *first, const char *const *outputs, size_t count);
/* One row: "bias +- spread, covered %" of each tally in units[i]; "-" where most were refused. */
void tally_row(const char *cell, const struct tally *t, const double *units, size_t count);
/* One row of two columns: each output by its name, all in one unit. */
void tally_named_row(const char *cell, const char *const *outputs, const struct tally *t, double unit,
                     size_t count);

#endif

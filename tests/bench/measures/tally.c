#include "tests/bench/measures/tally.h"

#include <math.h>
#include <stdio.h>

void tally_count(struct tally *t, const struct es_measured *m, double truth)
{
    t->all++;
    if (!m->valid)
        return;
    double off = m->value - truth;
    t->valid++;
    t->covered += fabs(off) <= m->U * (1 + 1e-9);
    t->sum += off;
    t->squares += off * off;
    t->widths += m->U;
}

void tally_print(const char *cell, const char *output, const struct tally *t, double unit)
{
    double n = (double)t->valid, mean = t->sum / n;
    printf("  %-36s %-26s %4ld/%-4ld bias %+10.5f  spread %9.5f  U %9.5f  covered %5.1f %%\n", cell, output,
           t->valid, t->all, mean / unit, sqrt(fmax(0, t->squares / n - mean * mean)) / unit,
           t->widths / n / unit, 100.0 * (double)t->covered / n);
}

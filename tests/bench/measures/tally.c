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

void tally_head(const char *first, const char *const *outputs, size_t count)
{
    printf("\n| %s |", first);
    for (size_t i = 0; i < count; i++)
        printf(" %s |", outputs[i]);
    printf("\n| --- |");
    for (size_t i = 0; i < count; i++)
        printf(" --- |");
    putchar('\n');
}

/* Two digits of the spread, whatever its size. */
static int digits_of(double spread)
{
    return spread > 0 ? (int)fmin(fmax(1 - floor(log10(spread)), 0), 6) : 3;
}

static void print_cell(const struct tally *t, double unit)
{
    double n = (double)t->valid, mean = t->sum / n / unit;
    if (2 * t->valid < t->all) {
        printf("-");
        return;
    }
    double spread = sqrt(fmax(0, t->squares / n / unit / unit - mean * mean));
    int digits = digits_of(spread);
    printf("%+.*f +- %.*f, %.0f %%", digits, mean, digits, spread, 100.0 * (double)t->covered / n);
}

void tally_row(const char *cell, const struct tally *t, const double *units, size_t count)
{
    printf("| %s |", cell);
    for (size_t i = 0; i < count; i++) {
        putchar(' ');
        print_cell(&t[i], units[i]);
        printf(" |");
    }
    putchar('\n');
    (void)fflush(stdout);
}

void tally_named_row(const char *cell, const char *const *outputs, const struct tally *t, double unit,
                     size_t count)
{
    printf("| %s | ", cell);
    for (size_t i = 0; i < count; i++) {
        printf("%s%s ", i ? "; " : "", outputs[i]);
        print_cell(&t[i], unit);
    }
    printf(" |\n");
    (void)fflush(stdout);
}

/* Prints what the statistics give, for scipy to compare: lines of "name arguments value". */
#include <stdio.h>
#include <stdlib.h>

#include "results/statistics/sampling.h"
#include "results/statistics/statistics.h"

static void print_plans(void)
{
    static const size_t sizes[] = {2, 13, 80, 315, 2000};
    static const double shares[] = {0, 1e-6, 0.001, 0.01, 0.1, 0.5, 0.99, 1};
    for (size_t i = 0; i < 5; i++) {
        for (size_t accept = 0; accept <= 21; accept += 3) {
            struct es_sampling_plan plan = {.n = sizes[i], .accept = accept};
            for (size_t k = 0; k < 8; k++)
                printf("binomial %zu %zu %.17g %.17g\n", plan.n, accept, shares[k],
                       es_sampling_accepts(&plan, shares[k]));
            for (size_t bad = 0; bad <= 2000; bad += 250)
                printf("lot %zu %zu %zu %.17g\n", plan.n, accept, bad,
                       es_sampling_accepts_lot(&plan, 2000, bad));
        }
    }
}

/* A crossed study with a large common offset, from a linear congruential sequence that Python repeats. */
static void print_study(size_t units, size_t conditions, size_t repeats)
{
    size_t count = units * conditions * repeats;
    double *values = malloc(count * sizeof *values);
    unsigned state = 12345;
    struct es_repeatability r;
    struct es_error err;
    if (values == NULL)
        exit(3);
    for (size_t i = 0; i < count; i++) {
        state = (state * 1103515245u + 12345u) & 0x7fffffffu;
        values[i] = 1e6 + (double)(state >> 8) / 65536 + 7.0 * (double)(i / (conditions * repeats)) +
                    2.0 * (double)(i / repeats % conditions);
    }
    if (es_repeatability_crossed(values, units, conditions, repeats, &r, &err) != ES_OK)
        exit(1);
    printf("study %zu %zu %zu %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g\n", units, conditions,
           repeats, r.mean, r.ss_units, r.ss_conditions, r.ss_interaction, r.ss_error, r.repeatability,
           r.reproducibility, r.between_units, r.share);
    free(values);
}

int main(void)
{
    print_plans();
    print_study(10, 3, 3);
    print_study(2, 2, 2);
    print_study(5, 4, 6);
    return fflush(stdout) == 0 ? 0 : 1;
}

/* Reads "size found" lines from standard input, prints the fitted threshold; for check_threshold.py. */
#include <stdio.h>
#include <stdlib.h>

#include "procedures/judgement/threshold.h"

int main(void)
{
    struct es_trial trials[2000];
    size_t count = 0;
    char line[100], *rest;
    while (count < sizeof trials / sizeof trials[0] && fgets(line, sizeof line, stdin)) {
        const double size = strtod(line, &rest);
        trials[count++] = (struct es_trial){size, strtol(rest, NULL, 10) != 0};
    }
    const struct es_threshold t = es_threshold_fit(trials, count, 0.95);
    if (!t.valid) {
        printf("%s\n", t.reason);
        return 0;
    }
    printf("%.12g %.12g %.12g %.12g %.12g\n", t.a, t.b, t.size, t.lower, t.upper);
    return 0;
}

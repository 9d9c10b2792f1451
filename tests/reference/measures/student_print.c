/* Prints t quantiles and cumulative probabilities for check_student.py, which compares them with scipy. */
#include <stdio.h>

#include "procedures/measures/numeric/student.h"

int main(void)
{
    static const double p[] = {1e-6, 0.001, 0.025, 0.1, 0.4, 0.6, 0.9, 0.95, 0.975, 0.995, 0.9999};
    static const double nu[] = {0.5, 1, 1.7, 2, 3, 4.5, 9, 16.66, 30, 77, 200, 1000, 12345, 1e5, 1e6};
    for (size_t i = 0; i < sizeof p / sizeof p[0]; i++)
        for (size_t j = 0; j < sizeof nu / sizeof nu[0]; j++)
            printf("t %.17g %.17g %.17g\n", p[i], nu[j], es_t_quantile(p[i], nu[j]));
    for (double a = 0.3; a < 400; a *= 2.7)
        for (double b = 0.4; b < 400; b *= 3.1)
            for (double x = 0.02; x < 1; x += 0.13)
                printf("b %.17g %.17g %.17g %.17g\n", a, b, x, es_beta_regularised(a, b, x));
    for (size_t i = 0; i < sizeof p / sizeof p[0]; i++)
        printf("n %.17g %.17g\n", p[i], es_normal_quantile(p[i]));
    return 0;
}

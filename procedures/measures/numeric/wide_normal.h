/* Part of wide_kernels.h: the normal distribution's tail. Own approximations, so that no library's rounding
 * decides: the same bits on every machine. */
#ifndef ES_MEASURES_NUMERIC_WIDE_NORMAL_H
#define ES_MEASURES_NUMERIC_WIDE_NORMAL_H

#include <string.h>

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"

#define TAIL_CENTRE 5.0
#define TAIL_MOST   37.0 /* standard deviations; the tail there is 6e-300 */

/* (z + 5) exp(z^2 / 2) Q(z) in powers of (z - 5) / (z + 5), Q the upper tail: its Chebyshev series to the
 * 22nd term, worked out with 50 digits; 7e-16 of the value at most. */
static const double scaled_tail[] = {
    0.769193049750063,      -0.6653825028900576,    0.4953056159699805,      -0.3135331566712172,
    0.16502036617019517,    -0.06911863870874183,   0.02079506680323404,     -0.0029933767389359726,
    -0.0007978694277475297, 0.0005448988347568596,  -5.937558833377767e-05,  -4.976178374018789e-05,
    1.6680852719925394e-05, 3.977938262343427e-06,  -2.7688787836720915e-06, -3.311028544331811e-07,
    4.3347664285137567e-07, 3.5844546560871596e-08, -6.741689051823604e-08,  -5.027231930966982e-09,
    9.275082241537343e-09,  5.059297487966696e-10,  -7.854458583247658e-10};

/* Of exp(r), |r| <= ln(2) / 2: the next term is 4e-18. */
static const double inverse_factorials[] = {
    1,         1,          1. / 2,      1. / 6,       1. / 24,       1. / 120,       1. / 720,
    1. / 5040, 1. / 40320, 1. / 362880, 1. / 3628800, 1. / 39916800, 1. / 479001600, 1. / 6227020800};

/* Sum of c[k] x^k, even and odd powers apart: neither waits for the other. */
static inline __attribute__((always_inline)) es_wide_v in_powers(const double *c, int count, es_wide_v x)
{
    es_wide_v square = x * x, part[2] = {es_lanes_all(c[count - 1]), es_lanes_all(c[count - 2])};
    for (int k = count - 3; k >= 0; k--)
        part[(count - 1 - k) % 2] = part[(count - 1 - k) % 2] * square + c[k];
    return part[(count - 1) % 2] + x * part[count % 2];
}

/* exp(w), -700 <= w <= 0: w = k ln(2) + r. Added to 1.5 x 2^52, a number's last bits are those of its nearest
 * whole number; ln(2) in two parts, k times the first exact. */
static inline es_wide_v exp_of(es_wide_v w)
{
    typedef unsigned long long bits __attribute__((vector_size(ES_WIDE_BYTES)));
    const double shift = 6755399441055744.0;
    es_wide_v shifted = w * 1.4426950408889634 + shift, k = shifted - shift;
    es_wide_v r = (w - k * 0x1.62e42feep-1) - k * 0x1.a39ef35793c76p-33;
    bits power = ((bits)shifted + 1023) << 52;
    return in_powers(inverse_factorials, 14, r) * (es_wide_v)power;
}

static inline es_wide_v tail_of(es_wide_v z)
{
    es_wide_mask below = z < 0.0;
    es_wide_v size = (es_wide_v)((es_wide_mask)z & 0x7fffffffffffffffLL);
    es_wide_mask far = size > TAIL_MOST;
    size = (es_wide_v)(((es_wide_mask)es_lanes_all(TAIL_MOST) & far) | ((es_wide_mask)size & ~far));
    es_wide_v share = 1 / (size + TAIL_CENTRE);
    es_wide_v tail =
        exp_of(size * size * -0.5) * in_powers(scaled_tail, 23, (size - TAIL_CENTRE) * share) * share;
    return (es_wide_v)(((es_wide_mask)(1 - tail) & below) | ((es_wide_mask)tail & ~below));
}

static inline void tails_8(const double *x, double about, double u, double *out)
{
    ES_EACH(k)
    *(es_wide_v *)(out + ES_PER * k) = tail_of((ES_AT(x + ES_PER * k) - about) / u);
}

static void normal_tails(const double *x, size_t n, double about, double u, double *out)
{
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        tails_8(x + i, about, u, out + i);
    if (i < n) {
        double in[8] = {0}, tails[8];
        memcpy(in, x + i, (n - i) * sizeof in[0]);
        tails_8(in, about, u, tails);
        memcpy(out + i, tails, (n - i) * sizeof tails[0]);
    }
}

#endif

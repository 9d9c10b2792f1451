/* Random numbers by counter: each is a pure function of (seed, stream, index), so that nothing depends on the
 * order or the number of earlier draws. Mixing function: splitmix64's finaliser (public domain algorithm). */
#ifndef ES_VIRTUAL_RANDOM_H
#define ES_VIRTUAL_RANDOM_H

#include <math.h>
#include <stdint.h>

static inline uint64_t es_random_mix(uint64_t x)
{
    x += UINT64_C(0x9E3779B97F4A7C15);
    x = (x ^ (x >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    x = (x ^ (x >> 27)) * UINT64_C(0x94D049BB133111EB);
    return x ^ (x >> 31);
}

static inline uint64_t es_random_bits(uint64_t seed, uint64_t stream, uint64_t index)
{
    return es_random_mix(es_random_mix(es_random_mix(seed) + stream) + index);
}

/* In (0, 1). */
static inline double es_random_uniform(uint64_t seed, uint64_t stream, uint64_t index)
{
    return ((double)(es_random_bits(seed, stream, index) >> 11) + 0.5) * 0x1p-53;
}

/* Normal, mean 0, standard deviation 1 (Box and Muller). */
static inline double es_random_normal(uint64_t seed, uint64_t stream, uint64_t index)
{
    const uint64_t bits = es_random_bits(seed, stream, index);
    const double u = ((double)(bits >> 11) + 0.5) * 0x1p-53;
    const double w = (double)(es_random_mix(bits) >> 11) * 0x1p-53;
    return sqrt(-2 * log(u)) * cos(6.283185307179586 * w);
}

#endif

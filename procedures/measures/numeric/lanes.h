/* Eight doubles side by side, in as many registers as the instruction set of this translation unit needs
 * (ES_WIDE_BYTES each), wherever they lie in memory. The additions and their order stand in the source and no
 * product is fused with a sum (-ffp-contract=off): every instruction set gets the same bits. Inside numeric/
 * only. */
#ifndef ES_MEASURES_NUMERIC_LANES_H
#define ES_MEASURES_NUMERIC_LANES_H

#include <stddef.h>

#if defined(__SSE2__)
#include <immintrin.h>
#endif

#ifndef ES_WIDE_BYTES
#define ES_WIDE_BYTES 16
#endif
#define ES_PER  ((int)(ES_WIDE_BYTES / sizeof(double))) /* doubles a register */
#define ES_REGS (8 / ES_PER)

#define ES_CHUNK 512 /* samples that stay in the nearest cache; a multiple of 32 */

typedef double es_wide_v __attribute__((vector_size(ES_WIDE_BYTES), aligned(8), may_alias));
typedef long long es_wide_mask __attribute__((vector_size(ES_WIDE_BYTES)));

/* Two, whatever the width: for what is left when lanes are put together. */
typedef double es_two __attribute__((vector_size(16), aligned(8), may_alias));

struct es_lanes {
    es_wide_v v[ES_REGS];
};

/* The register's worth of doubles at p_. */
#define ES_AT(p_) (*(const es_wide_v *)(p_))
// NOLINTNEXTLINE(bugprone-macro-parentheses): the name of a variable
#define ES_EACH(k_) for (int k_ = 0; k_ < ES_REGS; k_++)

/* Each element's neighbour one or two places before: of register v, which follows register `before`. */
#if ES_WIDE_BYTES == 64
#define ES_LAG_1(before_, v_) __builtin_shufflevector(before_, v_, 7, 8, 9, 10, 11, 12, 13, 14)
#define ES_LAG_2(before_, v_) __builtin_shufflevector(before_, v_, 6, 7, 8, 9, 10, 11, 12, 13)
#elif ES_WIDE_BYTES == 32
#define ES_LAG_1(before_, v_) __builtin_shufflevector(before_, v_, 3, 4, 5, 6)
#define ES_LAG_2(before_, v_) __builtin_shufflevector(before_, v_, 2, 3, 4, 5)
#else
#define ES_LAG_1(before_, v_) __builtin_shufflevector(before_, v_, 1, 2)
#define ES_LAG_2(before_, v_) (before_)
#endif

static inline double es_lane(const struct es_lanes *l, int lane)
{
    return l->v[lane / ES_PER][lane % ES_PER];
}

/* Even lanes and odd lanes apart, each as a tree, then both: the order holds for every width. */
static inline double es_lanes_total(const struct es_lanes *sum)
{
    const es_two *two = (const es_two *)sum->v;
    es_two half = (two[0] + two[1]) + (two[2] + two[3]);
    return half[0] + half[1];
}

/* All lanes the same. */
static inline es_wide_v es_lanes_all(double x)
{
    es_wide_v v = {0};
    return v + x;
}

/* Each of `least` becomes the lesser of itself and of v; each of `most` the greater. */
static inline void es_lanes_widen(es_wide_v *least, es_wide_v *most, es_wide_v v)
{
#if ES_WIDE_BYTES == 64
    *least = (es_wide_v)_mm512_min_pd((__m512d)v, (__m512d)*least);
    *most = (es_wide_v)_mm512_max_pd((__m512d)v, (__m512d)*most);
#elif ES_WIDE_BYTES == 32
    *least = (es_wide_v)_mm256_min_pd((__m256d)v, (__m256d)*least);
    *most = (es_wide_v)_mm256_max_pd((__m256d)v, (__m256d)*most);
#elif defined(__SSE2__)
    *least = (es_wide_v)_mm_min_pd((__m128d)v, (__m128d)*least);
    *most = (es_wide_v)_mm_max_pd((__m128d)v, (__m128d)*most);
#else
    es_wide_mask less = v<*least, more = v> * most, bits = (es_wide_mask)v;
    *least = (es_wide_v)((bits & less) | ((es_wide_mask)*least & ~less));
    *most = (es_wide_v)((bits & more) | ((es_wide_mask)*most & ~more));
#endif
}

#endif

/* Eight doubles side by side, as four registers of two, wherever they lie in memory. The additions and their
 * order stand in the source and no product is fused with a sum (-ffp-contract=off): every machine gets the
 * same bits. Inside numeric/ only. */
#ifndef ES_MEASURES_NUMERIC_LANES_H
#define ES_MEASURES_NUMERIC_LANES_H

#include <stddef.h>

typedef double es_two __attribute__((vector_size(16), aligned(8), may_alias));
typedef long long es_two_mask __attribute__((vector_size(16)));

struct es_lanes {
    es_two v[4];
};

#define ES_AT(p_) (*(const es_two *)(p_)) /* two at p_ */
// NOLINTNEXTLINE(bugprone-macro-parentheses): the name of a variable
#define ES_EACH(k_) for (int k_ = 0; k_ < 4; k_++)

static inline double es_lanes_total(const struct es_lanes *sum)
{
    es_two all = (sum->v[0] + sum->v[1]) + (sum->v[2] + sum->v[3]);
    return all[0] + all[1];
}

/* Each of `least` becomes the lesser of itself and of v; each of `most` the greater. */
static inline void es_two_widen(es_two *least, es_two *most, es_two v)
{
    es_two_mask less = v<*least, more = v> * most, bits = (es_two_mask)v;
    *least = (es_two)((bits & less) | ((es_two_mask)*least & ~less));
    *most = (es_two)((bits & more) | ((es_two_mask)*most & ~more));
}

#endif

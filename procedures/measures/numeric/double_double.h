/* Numbers of some 31 digits as the unevaluated sum of two doubles, for the few places where those of one do
 * not do. Sum and product of two doubles come with their exact rounding errors (Dekker 1971, Numerische
 * Mathematik 18, 224-242; Knuth, The Art of Computer Programming 2, 4.2.2); the compositions are those
 * analysed by Joldes, Muller and Popescu (ACM TOMS 44(2), 2017), relative error a few times 2^-104.
 *
 * That rests on every operation being rounded once to double and done in the order written: no x87 registers,
 * no fast-math, and no product fused with a sum unless fma() says so (-ffp-contract=off). fma() is exact by
 * the C standard (F.10.10.1) with or without an instruction for it: every machine gets the same bits.
 * Inside numeric/ only. Pure; finite values far from the ends of the range of double. */
#ifndef ES_MEASURES_NUMERIC_DOUBLE_DOUBLE_H
#define ES_MEASURES_NUMERIC_DOUBLE_DOUBLE_H

#include <float.h>
#include <math.h>

#if defined(__FAST_MATH__) || FLT_EVAL_METHOD != 0
#error "double_double.h needs doubles that are rounded where the source says so"
#endif

struct es_dd {
    double hi, lo; /* |lo| is at most half a unit in the last place of hi */
};

/* a + b exactly; |a| >= |b| or a = 0. */
static inline struct es_dd es_dd_ordered(double a, double b)
{
    double s = a + b;
    return (struct es_dd){s, b - (s - a)};
}

/* a + b exactly. */
static inline struct es_dd es_dd_of_sum(double a, double b)
{
    double s = a + b, part = s - a;
    return (struct es_dd){s, (a - (s - part)) + (b - part)};
}

/* a b exactly. */
static inline struct es_dd es_dd_of_product(double a, double b)
{
    double p = a * b;
    return (struct es_dd){p, fma(a, b, -p)};
}

static inline struct es_dd es_dd_minus(struct es_dd a)
{
    return (struct es_dd){-a.hi, -a.lo};
}

static inline struct es_dd es_dd_add(struct es_dd a, struct es_dd b)
{
    struct es_dd s = es_dd_of_sum(a.hi, b.hi), t = es_dd_of_sum(a.lo, b.lo);
    s = es_dd_ordered(s.hi, s.lo + t.hi);
    return es_dd_ordered(s.hi, s.lo + t.lo);
}

static inline struct es_dd es_dd_subtract(struct es_dd a, struct es_dd b)
{
    return es_dd_add(a, es_dd_minus(b));
}

static inline struct es_dd es_dd_multiply(struct es_dd a, struct es_dd b)
{
    struct es_dd p = es_dd_of_product(a.hi, b.hi);
    return es_dd_ordered(p.hi, p.lo + (a.hi * b.lo + a.lo * b.hi));
}

/* Long division, two digits of 53 bits and a third that rounds them. b is not 0. */
static inline struct es_dd es_dd_divide(struct es_dd a, struct es_dd b)
{
    double first = a.hi / b.hi;
    a = es_dd_subtract(a, es_dd_multiply(b, (struct es_dd){first, 0}));
    double second = a.hi / b.hi;
    a = es_dd_subtract(a, es_dd_multiply(b, (struct es_dd){second, 0}));
    return es_dd_add(es_dd_ordered(first, second), (struct es_dd){a.hi / b.hi, 0});
}

/* One step of Newton from the root of the first part. a >= 0. */
static inline struct es_dd es_dd_root(struct es_dd a)
{
    double root = sqrt(a.hi);
    if (!(root > 0))
        return (struct es_dd){0, 0};
    struct es_dd left = es_dd_subtract(a, es_dd_of_product(root, root));
    return es_dd_ordered(root, left.hi / (2 * root));
}

static inline double es_dd_value(struct es_dd a)
{
    return a.hi + a.lo;
}

#endif

#include "procedures/measures/numeric/wide.h"

extern const struct es_wide es_wide_baseline;
#if defined(__x86_64__)
extern const struct es_wide es_wide_avx2, es_wide_avx512;
static const struct es_wide *const variants[] = {&es_wide_baseline, &es_wide_avx2, &es_wide_avx512};
#else
static const struct es_wide *const variants[] = {&es_wide_baseline};
#endif

#define COUNT (sizeof variants / sizeof variants[0])

bool es_wide_has(size_t i)
{
#if defined(__x86_64__)
    if (i == 2)
        return __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq") &&
               __builtin_cpu_supports("avx512vl");
    if (i == 1)
        return __builtin_cpu_supports("avx2");
#endif
    return i == 0;
}

const struct es_wide *es_wide(void)
{
    size_t i = COUNT - 1;
    while (i > 0 && !es_wide_has(i))
        i--;
    return variants[i];
}

const struct es_wide *const *es_wide_list(size_t *count)
{
    *count = COUNT;
    return variants;
}

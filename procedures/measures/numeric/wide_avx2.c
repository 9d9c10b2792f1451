/* Compiled for AVX2. */
#define ES_WIDE_BYTES 32
#define ES_WIDE_NAME  "AVX2"
#define ES_WIDE_TABLE es_wide_avx2
#include "procedures/measures/numeric/wide_kernels.h"

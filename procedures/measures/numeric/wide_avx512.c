/* Compiled for AVX-512 (F, DQ, VL). */
#define ES_WIDE_BYTES 64
#define ES_WIDE_NAME  "AVX-512"
#define ES_WIDE_TABLE es_wide_avx512
#include "procedures/measures/numeric/wide_kernels.h"

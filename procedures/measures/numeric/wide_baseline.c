#define ES_WIDE_NAME  "baseline"
#define ES_WIDE_TABLE es_wide_baseline
#include "procedures/measures/numeric/wide_kernels.h"

/* The passes of wide.h, for the instruction set of the translation unit that includes this: ES_WIDE_BYTES a
 * register, the table's name in ES_WIDE_TABLE. Everything here is static: what is compiled for a wide
 * processor must not be taken by the linker for all. */
#include "procedures/measures/numeric/wide.h"
#include "procedures/measures/numeric/wide_blocks.h"
#include "procedures/measures/numeric/wide_line.h"
#include "procedures/measures/numeric/wide_moving.h"
#include "procedures/measures/numeric/wide_normal.h"
#include "procedures/measures/numeric/wide_pair.h"
#include "procedures/measures/numeric/wide_ranges.h"
#include "procedures/measures/numeric/wide_sums.h"

extern const struct es_wide ES_WIDE_TABLE;
const struct es_wide ES_WIDE_TABLE = {
    .name = ES_WIDE_NAME,
    .all_finite = all_finite,
    .all_zero = all_zero,
    .range_of = range_of,
    .range_of_differences = range_of_differences,
    .scan = scan,
    .scan_and_sum = scan_and_sum,
    .sum = sum,
    .dot = dot,
    .block_means = block_means,
    .count_off = count_off,
    .line_sums = line_sums,
    .line_products = line_products,
    .line_means_of_8 = line_means_of_8,
    .moving_means = moving_means,
    .pair_sums = pair_sums,
    .pair_rest = pair_rest,
    .hinge = hinge,
    .normal_tails = normal_tails,
    .off = off,
    .off_square = off_square,
    .step_square = step_square,
    .neighbours = neighbours,
};

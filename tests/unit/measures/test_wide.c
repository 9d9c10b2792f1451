/* The passes give the same bits with every width of registers that this processor has: random values, values
 * that are none, every length up to a few registers, long odd ones, and arrays that begin anywhere. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/wide.h"
#include "tests/unit/measures/synthetic.h"

enum { MOST = 5003, SHIFTS = 8 };

static double t[MOST + SHIFTS + 1], y[MOST + SHIFTS + 1];
static uint8_t quality[MOST + SHIFTS];

/* Everything that the passes say of one stretch; all bytes are compared. */
struct said {
    struct es_range y, steps;
    struct es_scan scan;
    struct es_line_sums sums;
    struct es_line line;
    struct es_moving moving[3];
    double sum, dot, off, off_square, step_square, neighbours;
    double means[MOST], of_8[MOST / 8 + 1], on_the_way[MOST / 8 + 1];
    struct es_pair_sums pair_sums;
    struct es_pair_rest pair_rest;
    double hinge[4][MOST];
    double tails[2][MOST];
    size_t off_line[MOST];
    struct es_line_sums and_sums;
    bool finite, zero, both;
};

static void ask(const struct es_wide *w, size_t shift, size_t n, struct said *out)
{
    const double *x = t + shift, *v = y + shift;
    struct es_middle m = {0.3, 1e-17};
    memset(out, 0, sizeof *out);
    out->y = w->range_of(v, n);
    struct es_scan scan = w->scan(x, v, quality + shift, n);
    out->scan.good = scan.good; /* member by member: no padding is compared */
    out->scan.y = scan.y;
    out->scan.steps = scan.steps;
    out->sums = w->line_sums(x, v, n);
    out->both = w->scan_and_sum(x, v, quality + shift, n, &out->and_sums).good;
    out->line.middle = x[n / 2];
    out->line.b0 = 0.2;
    out->line.b1 = -0.01;
    w->line_products(x, v, 0, n / 16 * 8, &out->line, NULL);
    w->line_products(x, v, n / 16 * 8, n, &out->line, out->on_the_way);
    w->line_means_of_8(x, v, n, &out->line, out->of_8);
    w->block_means(v, n, (n + 2) / 3, 0, (n + 2) / 3, out->means);
    const size_t widths[] = {1, (n + 1) / 2, n};
    for (int i = 0; i < 3; i++)
        out->moving[i] = w->moving_means(v, n, widths[i], 0.1);
    if (n > 1)
        out->steps = w->range_of_differences(x, n);
    out->sum = w->sum(v, n);
    out->dot = w->dot(x, v, n);
    out->off = w->off(v, n, m);
    out->off_square = w->off_square(v, n, m);
    out->step_square = w->step_square(v, n - 1);
    out->neighbours = w->neighbours(v, n - 1, m);
    const double c[] = {0.1, -0.2, 0.3};
    out->pair_sums = w->pair_sums(x, v, y + SHIFTS - shift, 0.7, n);
    out->pair_rest = w->pair_rest(x, v, y + SHIFTS - shift, 0.7, c, n);
    for (int smooth = 0; smooth < 2; smooth++)
        w->hinge(x, n, x[n / 3], 0.3, smooth, out->hinge[smooth], out->hinge[smooth + 2]);
    w->normal_tails(v, n, 0, 1, out->tails[0]);
    w->normal_tails(v, n, x[n - 1], 0.1, out->tails[1]);
    w->count_off(v, n, (n + 20) / 21, 0, (n + 20) / 21, x, v, 0.3, out->off_line);
    out->finite = w->all_finite(v, n);
    out->zero = w->all_zero(quality + shift, n);
}

static void compare(size_t shift, size_t n)
{
    static struct said first, other;
    size_t count;
    const struct es_wide *const *all = es_wide_list(&count);
    ask(all[0], shift, n, &first);
    for (size_t i = 1; i < count; i++) {
        if (!es_wide_has(i))
            continue;
        ask(all[i], shift, n, &other);
        cr_assert_eq(memcmp(&first, &other, sizeof first), 0, "%s, %zu samples from %zu", all[i]->name, n,
                     shift);
    }
}

static void fill(uint64_t seed)
{
    for (int i = 0; i < MOST + SHIFTS + 1; i++) {
        t[i] = 0.001 * (i + syn_uniform(&seed));
        y[i] = syn_normal(&seed) * pow(10, 6 * syn_uniform(&seed) - 3);
    }
    memset(quality, 0, sizeof quality);
}

Test(wide, same_bits_for_every_length_and_place)
{
    fill(11);
    for (size_t n = 1; n < 70; n++)
        for (size_t shift = 0; shift < SHIFTS; shift++)
            compare(shift, n);
    static const size_t lengths[] = {511, 512, 513, 1029, MOST};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++)
        for (size_t shift = 0; shift < SHIFTS; shift += 3)
            compare(shift, lengths[i]);
}

/* One value that is none, or of bad quality, wherever it stands, is seen by every width; others are not. */
Test(wide, none_is_seen_wherever_it_stands)
{
    static const double bad[] = {NAN, INFINITY, -INFINITY};
    size_t count;
    const struct es_wide *const *all = es_wide_list(&count);
    fill(12);
    for (size_t w = 0; w < count; w++) {
        if (!es_wide_has(w))
            continue;
        for (size_t n = 1; n < 140; n += n < 20 ? 1 : 13)
            for (size_t at = 0; at <= n; at++) { /* at n: behind the last */
                double kept = y[1 + at];
                y[1 + at] = bad[at % 3];
                cr_assert_eq(all[w]->all_finite(y + 1, n), at == n, "%s: %zu of %zu", all[w]->name, at, n);
                cr_assert_eq(all[w]->scan(t + 1, y + 1, quality, n).good, at == n);
                y[1 + at] = kept;
                quality[at] = 1;
                cr_assert_eq(all[w]->all_zero(quality, n), at == n, "%s: %zu of %zu", all[w]->name, at, n);
                cr_assert_eq(all[w]->scan(t + 1, y + 1, quality, n).good, at == n);
                quality[at] = 0;
            }
    }
}

Test(wide, scan_says_what_the_passes_say)
{
    fill(13);
    for (size_t n = 2; n < 2000; n = 2 * n + 1) {
        struct es_scan s = es_scan_of(t, y, quality, n);
        struct es_range of_y = es_range_of(y, n), of_t = es_range_of_differences(t, n);
        cr_assert(s.good && memcmp(&s.y, &of_y, sizeof of_y) == 0 &&
                  memcmp(&s.steps, &of_t, sizeof of_t) == 0);
    }
}

Test(wide, two_passes_in_one_say_the_same)
{
    fill(14);
    for (size_t n = 1; n < 2000; n = 2 * n + 1) {
        struct said s;
        ask(es_wide(), 1, n, &s);
        cr_assert(s.both && memcmp(&s.sums, &s.and_sums, sizeof s.sums) == 0);
        for (size_t i = n / 16; i < n / 8; i++)
            cr_assert_eq(s.of_8[i], s.on_the_way[i]);
    }
}

Test(wide, the_widest_is_taken)
{
    size_t count;
    const struct es_wide *const *all = es_wide_list(&count);
    cr_assert(es_wide_has(0) && !es_wide_has(count));
    for (size_t i = 0; i < count; i++) {
        if (es_wide() == all[i])
            cr_assert(es_wide_has(i));
        else if (es_wide_has(i))
            cr_assert(es_wide() == all[i + 1] || (i + 2 < count && es_wide() == all[i + 2]));
    }
}

/* Outside reference: the C library's erfc. */
Test(wide, normal_tails_are_those_of_the_library)
{
    enum { COUNT = 4001 };
    double z[COUNT], tails[COUNT];
    for (int i = 0; i < COUNT; i++)
        z[i] = 0.0185 * (i - COUNT / 2);
    es_normal_tails(z, COUNT, 0, 1, tails);
    for (int i = 0; i < COUNT; i++) {
        double known = 0.5 * erfc(z[i] * sqrt(0.5));
        cr_assert_float_eq(tails[i], known, fmax(4, z[i] * z[i]) * 3e-16 * known, "%g: %.17g, not %.17g",
                           z[i], tails[i], known);
    }
    double far[2] = {-1e6, 1e6};
    es_normal_tails(far, 2, 0, 1, tails);
    cr_assert(tails[0] == 1 && tails[1] < 1e-299);
}

Test(wide, readings_off_a_line_are_counted_one_by_one)
{
    enum { STRETCHES = 7 };
    double left[STRETCHES], right[STRETCHES];
    size_t off[STRETCHES];
    fill(15);
    for (size_t n = STRETCHES; n < 1500; n = 2 * n + 5) {
        y[n / 2] = NAN;
        for (size_t b = 0; b < STRETCHES; b++) {
            left[b] = 0.1 * (double)b;
            right[b] = -0.2;
        }
        es_count_off(y, n, STRETCHES, 2, STRETCHES, left, right, 0.5, off);
        for (size_t b = 2; b < STRETCHES; b++) {
            size_t first = es_block_start(n, STRETCHES, b), end = es_block_start(n, STRETCHES, b + 1),
                   wanted = 0;
            cr_assert_eq(first, b * n / STRETCHES);
            for (size_t i = first; i < end; i++) {
                double share = ((double)(i - first) + 0.5) / (double)(end - first);
                wanted += !(fabs(y[i] - left[b - 2] - share * (right[b - 2] - left[b - 2])) <= 0.5);
            }
            cr_assert_eq(off[b - 2], wanted, "%zu of %zu samples: %zu, not %zu", b, n, off[b - 2], wanted);
        }
        y[n / 2] = 0;
    }
}

Test(wide, scan_and_means_in_one_say_the_same)
{
    static double means[2][MOST];
    fill(16);
    for (size_t n = 1; n < MOST; n = 2 * n + 1)
        for (size_t blocks = 1; blocks <= n; blocks = 3 * blocks + 1) {
            struct es_scan s = es_scan_and_block_means(t, y, quality, n, blocks, means[0]),
                           apart = es_scan_of(t, y, quality, n);
            es_block_means(y, n, blocks, means[1]);
            cr_assert_eq(memcmp(means[0], means[1], blocks * sizeof means[0][0]), 0);
            cr_assert(s.good && memcmp(&s.y, &apart.y, sizeof s.y) == 0 &&
                      memcmp(&s.steps, &apart.steps, sizeof s.steps) == 0);
        }
    quality[MOST - 1] = 1;
    cr_assert_not(es_scan_and_block_means(t, y, quality, MOST, 40, means[0]).good);
}

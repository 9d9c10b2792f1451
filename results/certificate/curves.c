#include "results/certificate/curves.h"

#include <math.h>

static void pick(size_t *picked, size_t *count, size_t most, size_t index)
{
    if (*count < most && (*count == 0 || picked[*count - 1] < index)) {
        picked[(*count)++] = index;
    }
}

size_t es_curve_thin(const struct es_curve *curve, size_t most, size_t *picked)
{
    size_t count = 0;
    if (curve->count <= most) {
        for (size_t i = 0; i < curve->count; i++) {
            picked[count++] = i;
        }
        return count;
    }
    /* The ends take two places, each stretch two more. */
    size_t stretches = (most - 2) / 2;
    size_t last = curve->count - 1;
    double begin = curve->t[0];
    double span = curve->t[last] - begin;
    pick(picked, &count, most, 0);
    size_t i = 1;
    for (size_t s = 0; s < stretches && i < last; s++) {
        double end = begin + span * (double)(s + 1) / (double)stretches;
        size_t low = i;
        size_t high = i;
        bool any = false;
        for (; i < last && (curve->t[i] <= end || s + 1 == stretches); i++) {
            if (!isfinite(curve->y[i])) {
                continue;
            }
            low = !any || curve->y[i] < curve->y[low] ? i : low;
            high = !any || curve->y[i] > curve->y[high] ? i : high;
            any = true;
        }
        if (any) {
            pick(picked, &count, most, low < high ? low : high);
            pick(picked, &count, most, low < high ? high : low);
        }
    }
    pick(picked, &count, most, last);
    return count;
}

/* Thinning by insertion (the idea of Ramer 1972, Douglas and Peucker 1973, with a budget in place of a
 * tolerance): from the straight line between the ends on, the point that lies farthest off the drawing so far
 * is put in, until the budget is used or nothing can be seen to be missing. Edges and peaks come first, flat
 * noise never. */
#include "results/certificate/curves.h"

#include <math.h>
#include <stdlib.h>

/* Off by less than this share of the curve's span is not seen. */
#define UNSEEN 0.002

struct stretch {
    size_t from, to;
    size_t worst; /* the point farthest off the line between the two */
    double off;   /* its distance in y; 0: none */
};

static struct stretch measure_stretch(const struct es_curve *c, size_t from, size_t to)
{
    struct stretch s = {.from = from, .to = to};
    double width = c->t[to] - c->t[from];
    double slope = width > 0 ? (c->y[to] - c->y[from]) / width : 0;
    for (size_t i = from + 1; i < to; i++) {
        double off = fabs(c->y[i] - c->y[from] - slope * (c->t[i] - c->t[from]));
        if (off > s.off) { /* never for what is not finite */
            s.off = off;
            s.worst = i;
        }
    }
    return s;
}

/* First and last finite point; false when there are fewer than two. */
static bool find_ends(const struct es_curve *c, size_t *first, size_t *last)
{
    size_t found = 0;
    for (size_t i = 0; i < c->count; i++) {
        if (isfinite(c->y[i])) {
            *first = found == 0 ? i : *first;
            *last = i;
            found++;
        }
    }
    return found >= 2;
}

static double span_of(const struct es_curve *c)
{
    double low = INFINITY;
    double high = -INFINITY;
    for (size_t i = 0; i < c->count; i++) {
        low = fmin(low, c->y[i]);
        high = fmax(high, c->y[i]);
    }
    return high - low;
}

static int by_place(const void *a, const void *b)
{
    size_t x = ((const struct stretch *)a)->from;
    size_t y = ((const struct stretch *)b)->from;
    return (x > y) - (x < y);
}

static size_t split_stretches(const struct es_curve *c, struct stretch *list, size_t most, double unseen)
{
    size_t count = 1;
    while (count + 1 < most) {
        size_t next = 0;
        for (size_t i = 1; i < count; i++) {
            next = list[i].off > list[next].off ? i : next;
        }
        struct stretch s = list[next];
        if (s.off <= unseen) {
            break;
        }
        list[next] = measure_stretch(c, s.from, s.worst);
        list[count++] = measure_stretch(c, s.worst, s.to);
    }
    return count;
}

bool es_curve_thin(const struct es_curve *curve, size_t most, size_t *picked, size_t *picked_count)
{
    size_t first = 0;
    size_t last = 0;
    if (most < 2 || !find_ends(curve, &first, &last)) {
        *picked_count = 0;
        return true;
    }
    struct stretch *list = calloc(most, sizeof *list);
    if (!list) {
        return false;
    }
    list[0] = measure_stretch(curve, first, last);
    size_t count = split_stretches(curve, list, most, UNSEEN * span_of(curve));
    qsort(list, count, sizeof *list, by_place);
    for (size_t i = 0; i < count; i++) {
        picked[i] = list[i].from;
    }
    picked[count] = last;
    *picked_count = count + 1;
    free(list);
    return true;
}

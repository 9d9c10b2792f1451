#include "rig/base/nearest.h"

#include <ctype.h>
#include <string.h>

#define LONGEST 64u

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

static int lower(char c)
{
    return tolower((unsigned char)c);
}

/* Edit distance with swaps of neighbours (optimal string alignment); a change of case is free. */
static size_t distance(const char *a, size_t m, const char *b, size_t n)
{
    size_t rows[3][LONGEST + 1];
    size_t *before = rows[0], *last = rows[1], *now = rows[2];

    for (size_t j = 0; j <= n; j++)
        last[j] = before[j] = j;
    for (size_t i = 1; i <= m; i++) {
        now[0] = i;
        for (size_t j = 1; j <= n; j++) {
            size_t differ = lower(a[i - 1]) != lower(b[j - 1]);
            now[j] = smaller(smaller(now[j - 1], last[j]) + 1, last[j - 1] + differ);
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1]))
                now[j] = smaller(now[j], before[j - 2] + 1);
        }
        size_t *free_row = before;
        before = last;
        last = now;
        now = free_row;
    }
    return last[n];
}

void es_nearest_offer(struct es_nearest *n, const char *known)
{
    size_t a = strlen(n->word), b = strlen(known);

    if (a == 0 || a > LONGEST || b > LONGEST)
        return;
    size_t d = distance(n->word, a, known, b);
    if (d > (a > b ? a : b) / 3)
        return;
    if (n->best == NULL || d < n->distance) {
        n->best = known;
        n->distance = d;
    }
}

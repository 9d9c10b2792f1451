#include "procedures/measures/paired.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/samples.h"

#define MOST_APART 3.5 /* usual intervals between two neighbours */

void es_pairs_free(struct es_pairs *p)
{
    free(p->t);
    free(p->a);
    free(p->b);
    free(p->index);
    memset(p, 0, sizeof *p);
}

static enum es_status make_room(struct es_pairs *p, size_t n, struct es_error *err)
{
    *p = (struct es_pairs){.t = malloc((n + 1) * sizeof *p->t),
                           .a = malloc((n + 1) * sizeof *p->a),
                           .b = malloc((n + 1) * sizeof *p->b),
                           .index = malloc((n + 1) * sizeof *p->index)};
    if (p->t && p->a && p->b && p->index)
        return ES_OK;
    es_pairs_free(p);
    return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu pairs.", n);
}

static void pair(const struct es_samples *a, const struct es_samples *b, double late, struct es_pairs *p)
{
    size_t k = 0;
    for (size_t i = 0; i < a->n && b->n > 1; i++) {
        double t = a->t[i] - late;
        while (k + 2 < b->n && b->t[k + 1] < t)
            k++;
        double apart = b->t[k + 1] - b->t[k];
        if (t < b->t[k] || t > b->t[k + 1] || apart > MOST_APART * b->interval)
            continue;
        double share = apart > 0 ? (t - b->t[k]) / apart : 0.5;
        p->t[p->n] = a->t[i];
        p->a[p->n] = a->y[i];
        p->b[p->n] = b->y[k] + share * (b->y[k + 1] - b->y[k]);
        p->index[p->n++] = es_samples_index(a, i);
    }
}

enum es_status es_pairs_take(const struct es_series *a, const struct es_series *b, double from, double to,
                             double late, size_t least, struct es_pairs *out, char text[static 160],
                             struct es_error *err)
{
    struct es_samples sa, sb;
    const char *why;
    memset(out, 0, sizeof *out);
    enum es_status status = es_samples_take(a, from, to, &sa, err);
    if (status != ES_OK)
        return status;
    status = es_samples_take(b, -INFINITY, INFINITY, &sb, err);
    if (status != ES_OK)
        goto free_a;
    why = es_samples_unfit(&sa, least, text);
    if (!why)
        why = es_samples_unfit(&sb, 2, text);
    if (why)
        goto free_both;
    status = make_room(out, sa.n, err);
    if (status != ES_OK)
        goto free_both;
    pair(&sa, &sb, late, out);
    if (out->n < least || (double)out->n < 0.8 * (double)sa.n) {
        snprintf(text, 160, "only %zu of %zu readings of the %s have readings of the %s around them", out->n,
                 sa.n, es_role_info(a->role)->name, es_role_info(b->role)->name);
        es_pairs_free(out);
    }
free_both:
    es_samples_free(&sb);
free_a:
    es_samples_free(&sa);
    return status;
}

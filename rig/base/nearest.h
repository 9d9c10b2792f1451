/* The known word nearest to a misspelt one, for "did you mean". Pure.
 *
 *     struct es_nearest n = {.word = "presure"};
 *     for (...) es_nearest_offer(&n, known[i]);
 *     if (n.best != NULL) ...
 */
#ifndef ES_BASE_NEAREST_H
#define ES_BASE_NEAREST_H

#include <stddef.h>

struct es_nearest {
    const char *word;
    const char *best; /* NULL: nothing near enough (more than a third of the letters differ) */
    size_t distance;  /* of best: letters to insert, remove, replace or swap */
};

/* `known` must outlive n. Ties go to the first offered. */
void es_nearest_offer(struct es_nearest *n, const char *known);

#endif

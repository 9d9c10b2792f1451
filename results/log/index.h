/* Finds the newest leaf of a number in a log of many. Internal to results/log. Open addressing over indexes
 * of leaves; starts zeroed. */
#ifndef ES_LOG_INDEX_H
#define ES_LOG_INDEX_H

#include "results/log/log.h"

struct es_log_index {
    size_t *slots; /* index of a leaf + 1; 0: free */
    size_t capacity, used;
};

void es_log_index_free(struct es_log_index *index);
/* Makes room for one more; false when memory is refused. */
bool es_log_index_room(struct es_log_index *index, const struct es_log_leaf *leaves);
/* Enters leaf `at` in place of an earlier one of its number; there is room. */
void es_log_index_put(struct es_log_index *index, const struct es_log_leaf *leaves, size_t at);
/* Takes leaf `at`, the newest of all, out again: an earlier one of its number comes back. */
void es_log_index_drop(struct es_log_index *index, const struct es_log_leaf *leaves, size_t at);
bool es_log_index_find(const struct es_log_index *index, const struct es_log_leaf *leaves, const char *number,
                       size_t *at);

#endif

#include "results/log/index.h"

#include <stdlib.h>
#include <string.h>

/* FNV-1a, 64 bit. */
static uint64_t hash_of(const char *text)
{
    uint64_t hash = 14695981039346656037u;
    for (; *text; text++) {
        hash = (hash ^ (unsigned char)*text) * 1099511628211u;
    }
    return hash;
}

/* The slot of `number`, or the free one where it belongs. */
static size_t *slot_of(const struct es_log_index *index, const struct es_log_leaf *leaves, const char *number)
{
    size_t at = (size_t)hash_of(number) & (index->capacity - 1);
    while (index->slots[at] && strcmp(leaves[index->slots[at] - 1].number, number) != 0) {
        at = (at + 1) & (index->capacity - 1);
    }
    return &index->slots[at];
}

void es_log_index_free(struct es_log_index *index)
{
    free(index->slots);
    *index = (struct es_log_index){0};
}

bool es_log_index_room(struct es_log_index *index, const struct es_log_leaf *leaves)
{
    if ((index->used + 1) * 2 <= index->capacity) {
        return true;
    }
    struct es_log_index larger = {.capacity = index->capacity ? index->capacity * 2 : 256,
                                  .used = index->used};
    larger.slots = calloc(larger.capacity, sizeof *larger.slots);
    if (!larger.slots) {
        return false;
    }
    for (size_t i = 0; i < index->capacity; i++) {
        if (index->slots[i]) {
            *slot_of(&larger, leaves, leaves[index->slots[i] - 1].number) = index->slots[i];
        }
    }
    free(index->slots);
    *index = larger;
    return true;
}

void es_log_index_put(struct es_log_index *index, const struct es_log_leaf *leaves, size_t at)
{
    size_t *slot = slot_of(index, leaves, leaves[at].number);
    index->used += *slot == 0;
    *slot = at + 1;
}

void es_log_index_drop(struct es_log_index *index, const struct es_log_leaf *leaves, size_t at)
{
    size_t *slot = slot_of(index, leaves, leaves[at].number);
    size_t earlier = at;
    while (earlier > 0 && strcmp(leaves[earlier - 1].number, leaves[at].number) != 0) {
        earlier--;
    }
    if (earlier > 0) {
        *slot = earlier;
        return;
    }
    /* Only the newest of all is ever taken out, so no other was placed past it: its slot can be freed. */
    *slot = 0;
    index->used--;
}

bool es_log_index_find(const struct es_log_index *index, const struct es_log_leaf *leaves, const char *number,
                       size_t *at)
{
    const size_t *slot = index->capacity ? slot_of(index, leaves, number) : NULL;
    if (!slot || !*slot) {
        return false;
    }
    *at = *slot - 1;
    return true;
}

#include "rig/bench/ring.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum es_status es_ring_init(struct es_ring *ring, size_t capacity, struct es_error *err)
{
    assert(capacity && (capacity & (capacity - 1)) == 0);
    memset(ring, 0, sizeof *ring);
    ring->items = calloc(capacity, sizeof *ring->items);
    if (!ring->items) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a ring of samples");
    }
    ring->mask = capacity - 1;
    return ES_OK;
}

void es_ring_free(struct es_ring *ring)
{
    free(ring->items);
    ring->items = NULL;
}

bool es_ring_push(struct es_ring *ring, const struct es_sample *samples, size_t count)
{
    size_t head = atomic_load_explicit(&ring->head, memory_order_relaxed);
    size_t tail = atomic_load_explicit(&ring->tail, memory_order_acquire);
    if (count > ring->mask + 1 - (head - tail)) {
        atomic_fetch_add_explicit(&ring->dropped, count, memory_order_relaxed);
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        ring->items[(head + i) & ring->mask] = samples[i];
    }
    atomic_store_explicit(&ring->head, head + count, memory_order_release);
    return true;
}

size_t es_ring_pop(struct es_ring *ring, struct es_sample *out, size_t max)
{
    size_t tail = atomic_load_explicit(&ring->tail, memory_order_relaxed);
    size_t head = atomic_load_explicit(&ring->head, memory_order_acquire);
    size_t count = head - tail < max ? head - tail : max;
    for (size_t i = 0; i < count; i++) {
        out[i] = ring->items[(tail + i) & ring->mask];
    }
    atomic_store_explicit(&ring->tail, tail + count, memory_order_release);
    return count;
}

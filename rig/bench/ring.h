/* Samples from one bus thread to one station thread: single producer, single consumer, no lock, never waits.
 * C11 atomics; head and tail on their own cache lines. */
#ifndef ES_BENCH_RING_H
#define ES_BENCH_RING_H

#include <stdalign.h>
#include <stdatomic.h>

#include "procedures/engine/port.h"

struct es_sample {
    es_time taken;
    double value;
    float u_time; /* s, standard */
    uint8_t role, quality;
    uint16_t scan; /* samples of one request share a number: they are journalled together */
};

struct es_ring {
    alignas(64) atomic_size_t head; /* written by the producer */
    alignas(64) atomic_size_t tail; /* written by the consumer */
    alignas(64) size_t mask;
    struct es_sample *items;
    atomic_uint_least64_t dropped; /* samples for which there was no room */
};

/* `capacity` is a power of two. */
enum es_status es_ring_init(struct es_ring *ring, size_t capacity, struct es_error *err) ES_MUST_CHECK;
void es_ring_free(struct es_ring *ring);

/* Producer: all or none; what finds no room is counted as dropped. */
bool es_ring_push(struct es_ring *ring, const struct es_sample *samples, size_t count);

/* Consumer: at most `max`, in order. */
size_t es_ring_pop(struct es_ring *ring, struct es_sample *out, size_t max);

#endif

/* The ring under two threads: nothing lost, nothing twice, order kept, scans whole. */
#include <criterion/criterion.h>
#include <pthread.h>
#include <sched.h>

#include "rig/bench/ring.h"

#define SCANS    20000u
#define PER_SCAN 16u

static void *produce(void *self)
{
    struct es_ring *ring = self;
    struct es_sample x[PER_SCAN];
    for (unsigned scan = 0; scan < SCANS;) {
        for (unsigned i = 0; i < PER_SCAN; i++) {
            x[i] =
                (struct es_sample){.taken = (es_time)scan * PER_SCAN + i, .value = scan, .role = (uint8_t)i};
        }
        if (es_ring_push(ring, x, PER_SCAN)) {
            scan++;
        } else {
            sched_yield();
        }
    }
    return NULL;
}

Test(ring, one_producer_one_consumer)
{
    struct es_ring ring;
    struct es_error err;
    cr_assert_eq(es_ring_init(&ring, 256, &err), ES_OK);
    pthread_t thread;
    cr_assert_eq(pthread_create(&thread, NULL, produce, &ring), 0);
    struct es_sample x[100];
    es_time expected = 0;
    while (expected < (es_time)SCANS * PER_SCAN) {
        size_t count = es_ring_pop(&ring, x, 100);
        for (size_t i = 0; i < count; i++) {
            cr_assert_eq(x[i].taken, expected);
            cr_assert_eq(x[i].role, (uint8_t)(expected % PER_SCAN));
            cr_assert_eq(x[i].value, (double)(expected / PER_SCAN));
            expected++;
        }
        if (!count) {
            sched_yield();
        }
    }
    pthread_join(thread, NULL);
    cr_expect_eq(es_ring_pop(&ring, x, 100), 0);
    es_ring_free(&ring);
}

Test(ring, full_ring_drops_whole_scans_and_counts)
{
    struct es_ring ring;
    struct es_error err;
    struct es_sample x[8] = {{.value = 1}};
    cr_assert_eq(es_ring_init(&ring, 16, &err), ES_OK);
    cr_expect(es_ring_push(&ring, x, 8));
    cr_expect(es_ring_push(&ring, x, 7));
    cr_expect_not(es_ring_push(&ring, x, 2));
    cr_expect_eq(atomic_load(&ring.dropped), 2);
    cr_expect(es_ring_push(&ring, x, 1));
    struct es_sample out[32];
    cr_expect_eq(es_ring_pop(&ring, out, 32), 16);
    es_ring_free(&ring);
}

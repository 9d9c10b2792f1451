#include "tests/support/wires/standstill.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>

#include "rig/base/clock.h"

#define BEAT INT64_C(1000000) /* ns */

struct standstill {
    pthread_t thread;
    _Atomic es_time longest;
    atomic_bool stop;
};

static void *watch(void *self)
{
    struct standstill *s = self;
    while (!atomic_load(&s->stop)) {
        es_time due = es_clock_now() + BEAT;
        es_clock_sleep_until(due);
        es_time late = es_clock_now() - due;
        if (late > atomic_load(&s->longest))
            atomic_store(&s->longest, late);
    }
    return NULL;
}

struct standstill *standstill_watch(void)
{
    struct standstill *s = calloc(1, sizeof *s);
    if (!s || pthread_create(&s->thread, NULL, watch, s) != 0) {
        perror("standstill");
        abort();
    }
    return s;
}

double standstill_longest(struct standstill *s)
{
    return es_seconds(atomic_load(&s->longest));
}

void standstill_stop(struct standstill *s)
{
    atomic_store(&s->stop, true);
    pthread_join(s->thread, NULL);
    free(s);
}

/* Faults on purpose: a layer that spoils the answers that pass through it, with a seed, so that every test
 * can be repeated. A fault is drawn at each write and lasts until the answer's bytes have passed or the next
 * write. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/transport/transport.h"

#define HELD_MAX 4096

struct fault {
    struct es_transport base;
    struct es_transport *inner;
    struct es_fault_plan plan;
    uint64_t state;       /* of the generator */
    enum es_fault now;    /* of the answer under way */
    enum es_fault forced; /* for the next write; ES_FAULT_COUNT: none */
    bool begun;           /* bytes of the answer have come */
    bool lost;            /* hung up */
    es_time due;          /* when held bytes may be read */
    size_t held, held_used;
    uint8_t bytes[HELD_MAX];
    unsigned long counts[ES_FAULT_COUNT];
};

/* The splitmix64 generator: small, and the same everywhere. */
static uint64_t draw(struct fault *f)
{
    uint64_t z = f->state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static double draw_unit(struct fault *f)
{
    return (double)(draw(f) >> 11) * 0x1p-53;
}

static enum es_fault choose(struct fault *f)
{
    if (f->forced != ES_FAULT_COUNT) {
        enum es_fault kind = f->forced;
        f->forced = ES_FAULT_COUNT;
        return kind;
    }
    double u = draw_unit(f);
    for (int k = ES_FAULT_NONE + 1; k < ES_FAULT_COUNT; k++) {
        if (u < f->plan.probability[k])
            return (enum es_fault)k;
        u -= f->plan.probability[k];
    }
    return ES_FAULT_NONE;
}

static void hold(struct fault *f, const uint8_t *bytes, size_t count)
{
    if (f->held_used == f->held)
        f->held = f->held_used = 0;
    size_t room = HELD_MAX - f->held;
    size_t n = count < room ? count : room;
    memcpy(f->bytes + f->held, bytes, n);
    f->held += n;
}

/* Spoils one piece of an answer and holds what remains of it. */
static void spoil(struct fault *f, uint8_t *piece, size_t count)
{
    switch (f->now) {
    case ES_FAULT_DROP:
        return;
    case ES_FAULT_CORRUPT:
        if (!f->begun)
            piece[draw(f) % count] ^= (uint8_t)(1u << (draw(f) % 8));
        break;
    case ES_FAULT_TRUNCATE:
        if (f->begun)
            return;
        count = (size_t)(draw(f) % count); /* nothing up to all but one */
        break;
    case ES_FAULT_GARBAGE:
        if (!f->begun) {
            uint8_t noise[8];
            size_t n = 1 + (size_t)(draw(f) % sizeof noise);
            for (size_t i = 0; i < n; i++)
                noise[i] = (uint8_t)draw(f);
            hold(f, noise, n);
        }
        break;
    case ES_FAULT_DELAY:
        if (!f->begun)
            f->due = es_clock_now() + es_from_seconds(f->plan.delay);
        break;
    default:
        break;
    }
    f->begun = true;
    hold(f, piece, count);
}

static enum es_status fail_lost(struct es_error *err)
{
    return es_fail(err, ES_HANGUP, "the line is gone (a fault on purpose)");
}

/* Waits until held bytes may be read, fetching from the inner line meanwhile. */
static enum es_status fault_wait(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct fault *f = (struct fault *)t;
    if (f->lost)
        return fail_lost(err);
    for (;;) {
        es_time now = es_clock_now();
        bool some = f->held > f->held_used;
        if (some && now >= f->due)
            return ES_OK;
        es_time until = some && f->due < deadline ? f->due : deadline;
        uint8_t piece[512];
        size_t got;
        enum es_status status = es_transport_read(f->inner, piece, sizeof piece, until, &got, err);
        if (status == ES_OK)
            spoil(f, piece, got);
        else if (status != ES_TIMEOUT)
            return status;
        else if (es_clock_now() >= deadline)
            return some && es_clock_now() >= f->due ? ES_OK : ES_TIMEOUT;
        else if (!some)
            return ES_TIMEOUT; /* a replay that has nothing more to say */
    }
}

static enum es_status fault_read(struct es_transport *t, uint8_t *to, size_t size, es_time deadline,
                                 size_t *got, struct es_error *err)
{
    struct fault *f = (struct fault *)t;
    enum es_status status = fault_wait(t, deadline, err);
    if (status != ES_OK)
        return status;
    size_t n = f->held - f->held_used < size ? f->held - f->held_used : size;
    memcpy(to, f->bytes + f->held_used, n);
    f->held_used += n;
    *got = n;
    return ES_OK;
}

static enum es_status fault_write(struct es_transport *t, const uint8_t *from, size_t count, es_time deadline,
                                  struct es_error *err)
{
    struct fault *f = (struct fault *)t;
    if (f->lost)
        return fail_lost(err);
    f->now = choose(f);
    f->counts[f->now]++;
    f->begun = false;
    if (f->now == ES_FAULT_HANGUP) {
        f->lost = true;
        return fail_lost(err);
    }
    return es_transport_write(f->inner, from, count, deadline, err);
}

static enum es_status fault_drain(struct es_transport *t, es_time deadline, struct es_error *err)
{
    return es_transport_drain(((struct fault *)t)->inner, deadline, err);
}

static enum es_status fault_flush(struct es_transport *t, struct es_error *err)
{
    struct fault *f = (struct fault *)t;
    if (f->lost)
        return fail_lost(err);
    if (es_clock_now() >= f->due) /* what is still under way cannot be flushed */
        f->held = f->held_used = 0;
    return es_transport_flush(f->inner, err);
}

static enum es_status fault_reopen(struct es_transport *t, es_time deadline, struct es_error *err)
{
    struct fault *f = (struct fault *)t;
    enum es_status status = es_transport_reopen(f->inner, deadline, err);
    if (status != ES_OK)
        return status;
    f->lost = false;
    f->held = f->held_used = 0;
    f->due = 0;
    f->now = ES_FAULT_NONE;
    return ES_OK;
}

static int fault_descriptor(const struct es_transport *t)
{
    (void)t;
    return -1;
}

static void fault_describe(const struct es_transport *t, char *out, size_t size)
{
    const struct fault *f = (const struct fault *)t;
    es_transport_describe(f->inner, out, size);
    size_t used = strlen(out);
    snprintf(out + used, size - used, ", faults on purpose (seed %llu)", (unsigned long long)f->plan.seed);
}

static void fault_close(struct es_transport *t)
{
    es_transport_close(((struct fault *)t)->inner);
    free(t);
}

static const struct es_transport_ops fault_ops = {
    .read = fault_read,
    .write = fault_write,
    .drain = fault_drain,
    .wait = fault_wait,
    .flush = fault_flush,
    .reopen = fault_reopen,
    .descriptor = fault_descriptor,
    .describe = fault_describe,
    .close = fault_close,
};

struct es_transport *es_fault_wrap(struct es_transport *inner, const struct es_fault_plan *plan)
{
    struct fault *f = calloc(1, sizeof *f);
    if (!f) {
        es_transport_close(inner);
        return NULL;
    }
    f->base.ops = &fault_ops;
    f->inner = inner;
    f->plan = *plan;
    f->state = plan->seed;
    f->forced = ES_FAULT_COUNT;
    return &f->base;
}

void es_fault_force(struct es_transport *fault, enum es_fault kind)
{
    ((struct fault *)fault)->forced = kind;
}

void es_fault_counts(const struct es_transport *fault, unsigned long counts[static ES_FAULT_COUNT])
{
    memcpy(counts, ((const struct fault *)fault)->counts, sizeof((const struct fault *)fault)->counts);
}

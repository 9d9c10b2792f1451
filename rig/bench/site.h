/* Where a run takes place: one station, real (station.h) or virtual (virtual_station.h), behind one struct
 * of functions. The runtime (run.h) arms it, hands its port to the engine and ends it.
 *
 * Threads: begin, end and the port belong to the run's thread. es_site_stop may be called from any thread. */
#ifndef ES_BENCH_SITE_H
#define ES_BENCH_SITE_H

#include "procedures/engine/port.h"
#include "rig/bench/bench.h"
#include "rig/bench/safe_state.h"

struct es_journal;
struct es_run_watch;

/* What a run asks of the site when it begins. Everything is borrowed until end. */
struct es_site_order {
    const char *run;            /* identity of the run */
    bool needed[ES_ROLE_COUNT]; /* roles whose channels the plan reads or writes: the interlock trips when
                                   one of them goes bad */
    struct es_journal *journal; /* NULL: none is kept */
    const struct es_run_watch *watch; /* NULL: nobody looks, nobody answers */
};

struct es_site {
    void *self;
    const struct es_bench *bench;
    const struct es_bench_station *station;
    bool is_virtual;
    struct es_port port;

    /* Makes the bench safe first, then arms the interlock. Fails with ES_INTERLOCK and the reason when it
     * cannot be armed (emergency stop, a needed channel dead, a safe write refused). */
    enum es_status (*begin)(void *self, const struct es_site_order *order, struct es_error *err);

    /* Disarms by way of the safe state; recordings still running are thrown away. Always returns; what could
     * not be made safe stands in the report. Called once after each begin that gave ES_OK. */
    void (*end)(void *self, struct es_safe_report *report);

    /* Asks the run to end as ES_CANCELLED at the next port call, waking it when it sleeps or asks. */
    void (*stop)(void *self, const char *reason);

    /* What an instrument said of itself when it was probed; "" when it has not answered. */
    void (*identity)(void *self, size_t instrument, char *out, size_t size);

    /* Time that the run has taken from the cause of a trip to the safe state; NAN when nothing tripped. The
     * cause is a sentence; "" when nothing tripped. Valid after end. */
    double (*tripped)(void *self, char *cause, size_t size);
};

static inline void es_site_stop(const struct es_site *site, const char *reason)
{
    site->stop(site->self, reason);
}

#endif

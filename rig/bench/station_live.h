/* Inside of the bench at work; rig/bench only. */
#ifndef ES_BENCH_STATION_LIVE_H
#define ES_BENCH_STATION_LIVE_H

#include "rig/bench/bus_thread.h"
#include "rig/bench/station_core.h"

struct es_safe_ticket {
    bool used;
    size_t bus;
    unsigned ticket;
    enum es_role role;
    double value;
    es_time posted;
};

struct es_station {
    struct es_live *live;
    size_t index;
    struct es_site site;
    sem_t wake; /* a scan has come, or somebody wants something */
    pthread_t thread;

    pthread_mutex_t lock; /* guards all below */
    pthread_cond_t changed;
    struct es_station_core core;
    bool end;
    bool running;   /* a run is under way */
    bool want_safe; /* the sequence is to begin */
    bool making_safe;
    bool trip_seen;      /* the trip of this run has been acted on */
    char said[640];      /* the last safe state's sentence that was logged */
    struct es_look look; /* copy handed out by record_look */
    char safe_cause[256];
    es_time safe_cause_at;
    uint64_t safe_asked, safe_done; /* sequences asked for and ended */
    es_time safe_again;             /* next try while the state is unknown */
    es_time next_kick, kick_interval;
    double kicks;
    struct es_safe_ticket tickets[ES_SAFE_WRITE_MAX];
    unsigned ticket_next;
    uint64_t rate_count[ES_ROLE_COUNT];
    double rate[ES_ROLE_COUNT];
    es_time rate_from;
    es_time show_at; /* when the watch is shown values next */
};

struct es_live {
    const struct es_bench *bench;
    struct es_live_options options;
    struct es_bus_thread *buses;
    struct es_bus_reader *readers; /* [bus][station] */
    struct es_station *stations;
    size_t bus_count, station_count; /* as far as they were begun */
};

/* ---- station_thread.c ---- */
void *es_station_run(void *self);
void es_station_prepare_safe(struct es_station *s);
/* Asks for the safe state; lock held. Returns the number to wait for. */
uint64_t es_station_ask_safe(struct es_station *s, es_time cause_at, const char *cause);
/* Waits for it; lock held. */
void es_station_wait_safe(struct es_station *s, uint64_t number);

/* ---- station_port.c ---- */
void es_station_make_site(struct es_station *s);

size_t es_station_bus_of(const struct es_station *s, const struct es_bench_channel *c);
void es_station_log(struct es_station *s, const char *format, ...) ES_PRINTF(2, 3);

#endif

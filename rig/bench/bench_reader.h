/* Inside of the bench file's reader; used by bench_*.c only. */
#ifndef ES_BENCH_BENCH_READER_H
#define ES_BENCH_BENCH_READER_H

#include "rig/base/document.h"
#include "rig/bench/bench.h"

struct es_bench_reader {
    const struct es_document *doc;
    struct es_findings *findings;
    struct es_bench *bench;
    bool no_memory; /* sticky */
};

/* The members of each object of the file: reader, schema and reference page come from these. */
struct es_bench_rows {
    const char *object;  /* "bus" */
    const char *meaning; /* one line for the reference page */
    const struct es_field *rows;
    size_t count;
};
const struct es_bench_rows *es_bench_rows_list(size_t *count);
const struct es_bench_rows *es_bench_rows_find(const char *object);

struct es_file_text {
    char *format, *name, *place;
    bool is_virtual;
    const cJSON *buses, *instruments, *stations;
};
struct es_bus_text {
    char *name, *driver;
    const cJSON *settings;
};
struct es_instrument_text {
    char *name, *bus, *description, *identity;
    double timeout, latency, u_latency, turn_around;
    long retries;
    const cJSON *settings;
};
struct es_channel_text {
    char *role, *instrument, *unit;
    const cJSON *address, *scale, *signal, *plausible, *range, *calibration, *read_back;
    const cJSON *resolution, *noise, *further, *repeatability;
    double rate, stale_after, refresh, lag;
    bool watched;
};
struct es_scale_text {
    double factor, offset;
    const cJSON *table;
};
struct es_signal_text {
    int kind;
    const cJSON *low, *high;
};
struct es_range_text {
    const cJSON *low, *high;
};
struct es_calibration_text {
    char *certificate, *date, *due;
    const cJSON *U, *corrections;
    double U_reading, k, dof;
};
struct es_read_back_text {
    char *role;
    const cJSON *within;
    double after;
};
struct es_station_text {
    char *name;
    const cJSON *channels, *ceilings, *safe_state, *watchdog, *facts;
};
struct es_ceiling_text {
    char *role;
    const cJSON *highest, *lowest, *slew;
};
struct es_safe_text {
    double within;
    const cJSON *writes;
};
struct es_safe_write_text {
    char *role;
    const cJSON *value;
    double wait;
};
struct es_watchdog_text {
    double period;
};
struct es_fact_text {
    char *name;
    const cJSON *value, *uncertainty;
    double dof;
};

/* Reads `object` by the rows of that name. The texts in `destination` are freed with es_bench_rows_free. */
bool es_bench_read(struct es_bench_reader *r, const cJSON *object, const char *rows, void *destination);
void es_bench_rows_free(const char *rows, void *destination);

void *es_bench_new(struct es_bench_reader *r, size_t count, size_t size); /* zeroed; NULL sets no_memory */
char *es_bench_copy(struct es_bench_reader *r, const char *text);

/* A quantity of dimension d, text with unit. Pure numbers and states may be JSON numbers. `difference`: a
 * span or uncertainty (matters for temperatures). Adds a finding and returns false when it is not one. */
bool es_bench_quantity(struct es_bench_reader *r, const cJSON *item, enum es_dimension d, bool difference,
                       double *out);

/* An array of [x, y] number pairs with rising x; fills allocated arrays. `least` pairs at least. */
bool es_bench_pairs(struct es_bench_reader *r, const cJSON *array, size_t least, const char *what,
                    size_t *count, double **x, double **y);

/* Settings by a driver's rows; `owner` is the object that should have them. NULL when they are faulty. */
void *es_bench_settings(struct es_bench_reader *r, const cJSON *owner, const cJSON *object,
                        const char *member, const struct es_field *rows, size_t count, size_t size);

/* Days since 1970-01-01 of "2026-02-01"; false when it is no date of the Gregorian calendar. */
bool es_bench_date(const char *text, long *days);

void es_bench_read_channel(struct es_bench_reader *r, const cJSON *object, struct es_bench_channel *c);
void es_bench_read_calibration(struct es_bench_reader *r, const cJSON *object, const struct es_unit *unit,
                               struct es_calibration *cal);
void es_bench_read_station(struct es_bench_reader *r, const cJSON *object, struct es_bench_station *s);

#endif

/* The bench as its file describes it. Read once, immutable afterwards, shared by all threads.
 * The file's reference is docs/bench-file.md, its JSON Schema docs/schema/bench-1.schema.json. */
#ifndef ES_BENCH_BENCH_H
#define ES_BENCH_BENCH_H

#include "drivers/driver.h"
#include "procedures/measures/measure.h"
#include "procedures/measures/trace.h"
#include "rig/base/document.h"
#include "rig/base/role.h"

struct es_bench_bus {
    char *name;
    const struct es_driver *driver;
    void *settings;      /* driver's bus struct */
    size_t *instruments; /* indices into bench->instruments, in the driver's order */
    size_t instrument_count;
};

struct es_calibration {
    char *number;     /* certificate number; NULL: not calibrated */
    char *date, *due; /* "2026-02-01" */
    double U_offset;  /* expanded, coherent; constant part */
    double U_gain;    /* expanded, relative to the reading */
    double k;         /* coverage factor of both */
    double dof;
    size_t point_count; /* correction table: reading -> correction, coherent, rising readings */
    double *readings, *corrections;
};

struct es_bench_instrument {
    char *name;
    char *description;
    size_t bus;
    struct es_instrument_common common;
    void *settings; /* driver's instrument struct; common.settings points here */
    char *identity; /* text that the instrument's own identification must contain; NULL: not checked */
};

enum es_scale_kind { ES_SCALE_LINEAR, ES_SCALE_TABLE };

struct es_bench_channel {
    enum es_role role;
    size_t instrument;
    void *address; /* driver's channel struct */
    bool writable;
    bool state;                 /* 0 or 1 */
    const struct es_unit *unit; /* of the scaled value; with current_signal: for people only */
    enum es_scale_kind scale;
    double factor, offset; /* written = raw * factor + offset */
    size_t table_count;    /* or by table: rising raw -> written, linear between, refused outside */
    double *table_raw, *table_written;
    bool current_signal;            /* the scale gives a current of a 4-20 mA loop (coherent, A) */
    double signal_low, signal_high; /* coherent value at 4 mA and at 20 mA; NAMUR NE 43 decides quality */
    double plausible_low, plausible_high; /* coherent; outside: ES_OUT_OF_RANGE */
    /* coherent, as stated; low < high only where it was. See es_channel_range */
    double range_low, range_high;
    double resolution;   /* coherent */
    double rate;         /* Hz, wanted; of an output: of asking for its setting */
    double stale_after;  /* s */
    double refresh, lag; /* s, of the instrument */
    double noise;     /* coherent, standard; what the maker states; used by the virtual bench and by check */
    double u_further; /* coherent, standard: drift since calibration, mounting, temperature */
    double repeatability; /* coherent, standard */
    struct es_calibration calibration;
    enum es_role read_back;  /* of an output: the input that shows its effect; ES_ROLE_NONE: none */
    double read_back_within; /* coherent: largest difference */
    double read_back_after;  /* s: longest time until it shows */
    bool watched; /* of an output: its setting can be read and must stay what was written, see output_watch.h
                   */
};

struct es_safe_write {
    enum es_role role;
    double value;      /* coherent */
    double wait_after; /* s before the next write */
};

struct es_ceiling {
    enum es_role role;
    double highest, lowest; /* coherent; of a written value, and of the matching reading for the interlock */
    double slew;            /* coherent per second; INFINITY when unlimited */
};

struct es_bench_station {
    char *name;
    struct es_bench_channel *channels;
    size_t channel_count;
    struct es_ceiling *ceilings;
    size_t ceiling_count;
    struct es_safe_write *safe_writes;
    size_t safe_write_count; /* in order */
    double safe_within;      /* s: longest time allowed to reach the safe state */
    double watchdog_period;  /* s; 0: none. Written at a quarter of it */
    struct es_fact *facts;
    size_t fact_count; /* volumes and the like, with uncertainty */
};

struct es_bench {
    char *name, *place;
    char digest[65];
    bool is_virtual; /* the file says that it describes a virtual bench: certificates say so too */
    struct es_bench_bus *buses;
    size_t bus_count;
    struct es_bench_instrument *instruments;
    size_t instrument_count;
    struct es_bench_station *stations;
    size_t station_count;
};

/* Reads and checks a bench file; all faults in one go in `findings`. */
enum es_status es_bench_load(const char *path, struct es_findings *findings, struct es_bench **out,
                             struct es_error *err) ES_MUST_CHECK;
enum es_status es_bench_from_document(const struct es_document *doc, struct es_findings *findings,
                                      struct es_bench **out, struct es_error *err) ES_MUST_CHECK;
void es_bench_free(struct es_bench *bench);

/* NULL when the bench has no such station. */
const struct es_bench_station *es_bench_find_station(const struct es_bench *bench, const char *name);

/* NULL when the station has no such channel, or no ceiling for the role. */
const struct es_bench_channel *es_station_channel(const struct es_bench_station *station, enum es_role role);
const struct es_ceiling *es_station_ceiling(const struct es_bench_station *station, enum es_role role);

/* The input that shows the effect of an output whatever the file says of read-back: loop demand -> loop
 * current, supply demand -> supply pressure, shaft drive -> shaft angle; else ES_ROLE_NONE. */
enum es_role es_role_effect(enum es_role output);

/* Days from `today` ("2026-02-01...", only the date is used) to the channel's calibration due date; negative
 * when overdue, INT_MAX when the channel has no calibration. */
int es_calibration_days_left(const struct es_calibration *calibration, const char *today);

/* Raw number -> coherent value with calibration correction, and its quality. */
enum es_quality es_channel_value(const struct es_bench_channel *c, struct es_raw raw, double *value);
/* Coherent value -> raw number (inverse of scale and calibration correction): for a write, and for whoever
 * plays the instrument. Fails outside the table. Nothing is rounded: the driver knows the register's type. */
enum es_status es_channel_raw(const struct es_bench_channel *c, double value, double *raw,
                              struct es_error *err);
/* The parts of the two above, for whoever plays the instrument. A reading is what the instrument says, before
 * the calibration correction: raw -> reading by scale and current signal (NE 43 decides quality) ... */
enum es_quality es_channel_reading(const struct es_bench_channel *c, struct es_raw raw, double *reading);
enum es_status es_channel_reading_raw(const struct es_bench_channel *c, double reading, double *raw,
                                      struct es_error *err);
/* ... and reading -> value by correction and plausibility; and the reading for a value. */
enum es_quality es_channel_judge(const struct es_bench_channel *c, double reading, double *value);
double es_channel_uncorrected(const struct es_bench_channel *c, double value);

/* The ends of what the channel's instrument can show, coherent: as the file states them, else as the bench
 * file's documentation says. False (both untouched) where nothing is known. */
bool es_channel_range(const struct es_bench_channel *c, double *low, double *high);

/* What measures need to know about a channel's errors. */
struct es_channel_uncertainty es_channel_uncertainty(const struct es_bench_channel *c);

#endif

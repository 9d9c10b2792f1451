/* Reads one channel of a bench file, with its scale, signal and calibration. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/nearest.h"
#include "rig/bench/bench_reader.h"

#define INPUT_RATE   10.0 /* Hz */
#define SETTING_RATE 5.0

static bool has_unit(const struct es_role_info *role)
{
    return !role->is_state && role->dimension != ES_DIM_NUMBER;
}

static void read_unit(struct es_bench_reader *r, const cJSON *object, const struct es_channel_text *t,
                      struct es_bench_channel *c)
{
    const struct es_role_info *role = es_role_info(c->role);
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, "unit");
    char names[200];
    es_unit_names(role->dimension, names, sizeof names);
    c->unit = es_dimension_unit(role->dimension);
    if (!has_unit(role)) {
        if (item) {
            es_document_fault(r->doc, item, r->findings, NULL, "no unit: \"%s\" is a %s", role->name,
                              role->is_state ? "state, 0 or 1" : "number");
        }
        return;
    }
    if (!t->unit) {
        es_document_fault(r->doc, object, r->findings, "no member \"unit\"",
                          "the unit of \"%s\" (%s), one of: %s", role->name,
                          es_dimension_name(role->dimension), names);
        return;
    }
    const struct es_unit *unit = es_unit_find(t->unit, strlen(t->unit));
    if (!unit || (unit->dimension != role->dimension && unit->dimension != role->other_dimension)) {
        es_document_fault(r->doc, item, r->findings, NULL, "a unit of %s for \"%s\", one of: %s",
                          es_dimension_name(role->dimension), role->name, names);
        return;
    }
    c->unit = unit;
}

static void read_scale(struct es_bench_reader *r, const cJSON *object, struct es_bench_channel *c)
{
    struct es_scale_text t = {1, 0, NULL};
    c->factor = 1;
    if (!object || !es_bench_read(r, object, "scale", &t)) {
        return;
    }
    c->factor = t.factor;
    c->offset = t.offset;
    if (t.factor == 0) {
        es_document_fault(r->doc, object, r->findings, "factor 0", "a factor other than 0");
    }
    if (!t.table) {
        return;
    }
    if (cJSON_GetObjectItemCaseSensitive(object, "factor") ||
        cJSON_GetObjectItemCaseSensitive(object, "offset")) {
        es_document_fault(r->doc, t.table, r->findings, "a table beside factor or offset",
                          "either a table, or factor and offset");
    }
    c->scale = ES_SCALE_TABLE;
    if (!es_bench_pairs(r, t.table, 2, "raw, value", &c->table_count, &c->table_raw, &c->table_written)) {
        return;
    }
    /* A write, and whoever plays the instrument, needs the way back. */
    for (size_t i = 2; i < c->table_count; i++) {
        double a = c->table_written[i - 1] - c->table_written[i - 2];
        double b = c->table_written[i] - c->table_written[i - 1];
        if (a * b <= 0) {
            es_document_fault(r->doc, cJSON_GetArrayItem(t.table, (int)i), r->findings, NULL,
                              "values that go on rising or go on falling");
            return;
        }
    }
}

static void read_signal(struct es_bench_reader *r, const cJSON *object, struct es_bench_channel *c)
{
    struct es_signal_text t = {0};
    if (!object || !es_bench_read(r, object, "signal", &t)) {
        return;
    }
    enum es_dimension d = c->unit->dimension;
    bool good = es_bench_quantity(r, t.low, d, false, &c->signal_low);
    good = es_bench_quantity(r, t.high, d, false, &c->signal_high) && good;
    if (good && c->signal_low == c->signal_high) {
        es_document_fault(r->doc, t.high, r->findings, NULL, "another value at 20 mA than at 4 mA");
    }
    c->current_signal = good;
}

/* An object with a low and a high end; on a fault both are untouched. */
static bool read_ends(struct es_bench_reader *r, const cJSON *object, const char *what,
                      enum es_dimension dimension, double *low, double *high)
{
    struct es_range_text t = {0};
    double ends[2];
    if (!es_bench_read(r, object, what, &t)) {
        return false;
    }
    bool good = es_bench_quantity(r, t.low, dimension, false, &ends[0]);
    good = es_bench_quantity(r, t.high, dimension, false, &ends[1]) && good;
    if (good && ends[0] >= ends[1]) {
        es_document_fault(r->doc, t.high, r->findings, NULL, "a high end above the low end");
        good = false;
    }
    if (good) {
        *low = ends[0];
        *high = ends[1];
    }
    return good;
}

static void read_plausible(struct es_bench_reader *r, const cJSON *channel, const cJSON *object,
                           struct es_bench_channel *c)
{
    const struct es_role_info *role = es_role_info(c->role);
    c->plausible_low = -INFINITY;
    c->plausible_high = INFINITY;
    if (!object) {
        if (role->direction == ES_IN && has_unit(role) &&
            !cJSON_GetObjectItemCaseSensitive(channel, "signal")) {
            es_document_fault(r->doc, channel, r->findings, "no member \"plausible\"",
                              "what \"%s\" can show: {\"low\": ..., \"high\": ...}", role->name);
        }
        return;
    }
    read_ends(r, object, "plausible", c->unit->dimension, &c->plausible_low, &c->plausible_high);
}

static void read_range(struct es_bench_reader *r, const cJSON *object, struct es_bench_channel *c)
{
    double low, high;
    if (!object || !read_ends(r, object, "range", c->unit->dimension, &low, &high)) {
        return;
    }
    if (low < c->plausible_low || high > c->plausible_high) {
        es_document_fault(r->doc, object, r->findings, NULL,
                          "ends that are plausible: a reading at one of them must not end the run");
        return;
    }
    c->range_low = low;
    c->range_high = high;
}

static void read_spread(struct es_bench_reader *r, const cJSON *item, const struct es_unit *unit, double *out)
{
    double value;
    if (!item || !es_bench_quantity(r, item, unit->dimension, true, &value)) {
        return;
    }
    if (value < 0) {
        es_document_fault(r->doc, item, r->findings, NULL, "0 or more");
        return;
    }
    *out = value;
}

static void check_dates(struct es_bench_reader *r, const cJSON *object, const struct es_calibration *cal)
{
    long date = 0, due = 0;
    bool good = true;
    if (!es_bench_date(cal->date, &date)) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "date"), r->findings, NULL,
                          "a day of the calendar as \"2026-02-01\"");
        good = false;
    }
    if (!es_bench_date(cal->due, &due)) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "due"), r->findings, NULL,
                          "a day of the calendar as \"2027-02-01\"");
        good = false;
    }
    if (good && due < date) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "due"), r->findings, NULL,
                          "a day not before the calibration's, %s", cal->date);
    }
}

void es_bench_read_calibration(struct es_bench_reader *r, const cJSON *object, const struct es_unit *unit,
                               struct es_calibration *cal)
{
    struct es_calibration_text t = {.dof = INFINITY};
    cal->k = 2;
    cal->dof = INFINITY;
    if (!object) {
        return;
    }
    if (es_bench_read(r, object, "calibration", &t)) {
        cal->number = es_bench_copy(r, t.certificate);
        cal->date = es_bench_copy(r, t.date);
        cal->due = es_bench_copy(r, t.due);
        cal->k = t.k;
        cal->dof = t.dof;
        cal->U_gain = t.U_reading;
        read_spread(r, t.U, unit, &cal->U_offset);
        if (cal->date && cal->due) {
            check_dates(r, object, cal);
        }
        if (t.corrections && es_bench_pairs(r, t.corrections, 1, "reading, correction", &cal->point_count,
                                            &cal->readings, &cal->corrections)) {
            for (size_t i = 0; i < cal->point_count; i++) {
                cal->readings[i] = es_from_unit(cal->readings[i], unit);
                cal->corrections[i] = es_from_unit_difference(cal->corrections[i], unit);
            }
            for (size_t i = 1; i < cal->point_count; i++) {
                if (cal->readings[i] + cal->corrections[i] <=
                    cal->readings[i - 1] + cal->corrections[i - 1]) {
                    es_document_fault(r->doc, cJSON_GetArrayItem(t.corrections, (int)i), r->findings, NULL,
                                      "corrections after which the value still rises with the reading");
                    break;
                }
            }
        }
    }
    es_bench_rows_free("calibration", &t);
}

static void read_back(struct es_bench_reader *r, const cJSON *object, struct es_bench_channel *c)
{
    struct es_read_back_text t = {0};
    c->read_back = ES_ROLE_NONE;
    if (!object) {
        return;
    }
    if (es_bench_read(r, object, "read back", &t)) {
        enum es_role role = es_role_find(t.role);
        if (!c->writable || role == ES_ROLE_NONE || es_role_info(role)->direction != ES_IN ||
            es_role_info(role)->dimension != es_role_info(c->role)->dimension) {
            es_document_fault(r->doc, object, r->findings, NULL,
                              "on an output only, the role of an input of the same dimension (%s)",
                              es_dimension_name(es_role_info(c->role)->dimension));
        } else if (es_bench_quantity(r, t.within, c->unit->dimension, true, &c->read_back_within)) {
            c->read_back = role;
            c->read_back_after = t.after;
        }
    }
    es_bench_rows_free("read back", &t);
}

static void read_address(struct es_bench_reader *r, const cJSON *object, bool watched,
                         struct es_bench_channel *c)
{
    const struct es_bench_instrument *instrument = &r->bench->instruments[c->instrument];
    if (instrument->bus >= r->bench->bus_count) { /* the file has none; told already */
        return;
    }
    const struct es_bench_bus *bus = &r->bench->buses[instrument->bus];
    const struct es_driver *d = bus->driver;
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, "address");
    if (!d || !item) {
        return;
    }
    c->address = es_bench_settings(r, object, item, "address", d->channel_fields, d->channel_field_count,
                                   d->channel_size);
    if (c->address && bus->settings && d->check_channel) {
        d->check_channel(r->doc, item, bus->settings, c->address, c->writable, r->findings);
    }
    c->watched = watched && c->writable && c->role != ES_ROLE_WATCHDOG && c->address && d->shows_setting &&
                 d->shows_setting(c->address);
}

static bool find_instrument(struct es_bench_reader *r, const cJSON *object, const char *name, size_t *out)
{
    for (size_t i = 0; i < r->bench->instrument_count; i++) {
        if (r->bench->instruments[i].name && !strcmp(r->bench->instruments[i].name, name)) {
            *out = i;
            return true;
        }
    }
    es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "instrument"), r->findings, NULL,
                      "the name of an instrument of this file");
    return false;
}

/* One late answer with all its consequences is no reason to end a run. */
static double patience(double rate, const struct es_instrument_common *common)
{
    double scans = rate > 0 ? 4 / rate : 0;
    return scans + (double)(common->retries + 1) * common->timeout + common->turn_around;
}

/* A value that is stale before the next one is due would never be used. */
static void check_staleness(struct es_bench_reader *r, const cJSON *object, const struct es_bench_channel *c)
{
    if (c->writable || c->stale_after >= 2 / c->rate)
        return;
    es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "stale after"), r->findings, NULL,
                      "at least two sampling intervals, %g s", 2 / c->rate);
}

static void read_rest(struct es_bench_reader *r, const cJSON *object, const struct es_channel_text *t,
                      struct es_bench_channel *c)
{
    c->writable = es_role_info(c->role)->direction == ES_OUT;
    c->state = es_role_info(c->role)->is_state;
    c->rate = t->rate > 0 ? t->rate : c->writable ? SETTING_RATE : INPUT_RATE;
    c->refresh = t->refresh;
    c->lag = t->lag;
    read_unit(r, object, t, c);
    read_scale(r, t->scale, c);
    read_signal(r, t->signal, c);
    read_plausible(r, object, t->plausible, c);
    read_range(r, t->range, c);
    read_spread(r, t->resolution, c->unit, &c->resolution);
    read_spread(r, t->noise, c->unit, &c->noise);
    read_spread(r, t->further, c->unit, &c->u_further);
    read_spread(r, t->repeatability, c->unit, &c->repeatability);
    es_bench_read_calibration(r, t->calibration, c->unit, &c->calibration);
    read_back(r, t->read_back, c);
    if (t->instrument && find_instrument(r, object, t->instrument, &c->instrument)) {
        c->stale_after = t->stale_after > 0 ? t->stale_after
                                            : patience(c->rate, &r->bench->instruments[c->instrument].common);
        check_staleness(r, object, c);
        read_address(r, object, t->watched, c);
    }
}

static void unknown_role(struct es_bench_reader *r, const cJSON *item, const char *word)
{
    struct es_nearest n = {.word = word};

    for (int i = 0; i < ES_ROLE_COUNT; i++)
        es_nearest_offer(&n, es_role_info((enum es_role)i)->name);
    es_document_fault(r->doc, item, r->findings, NULL, "a role, as docs/bench-file.md lists them%s%s%s",
                      n.best != NULL ? "; is \"" : "", n.best != NULL ? n.best : "",
                      n.best != NULL ? "\" meant?" : "");
}

void es_bench_read_channel(struct es_bench_reader *r, const cJSON *object, struct es_bench_channel *c)
{
    struct es_channel_text t = {0};
    c->role = ES_ROLE_NONE;
    c->read_back = ES_ROLE_NONE;
    c->unit = es_dimension_unit(ES_DIM_NUMBER);
    es_bench_read(r, object, "channel", &t);
    if (t.role) {
        c->role = es_role_find(t.role);
        if (c->role == ES_ROLE_NONE) {
            unknown_role(r, cJSON_GetObjectItemCaseSensitive(object, "role"), t.role);
        } else {
            read_rest(r, object, &t, c); /* in spite of faults above: all faults at once */
        }
    }
    es_bench_rows_free("channel", &t);
}

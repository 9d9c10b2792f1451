#include "rig/bench/output_watch.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *state_word(enum es_role role, bool on)
{
    bool valve = strstr(es_role_info(role)->name, "valve") != NULL;
    return valve ? on ? "open" : "shut" : on ? "on" : "off";
}

static void say_changed(const struct es_bench_channel *out, double told, struct es_raw raw, char *text,
                        size_t size)
{
    const char *name = es_role_info(out->role)->name;
    double value = 0;
    if (es_channel_value(out, raw, &value) != ES_GOOD) {
        snprintf(text, size,
                 "%s has the setting %g, which means nothing: another program or a person changed it", name,
                 raw.value);
        return;
    }
    if (out->state) {
        snprintf(text, size, "%s is %s, but was commanded %s: another program or a person changed it", name,
                 state_word(out->role, value != 0), state_word(out->role, told != 0));
        return;
    }
    char is[48], was[48];
    es_quantity_format(value, out->unit, 3, is, sizeof is);
    es_quantity_format(told, out->unit, 3, was, sizeof was);
    snprintf(text, size, "%s is set to %s, but was commanded %s: another program or a person changed it",
             name, is, was);
}

bool es_output_changed(struct es_output_watch *w, const struct es_bench *bench,
                       const struct es_bench_channel *out, const struct es_output_told *told,
                       struct es_raw raw, es_time taken, es_time *since, char *text, size_t size)
{
    const struct es_driver *driver = bench->buses[bench->instruments[out->instrument].bus].driver;
    double wanted;
    if (w->writing || isnan(told->value) || taken <= told->at + es_from_seconds(out->lag + out->refresh)) {
        w->off = 0;
        return false;
    }
    if (!raw.valid || es_channel_raw(out, told->value, &wanted, NULL) != ES_OK) {
        return false; /* neither confirms nor clears; the interlock counts how long it lasts */
    }
    if (driver->same_setting(out->address, wanted, raw.value)) {
        w->off = 0;
        return false;
    }
    if (w->off++ == 0) {
        w->off_since = taken;
    }
    if (w->off < ES_SETTINGS_IN_A_ROW) {
        return false;
    }
    *since = w->off_since;
    say_changed(out, told->value, raw, text, size);
    return true;
}

bool es_output_missing(struct es_output_watch *w, const struct es_bench_channel *out,
                       const struct es_bench_channel *in, const struct es_output_told *told,
                       const struct es_reading *newest, es_time *since, char *text, size_t size)
{
    if (isnan(told->value) || newest->taken <= told->at + es_from_seconds(out->read_back_after)) {
        w->missing = 0;
        return false;
    }
    if (newest->quality != ES_GOOD || newest->taken == w->looked) {
        return false;
    }
    w->looked = newest->taken;
    if (fabs(newest->value - told->value) <= out->read_back_within) {
        w->missing = 0;
        return false;
    }
    if (w->missing++ == 0) {
        w->missing_since = newest->taken;
    }
    if (w->missing < ES_EFFECTS_IN_A_ROW) {
        return false;
    }
    *since = w->missing_since;
    char a[48], b[48];
    es_quantity_format(told->value, out->unit, 3, a, sizeof a);
    es_quantity_format(newest->value, in->unit, 3, b, sizeof b);
    snprintf(text, size, "\"%s\" was told %s, but \"%s\" shows %s", es_role_info(out->role)->name, a,
             es_role_info(in->role)->name, b);
    return true;
}
